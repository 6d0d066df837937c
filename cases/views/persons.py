"""Persons in care: the list, its export, and what a scan leads to."""

import csv
from collections.abc import Iterator
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpResponse, StreamingHttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from cases import search
from cases.models import Case
from cases.search import Search
from cases.steps import STAGES
from cases.views.requests import StaffRequest

STATES = {"": "everybody", "open": "in care", "closed": "closed"}
HEADINGS = (
    "case number",
    "name",
    "born on",
    "died at",
    "stage",
    "stage since",
    "disc",
    "sender",
    "announced at",
)
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def _asked(request: StaffRequest) -> Search:
    after = request.GET.get("after", "")
    state = request.GET.get("state", "")
    return Search(
        facility=request.facility,
        text=" ".join(request.GET.get("q", "").replace("\0", "").split())[:100],
        state=state if state in STATES or state in STAGES else "",
        everywhere=request.GET.get("everywhere") == "1",
        after=int(after) if after.isascii() and after.isdigit() and len(after) < 19 else 0,
    )


def _query(asked: Search, **changed: Any) -> str:
    parts = {
        "q": asked.text,
        "state": asked.state,
        "everywhere": "1" if asked.everywhere else "",
        **changed,
    }
    return urlencode({name: value for name, value in parts.items() if value})


@require_safe
def persons(request: StaffRequest) -> HttpResponse:
    """The list: found by name, number, disc or sender; 25 a page."""
    asked = _asked(request)
    exact = search.by_number(request.facility, asked.text) if asked.text else None
    page = search.find(asked, widen=exact is None)
    more = {"everywhere": "1" if page.everywhere else ""}
    if page.has_more:
        more["after"] = str(page.cases[-1].pk)
    return render(
        request,
        "cases/persons.html",
        {
            "asked": asked,
            "page": page,
            "exact": exact,
            "states": STATES,
            "stages": STAGES,
            "more_query": _query(asked, **more) if page.has_more else "",
            "first_query": _query(asked) if asked.after else "",
            "everywhere_query": _query(asked, everywhere="1"),
            "export_query": _query(asked),
        },
    )


@require_safe
def scan(request: StaffRequest) -> HttpResponse:
    """Lead from a scanned label or disc, a typed number or a name, to the person."""
    text = request.GET.get("q", "").replace("\0", "").strip()[:100]
    if not text:
        return redirect("cases:list")
    if search.is_mistyped(text):
        messages.error(request, f"{text} is mistyped, or misread. Check the number, read it again.")
        return redirect("cases:list")
    found = search.by_number(request.facility, text)
    if found:
        return redirect("cases:case", number=found.number)
    if any(character.isdigit() for character in text) or "/" in text:
        messages.warning(request, f"No case and no disc has the number {text}.")
        return redirect("cases:list")
    response = redirect("cases:list")
    response["Location"] += "?" + urlencode({"q": text})
    return response


def safe_cell(value: object) -> str:
    """Return text that no spreadsheet takes for a formula."""
    text = str(value)
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text


def _row(case: Case, zone: Any) -> list[str]:
    def local(value: Any) -> str:
        return timezone.localtime(value, zone).isoformat(timespec="minutes")

    disc = getattr(case, "disc", None)
    cells = (
        case.number,
        case.decedent_name,
        case.born_on or "",
        local(case.died_at),
        STAGES[case.stage],
        local(case.stage_since),
        disc.number if disc else "",
        case.sender,
        local(case.announced_at),
    )
    return [safe_cell(cell) for cell in cells]


class _Echo:
    """A file for the CSV writer that hands each line straight back."""

    def write(self, line: str) -> str:
        return line


@require_safe
def export(request: StaffRequest) -> StreamingHttpResponse:
    """The whole list as CSV, sent while it is read; times in the facility's zone."""
    asked = _asked(request)
    zone = request.facility.zone
    writer = csv.writer(_Echo())

    def lines() -> Iterator[str]:
        yield "\ufeff"  # without this mark spreadsheets misread letters beyond ASCII
        yield writer.writerow(HEADINGS)
        for case in search.matching(asked).iterator(chunk_size=1000):
            yield writer.writerow(_row(case, zone))

    response = StreamingHttpResponse(lines(), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = 'attachment; filename="persons-in-care.csv"'
    return response
