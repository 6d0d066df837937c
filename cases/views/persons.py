"""Persons in care: the list, its export, and what a scan leads to."""

import csv
from collections.abc import Iterator
from typing import Any

from django.contrib import messages
from django.http import HttpResponse, HttpResponseBase, StreamingHttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from cases import death, search
from cases.models import Case
from cases.roles import WHO, power
from cases.search import Search
from cases.steps import STAGES
from cases.views import asked
from cases.views.kept import Kept
from cases.views.requests import StaffRequest

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


def _query(request: StaffRequest, search: Search, **changed: str) -> str:
    parts = {
        "search": asked.key_of(request) if search.text else "",
        "state": search.state,
        "everywhere": "1" if search.everywhere else "",
        **changed,
    }
    return asked.query(**parts)


@require_http_methods(["GET", "HEAD", "POST"])
def persons(request: StaffRequest) -> HttpResponse:
    """The list: found by name, number, disc or sender; 25 a page.

    What is looked for is sent by POST and kept in the session: no address holds a name.
    """
    if (sent := asked.sent(request)) is not None:
        return asked.lead(request, asked.text_of(sent), sent.get("state", ""))
    looked = asked.read(request)
    found = Kept(request).part(
        "cases/_persons.html",
        lambda: _found(request, looked),
        repr((looked, asked.key_of(request))),
    )
    return render(
        request,
        "cases/persons.html",
        {
            "announcing": power(request.user, WHO["announce"]),
            "asked": looked,
            "is_forgotten": asked.is_forgotten(request),
            "found": found,
            "states": asked.STATES,
            "stages": STAGES,
            "export_query": _query(request, looked),
        },
    )


def _found(request: StaffRequest, looked: Search) -> dict[str, Any]:
    exact = search.by_number(request.facility, looked.text) if looked.text else None
    page = search.find(looked, widen=exact is None)
    more = {"everywhere": "1" if page.everywhere else ""}
    if page.has_more:
        more["after"] = str(page.cases[-1].pk)
    return {
        "asked": looked,
        "page": page,
        "exact": exact,
        "more_query": _query(request, looked, **more) if page.has_more else "",
        "first_query": _query(request, looked) if looked.after else "",
        "everywhere_query": _query(request, looked, everywhere="1"),
        "everybody_query": _query(request, looked, state="all"),
    }


@require_http_methods(["GET", "HEAD", "POST"])
def scan(request: StaffRequest) -> HttpResponse:
    """Lead from a scanned label or disc, a typed number or a name, to the person."""
    sent = asked.sent(request)
    text = asked.text_of(sent) if sent is not None else ""
    if not text:
        return asked.to_list()
    if search.is_mistyped(text):
        messages.error(request, f"{text} is mistyped, or misread. Check the number, read it again.")
        return asked.to_list()
    found = search.by_number(request.facility, text)
    if found:
        if paper := search.superseded_paper(request.facility, text):
            messages.warning(
                request,
                f"Paper {paper.number} is superseded: what it says was corrected since. "
                "Put it out of use, and print it anew.",
            )
        return redirect("cases:case", number=found.number)
    if any(character.isdigit() for character in text) or "/" in text:
        messages.warning(request, f"No case, disc or paper has the number {text}.")
        return asked.to_list()
    return asked.lead(request, text, "all")


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
        death.as_cell(death.of(case), zone),
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
def export(request: StaffRequest) -> HttpResponseBase:
    """The whole list as CSV, sent while it is read; times in the facility's zone."""
    if asked.is_forgotten(request):
        return asked.to_list(request.GET.urlencode())
    looked = asked.read(request)
    zone = request.facility.zone
    writer = csv.writer(_Echo())

    def lines() -> Iterator[str]:
        yield "\ufeff"  # without this mark spreadsheets misread letters beyond ASCII
        yield writer.writerow(HEADINGS)
        for case in search.matching(looked).iterator(chunk_size=1000):
            yield writer.writerow(_row(case, zone))

    response = StreamingHttpResponse(lines(), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = 'attachment; filename="persons-in-care.csv"'
    return response
