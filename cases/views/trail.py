"""The trail of one person: every act in order, the refused attempts too."""

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from cases.models import Case
from cases.overview_sql import ROW
from cases.selectors import not_known, number_or_404
from cases.templatetags.trails import Entry
from cases.trail_lines import line_of
from cases.views.kept import Kept
from cases.views.requests import StaffRequest, units_of
from crematory.written import Part, Written

PAGE_SIZE = 200
_CASE = Written(
    "SELECT {c}, d.number FROM cases_case c LEFT JOIN cases_iddisc d ON d.case_id = c.id"
    " WHERE c.facility_id = %s AND c.number = %s",
    c=Part("cases.Case", *ROW),
)
_ENTRIES = Written(
    "SELECT {e}, s.printed_name, s.staff_code, w.printed_name, w.staff_code,"
    " f.area, f.name, t.area, t.name FROM chain_of_custody_custodyentry e"
    " LEFT JOIN crematory_staffmember s ON s.id = e.signed_by_id"
    " LEFT JOIN crematory_staffmember w ON w.id = e.witness_id"
    " LEFT JOIN chain_of_custody_place f ON f.id = e.place_from_id"
    " LEFT JOIN chain_of_custody_place t ON t.id = e.place_to_id"
    " WHERE e.case_id = %s AND e.sequence >= %s ORDER BY e.sequence LIMIT %s",
    e=Part(
        "chain_of_custody.CustodyEntry",
        *("sequence", "act", "outcome", "payload", "leaf_hash", "happened_at", "recorded_at"),
        *("place_from", "place_to"),
    ),
)
_SEALED = Written(
    "SELECT v.entry_id, v.key, v.value FROM chain_of_custody_sealedvalue v"
    " JOIN chain_of_custody_custodyentry e ON e.id = v.entry_id"
    " WHERE e.case_id = %s AND e.sequence >= %s AND e.sequence <= %s"
)


@require_safe
def trail(request: StaffRequest, number: str) -> HttpResponse:
    """All entries of a case, 200 a page; `?from=` begins at a sequence number."""
    case, disc = _case_or_404(request, number)
    start = request.GET.get("from", "")
    first = int(start) if start.isascii() and start.isdigit() and len(start) < 19 else 0
    entries = Kept(request).part(
        "cases/_trail.html", lambda: _read(request, case, first), f"{case.pk} {first}"
    )
    return render(request, "cases/trail.html", {"case": case, "disc": disc, "entries": entries})


def _case_or_404(request: StaffRequest, number: str) -> tuple[Case, str | None]:
    """Return the case with its number and names only, and the number of its disc."""
    wanted = number_or_404(number)
    for case, disc in _CASE(request.facility.pk, wanted):
        case.facility = request.facility
        return case, disc
    raise not_known(wanted)


def _read(request: StaffRequest, case: Case, first: int) -> dict[str, Any]:
    found = _ENTRIES(case.pk, first, PAGE_SIZE + 1)
    shown, units = found[:PAGE_SIZE], units_of(request)
    sealed: dict[int, dict[str, str]] = {}
    last = shown[-1][0].sequence if shown else first
    for entry, key, value in _SEALED(case.pk, first, last):
        sealed.setdefault(entry, {})[key] = value
    lines = [(line_of(e, sealed.get(e.pk, {}), units), *names) for e, *names in shown]
    corrected: dict[int, list[int]] = {}
    for one, *_names in lines:
        if one.corrects is not None:
            corrected.setdefault(one.corrects, []).append(one.entry.sequence)
    return {
        "case": case,
        "entries": [
            Entry(
                line=one,
                corrections=corrected.get(one.entry.sequence, []),
                signed_by=signer and f"{signer} ({code})",
                witness=witness and f"{witness} ({witness_code})",
                place_from=area_from and f"{area_from}, {place_from}",
                place_to=area_to and f"{area_to}, {place_to}",
            )
            for (
                one,
                signer,
                code,
                witness,
                witness_code,
                area_from,
                place_from,
                area_to,
                place_to,
            ) in lines
        ],
        "log": getattr(request.facility, "log", None),
        "next_from": found[PAGE_SIZE][0].sequence if len(found) > PAGE_SIZE else None,
        "is_later_page": first > 0,
    }
