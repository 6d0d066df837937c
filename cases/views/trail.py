"""The trail of one person: every act in order, the refused attempts too."""

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from cases.models import Case
from cases.selectors import case_or_404
from cases.trail_lines import line
from cases.views.kept import Kept
from cases.views.requests import StaffRequest, units_of
from chain_of_custody.models import CustodyEntry, Log

PAGE_SIZE = 200


@require_safe
def trail(request: StaffRequest, number: str) -> HttpResponse:
    """All entries of a case, 200 a page; `?from=` begins at a sequence number."""
    case = case_or_404(request, number)
    start = request.GET.get("from", "")
    first = int(start) if start.isascii() and start.isdigit() and len(start) < 19 else 0
    entries = Kept(request).part(
        "cases/_trail.html", lambda: _read(request, case, first), f"{case.pk} {first}"
    )
    return render(request, "cases/trail.html", {"case": case, "entries": entries})


def _read(request: StaffRequest, case: Case, first: int) -> dict[str, Any]:
    found = list(
        CustodyEntry.objects.filter(case=case, sequence__gte=first)
        .select_related("signed_by", "witness", "place_from", "place_to")
        .prefetch_related("sealed")
        .order_by("sequence")[: PAGE_SIZE + 1]
    )
    lines = [line(entry, units_of(request)) for entry in found[:PAGE_SIZE]]
    corrected: dict[int, list[int]] = {}
    for one in lines:
        if one.corrects is not None:
            corrected.setdefault(one.corrects, []).append(one.entry.sequence)
    return {
        "case": case,
        "lines": [(one, corrected.get(one.entry.sequence, [])) for one in lines],
        "log": Log.objects.filter(facility=request.facility).first(),
        "next_from": found[PAGE_SIZE].sequence if len(found) > PAGE_SIZE else None,
        "is_later_page": first > 0,
    }
