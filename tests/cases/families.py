"""Families for the worked examples: persons named through the acts, and what the page answers."""

from typing import Any

from cases import right, right_acts
from cases.authority import Answer
from cases.models import Case, Document, RightHolder
from crematory import clock
from crematory.models import Facility
from tests import cast

SON, DAUGHTER = {"rank": "child"}, {"rank": "child", "relationship": "daughter"}
SPOUSE = {"rank": "spouse", "relationship": "wife"}


def house(code: str, prefix: str = "LA") -> Facility:
    """A facility under the rules of this jurisdiction."""
    return cast.make_facility(prefix, jurisdiction=code)


def case_in(facility: Facility) -> Case:
    """A person in care, of whom nobody is named yet."""
    return cast.bring(cast.make_case(facility), "in_care")


def clerk_of(case: Case) -> Any:
    return cast.member(case.facility, cast.CLERK)


def name(case: Case, who: str, position: str = "", **more: Any) -> RightHolder:
    """Name somebody, as the clerk; see `cast.says`."""
    return cast.says(case, clerk_of(case), who, position, **more)


def children(case: Case, count: int, signed: int = 0, objecting: int = 0) -> list[RightHolder]:
    """Name children: the first ones sign, the last ones object."""
    said = ["signed"] * signed + [""] * (count - signed - objecting) + ["objects"] * objecting
    return [name(case, f"Child {n}", position) for n, position in enumerate(said, start=1)]


def known(**facts: Any) -> right_acts.Known:
    return right_acts.Known(informant="the family", **facts)


def nobody_missing(case: Case, *but: str) -> None:
    """Say of every class of the order that nobody is missing, but for those left out."""
    ranks = {rank.key: True for rank in case.law.ranks if rank.key not in but}
    if ranks:
        right_acts.state_ranks(case, clerk_of(case), cast.token(), ranks, "the family")


def paper(case: Case, kind: str = "other") -> Document:
    return cast.paper(case, kind)


def answer(case: Case) -> Answer:
    """The answer as the rows stand now."""
    return right.answer_for(Case.objects.get(pk=case.pk))


def efforts(count: int = 1) -> tuple[Any, ...]:
    return tuple((clock.now().date(), f"letter {n}") for n in range(count))
