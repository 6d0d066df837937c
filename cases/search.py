"""Finding persons: by name, also a former one, case number, disc or sender.

Pages are cut by key, never counted.
"""

import re
from dataclasses import dataclass

from django.db import connection
from django.db.models import Q, QuerySet

from cases import holds, overview, scans
from cases.former_names import once_named
from cases.models import Case
from cases.names import fold
from cases.steps import FINAL_STAGES, STAGES
from chain_of_custody.models import Paper
from crematory.models import Facility
from crematory.written import Part, Written

PAGE_SIZE = 25
# A case number's form without looking at its check character, so that a slip is told as a slip.
NUMBER_FORM = re.compile(r"^[A-Z]{2,4}\d{2}-\d{5}(-?[A-Z0-9])?$", re.ASCII)
IN_CARE, EVERYBODY = "open", "all"
LAST_CHARACTER = "\U0010ffff"
COLUMNS = (
    "number",
    "decedent_name",
    "name_folded",
    "born_on",
    "died_at",
    "died_at_latest",
    "died_known_as",
    "stage",
    "stage_since",
    "sender",
    "announced_at",
    "disc__number",
)

_OF_NUMBER = Written(
    "SELECT {c} FROM cases_case c WHERE c.facility_id = %s AND c.number = %s",
    c=Part("cases.Case", "number"),
)
_OF_DISC = Written(
    "SELECT {c} FROM cases_case c WHERE c.id IN"
    " (SELECT d.case_id FROM cases_iddisc d WHERE d.facility_id = %s AND d.number = %s"
    " UNION ALL SELECT r.case_id FROM cases_discreplaced r"
    " WHERE r.facility_id = %s AND r.old_number = %s)",
    c=Part("cases.Case", "number"),
)


@dataclass(frozen=True)
class Search:
    """What is looked for. `state` is "all", "open", "closed" or a stage; `after` a case's key."""

    facility: Facility
    text: str = ""
    state: str = EVERYBODY
    everywhere: bool = False
    after: int = 0


@dataclass(frozen=True)
class Page:
    """One page of what was found; `everywhere` tells whether the middle of names was searched."""

    cases: list[Case]
    has_more: bool
    everywhere: bool


def by_number(facility: Facility, text: str) -> Case | None:
    """Return the case with exactly this number: its own, that of a disc or paper."""
    if number := scans.case_number(text):
        for (own,) in _OF_NUMBER(facility.pk, number):
            return own
    disc = scans.disc(text)
    for (given,) in _OF_DISC(facility.pk, disc, facility.pk, disc):
        return given
    if number := scans.paper_number(text):
        papers = Paper.objects.filter(facility=facility, number=number).select_related("case")
        paper = papers.only("case__number").first()
        return paper.case if paper else None
    return None


def superseded_paper(facility: Facility, text: str) -> Paper | None:
    """Return the paper whose number or label was read, if a correction superseded it."""
    if (read := scans.label(text)) is None:
        return None
    papers = Paper.objects.filter(facility=facility, number=read.paper_number)
    return papers.filter(superseded__isnull=False).first()


def is_mistyped(text: str) -> bool:
    """True for a label's scan or a case number whose check character does not hold."""
    typed = text.strip().upper()
    looks_like_one = typed.startswith(scans.LABEL_MARK) or bool(NUMBER_FORM.match(typed))
    return looks_like_one and not scans.case_number(typed)


def find(search: Search, *, widen: bool = True) -> Page:
    """Return one page: by name where a name's beginning is looked for, else newest first.

    The beginning of a name is looked up in an index. Only when asked, or where that finds nobody
    and `widen` is true, are the middle of names, former names and the senders looked through:
    every case is read for that.
    """
    everywhere = search.everywhere or not search.text
    found = _page(search, everywhere)
    if widen and not found and not everywhere and not search.after:
        everywhere, found = True, _page(search, True)
    cases = overview.with_facility(found[:PAGE_SIZE], search.facility)
    _tell(search, cases, everywhere=everywhere)
    return Page(cases, len(found) > PAGE_SIZE, everywhere and bool(search.text))


def _tell(search: Search, cases: list[Case], *, everywhere: bool) -> None:
    """Say of each person on the page whether they are on hold, and the name that was found."""
    held = holds.held_among(case.pk for case in cases)
    former = once_named(search.facility, search.text) if search.text and everywhere else {}
    for case in cases:
        case.is_held = case.pk in held
        case.former_name = former.get(case.pk, "")


def matching(search: Search) -> QuerySet[Case]:
    """Return all that a search finds, for an export: not cut into pages."""
    everywhere = search.everywhere or not search.text
    if not everywhere and not _matches(search, False).exists():
        everywhere = True
    return _ordered(_matches(search, everywhere), _key(search, everywhere))


def _page(search: Search, everywhere: bool) -> list[Case]:
    """One case more than a page holds, so that it is known whether there are more."""
    matches, key = _matches(search, everywhere), _key(search, everywhere)
    if search.after:
        matches = _after(matches, search, key)
    return list(_ordered(matches, key)[: PAGE_SIZE + 1])


def _key(search: Search, everywhere: bool) -> str:
    """By what a list is ordered: the column that its index holds; times go backwards."""
    if not everywhere:
        return "name_folded"
    is_open = search.state == IN_CARE or search.state in STAGES.keys() - FINAL_STAGES
    return "stage_since" if is_open else "announced_at"


def _ordered(matches: QuerySet[Case], key: str) -> QuerySet[Case]:
    order = ("name_folded", "pk") if key == "name_folded" else (f"-{key}", "-pk")
    return matches.select_related("disc").only(*COLUMNS).order_by(*order)


def _matches(search: Search, everywhere: bool) -> QuerySet[Case]:
    cases = _in_state(search)
    if not search.text:
        return cases
    name = fold(search.text)
    if everywhere:
        return cases.filter(
            Q(name_folded__contains=name)
            | Q(sender__icontains=search.text)
            | Q(pk__in=list(once_named(search.facility, search.text)))
        )
    if connection.vendor == "sqlite":
        # LIKE with an escape character never uses an index on SQLite; a range does.
        return cases.filter(name_folded__gte=name, name_folded__lt=name + LAST_CHARACTER)
    return cases.filter(name_folded__startswith=name)


def _in_state(search: Search) -> QuerySet[Case]:
    everyone = Case.objects.filter(facility=search.facility)
    if search.state == IN_CARE:
        return overview.open_cases(search.facility)
    if search.state == "closed":
        return everyone.filter(stage__in=FINAL_STAGES)
    if search.state in FINAL_STAGES:
        return everyone.filter(stage=search.state)
    if search.state in STAGES:
        return overview.open_cases(search.facility).filter(stage=search.state)
    return everyone


def _after(matches: QuerySet[Case], search: Search, key: str) -> QuerySet[Case]:
    """Go on behind the last case of the page before: its key, so that the URL holds no name."""
    last = Case.objects.filter(facility=search.facility, pk=search.after).only(key).first()
    if last is None:
        return matches.none()
    value = getattr(last, key)
    near, far, row = ("gte", "gt", "gt") if key == "name_folded" else ("lte", "lt", "lt")
    return matches.filter(**{f"{key}__{near}": value}).filter(
        Q(**{f"{key}__{far}": value}) | Q(**{f"pk__{row}": last.pk})
    )
