"""A time typed to the minute means that whole minute; the order of entries stays."""

from datetime import datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.errors import StepRefused
from cases.models import Case
from cases.moments import MINUTE, settle_minute
from cases.taking import take
from chain_of_custody.models import CustodyEntry
from crematory import clock
from tests import cast

SECONDS = timedelta(seconds=30)
moments = st.integers(0, 10 * 60 * 10).map(lambda n: cast.START + timedelta(seconds=n / 10))
minutes = st.integers(0, 10).map(lambda n: cast.START + n * MINUTE)


@given(minutes, st.lists(moments, max_size=4))
def test_a_typed_minute_is_never_before_what_lies_within_it(
    stated: datetime, before: list[datetime]
) -> None:
    settled = settle_minute(stated, before)
    assert stated <= settled < stated + MINUTE
    assert all(at <= settled for at in before if at < stated + MINUTE and at >= stated)
    assert settled == stated or settled in before


@given(moments.filter(lambda at: at.second or at.microsecond), st.lists(moments, max_size=4))
def test_a_time_with_seconds_stands_as_stated(stated: datetime, before: list[datetime]) -> None:
    assert settle_minute(stated, before) == stated


@given(minutes, st.lists(moments, max_size=4))
def test_settling_twice_changes_nothing(stated: datetime, before: list[datetime]) -> None:
    settled = settle_minute(stated, before)
    assert settle_minute(settled, before) == settled


def _take(case: Case, verb: str, happened_at: datetime | None, **changes: Any) -> CustodyEntry:
    facts = cast.facts_for(verb, case, happened_at=happened_at, **changes)
    entry = take(verb, case, facts, **cast.signers(verb, case), token=cast.token())
    case.refresh_from_db()
    return entry


@pytest.mark.django_db
def test_a_step_in_the_minute_of_the_one_before_is_taken(case: Case) -> None:
    start = case.died_at + timedelta(days=2)
    with clock.pinned(start + SECONDS):
        received = _take(case, "receive", None)
        cast.prepare("authorize", case)
    with clock.pinned(start + 10 * MINUTE):
        authorized = _take(case, "authorize", start)
    assert authorized.happened_at == received.happened_at == start + SECONDS
    assert authorized.sequence > received.sequence
    assert authorized.happened_at <= authorized.recorded_at


@pytest.mark.django_db
def test_the_minute_before_is_still_refused(case: Case) -> None:
    start = case.died_at + timedelta(days=2)
    with clock.pinned(start + SECONDS):
        _take(case, "receive", None)
        cast.prepare("authorize", case)
    with clock.pinned(start + 10 * MINUTE), pytest.raises(StepRefused) as caught:
        _take(case, "authorize", start - MINUTE)
    assert caught.value.code == "time_order"


@pytest.mark.django_db
def test_a_charge_is_typed_in_the_minute_of_its_reading(case: Case) -> None:
    cast.bring(case, "tagged")
    minute = case.stage_since + 30 * MINUTE
    with clock.pinned(minute + SECONDS):
        cast.prepare("charge", case)
    with clock.pinned(minute + 2 * MINUTE):
        entry = _take(case, "charge", minute)
    assert entry.happened_at == minute + SECONDS
    with clock.pinned(minute + 3 * MINUTE):
        entry = _take(case, "burner_off", minute)
    assert case.run.burner_off_at == case.run.charged_at == minute + SECONDS
