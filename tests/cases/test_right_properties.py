"""Whatever a family is like: one more signature, through the acts, never takes the right away."""

from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cases.authority import Outcome, Review
from cases.models import Case, RightHolder
from crematory.models import Facility
from tests import cast
from tests.cases import families as f

RANKS = ("spouse", "child", "child", "child", "parent", "designated_agent")
KNOWN: tuple[dict[str, Any], ...] = (
    {},
    {},
    {"is_living": False},
    {"is_minor": True},
    {"is_of_sound_mind": False},
    {"is_living": True, "is_minor": False},
)
PERSON = st.tuples(st.sampled_from(RANKS), st.sampled_from(KNOWN), st.booleans())


@pytest.fixture(params=["us-mt", "us-co", "us-sc"])
def house(request: Any, db: None) -> Facility:
    return f.house(request.param)


@settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(st.lists(PERSON, min_size=1, max_size=5), st.integers(0, 4))
def test_a_signature_never_takes_the_right_away(
    house: Facility, people: list[tuple[str, dict[str, Any], bool]], which: int
) -> None:
    with transaction.atomic():
        case = cast.make_case(house)
        f.nobody_missing(case)
        holders = [_named(case, n, *person) for n, person in enumerate(people)]
        before = f.answer(case)
        unsigned = [h for h in holders if not h.statements.exists()]
        if unsigned:
            cast.speaks(unsigned[which % len(unsigned)], f.clerk_of(case), "signed")
        after = f.answer(case)
        transaction.set_rollback(True)
    if before.outcome is Outcome.SUFFICIENT and after.review is not Review.GAP_IN_THE_TEXT:
        assert after.outcome is Outcome.SUFFICIENT


def _named(case: Case, n: int, rank: str, known: dict[str, Any], signs: bool) -> RightHolder:
    facts = dict(known)
    if rank == "designated_agent":
        facts |= {"has_instrument": True, "instrument": f.paper(case)}
    return f.name(case, f"Person {n}", "signed" if signs else "", rank=rank, known=f.known(**facts))
