"""Places: who is where, since when, and what is free."""

from itertools import groupby
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from cases import overview
from cases.steps import STAGES
from cases.views.kept import Kept
from cases.views.requests import StaffRequest
from chain_of_custody.models import Place
from crematory.models import Facility


@require_safe
def places(request: StaffRequest) -> HttpResponse:
    """Every place, grouped by kind and area."""
    shown = Kept(request).part("cases/_places.html", lambda: {"groups": _groups(request.facility)})
    return render(request, "cases/places.html", {"places": shown})


def _groups(facility: Facility) -> list[dict[str, Any]]:
    rows = overview.places(facility)
    for row in rows:
        row["stage_word"] = STAGES.get(row["stay__case__stage"] or "", "")
    kinds = list(Place.Kind)  # in the order of the path; the database orders by their names
    rows.sort(key=lambda row: kinds.index(row["kind"]))
    groups = []
    for (kind, area), members in groupby(rows, key=lambda row: (row["kind"], row["area"])):
        inside = list(members)
        usable = [row for row in inside if row["is_in_use"]]
        groups.append(
            {
                "kind": Place.Kind(kind).label,
                "area": area,
                "rows": inside,
                "total": len(usable),
                "free": sum(row["stay__since"] is None for row in usable),
            }
        )
    return groups
