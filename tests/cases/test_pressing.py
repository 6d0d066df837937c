"""What presses by law is found among many cases as if the clocks of each had been reckoned."""

import random
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.db.models import OuterRef, Subquery
from django.test.utils import CaptureQueriesContext

from cases import case_clocks, death, law, pressing
from cases.models import Case
from cases.overview import open_cases, opened, with_facility
from cases.overview_sql import GROUP_LIMIT
from cases.steps import BEFORE_CHARGE
from chain_of_custody.models import CustodyEntry
from crematory.models import Facility
from tests import cast

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)
# The others count from a moment that is not recorded, or spare who lies in a cooler bay.
EVER = ("us-mn", "us-mt", "us-ne", "us-ny", "us-or", "us-tx")
WITHOUT = next(c for c in law.codes() if pressing.terms(law.jurisdiction(c)) == [])
COUNTING = [code for code in law.codes() if pressing.terms(law.jurisdiction(code)) != []]


def plainly(facility: Facility, now: datetime) -> list[Any]:
    """Reckon the clocks of every case before its charge."""
    received = CustodyEntry.objects.filter(case=OuterRef("pk"), act="receive", outcome="done")
    rows = (
        open_cases(facility)
        .filter(stage__in=BEFORE_CHARGE)
        .select_related("delivery")
        .annotate(received_at=Subquery(received.values("happened_at")[:1]))
    )
    return told(case_clocks.pressing(with_facility(rows, facility), now)[:GROUP_LIMIT])


def told(found: list[tuple[Case, case_clocks.Shown]]) -> list[Any]:
    return [(case.pk, case.number, case.years, vars(shown)) for case, shown in found]


def expect(facility: Facility, chance: random.Random, count: int) -> None:
    """Announce persons whose deaths are known in every way, some at the same moment."""
    for place in range(count):
        died = cast.START + HOUR * chance.randrange(0, 600, 20)
        known = (
            death.exactly(died),
            death.between(died, died + 5 * HOUR),
            death.on_day(died.date(), facility.zone),
        )[place % 3]
        cast.make_case(facility, cast.START + 640 * HOUR, **known.columns())


def receive(facility: Facility, count: int) -> None:
    """Announce and receive persons, a day apart, embalmed or not; lead one of them further."""
    for place in range(count):
        case = cast.make_case(facility)
        cast.do("receive", case, is_embalmed=(None, False, True)[place % 3])
    cast.bring(case, "authorized")


@pytest.mark.parametrize("code", COUNTING)
def test_the_same_terms_press_under_every_law(code: str) -> None:
    chance = random.Random(code)  # noqa: S311 - the same cases in every run
    facility = cast.make_facility(jurisdiction=code)
    expect(facility, chance, 9)
    receive(facility, 7)
    some = 0
    for hours in (0, 24, 100, 300, 650, 700, 800, 900, 2000):
        now = cast.START + HOUR * hours
        found = told(pressing.pressing(facility, opened(facility), now))
        assert found == plainly(facility, now)
        some += len(found)
    assert some or code not in EVER


def test_who_died_at_the_same_moment_comes_in_the_order_of_arrival() -> None:
    facility = cast.make_facility(jurisdiction="us-mt")
    cases = [cast.make_case(facility, died_at=cast.START) for _ in range(GROUP_LIMIT + 3)]
    now = cast.START + 47 * HOUR
    found = pressing.pressing(facility, opened(facility), now)
    assert [case.pk for case, _shown in found] == [case.pk for case in cases[:GROUP_LIMIT]]
    assert told(found) == plainly(facility, now)


def test_a_term_begins_to_press_a_day_before_it_ends() -> None:
    facility = cast.make_facility(jurisdiction="us-mt")
    cast.make_case(facility, died_at=cast.START)
    least = timedelta(microseconds=1)
    assert not pressing.pressing(facility, opened(facility), cast.START + 24 * HOUR)
    assert len(pressing.pressing(facility, opened(facility), cast.START + 24 * HOUR + least)) == 1


def test_clocks_are_reckoned_of_few() -> None:
    facility = cast.make_facility(jurisdiction="us-mt")
    for _ in range(12):
        cast.make_case(facility, died_at=cast.START)
    with CaptureQueriesContext(connection) as queries:
        assert (
            len(pressing.pressing(facility, opened(facility), cast.START + 90 * HOUR))
            == GROUP_LIMIT
        )
    assert len(queries) == 2  # who is open? who died first?


def test_a_case_under_another_law_than_its_house_is_not_missed() -> None:
    facility = cast.make_facility(jurisdiction="us-mt")
    cast.make_case(facility, died_at=cast.START)
    facility.jurisdiction = WITHOUT  # the house moves to a law without such terms
    facility.save()
    cast.make_case(facility, died_at=cast.START)
    now = cast.START + 90 * HOUR
    assert len(pressing.pressing(facility, opened(facility), now)) == 1
    assert told(pressing.pressing(facility, opened(facility), now)) == plainly(facility, now)


def test_another_house_is_left_out(other_facility: Facility) -> None:
    facility = cast.make_facility(jurisdiction="us-mt")
    other_facility.jurisdiction = "us-mt"
    other_facility.save()
    cast.make_case(other_facility, died_at=cast.START)
    assert not pressing.pressing(facility, opened(facility), cast.START + 90 * HOUR)
