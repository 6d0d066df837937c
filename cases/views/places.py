"""Places: who is where, since when, and what is free."""

from itertools import groupby
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from cases import overview
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
    # In the order of the path; the database orders by their names.
    order = {kind: number for number, kind in enumerate(Place.Kind)}
    rows = sorted(overview.places(facility), key=lambda row: order[Place.Kind(row[0].kind)])
    groups = []
    for (kind, area), members in groupby(rows, key=lambda row: (row[0].kind, row[0].area)):
        inside = list(members)
        usable = [stay for place, stay, _case in inside if place.is_in_use]
        groups.append(
            {
                "kind": Place.Kind(kind).label,
                "area": area,
                "rows": inside,
                "total": len(usable),
                "free": usable.count(None),
            }
        )
    return groups
