"""The demonstration builds at whatever hour it is started."""

from datetime import UTC, datetime, time, timedelta

import pytest

from cases.demo import build, machines
from cases.gates import GATES
from chain_of_custody.models import CustodyEntry, Paper
from chain_of_custody.trail import facts_of


@pytest.mark.django_db
def test_builds_just_after_midnight_on_sunday_in_the_week_of_summer_time() -> None:
    build.build(datetime(2026, 3, 15, 6, 1, tzinfo=UTC))
    refused = CustodyEntry.objects.filter(outcome="refused")
    reasons = {reason for entry in refused for reason in facts_of(entry)["reasons"]}
    assert set(GATES) - reasons == set()


@pytest.mark.django_db
def test_builds_where_nothing_can_be_printed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("chain_of_custody.typesetter.pango_missing", lambda: "no pango")
    build.build(datetime(2026, 3, 11, 18, 40, tzinfo=UTC))
    labels = Paper.objects.filter(kind="label")
    assert labels.count() > 20
    assert labels.filter(facts__by_hand=True).count() == labels.count()


def test_no_hour_of_the_day_begins_within_the_hours_that_the_permit_closes() -> None:
    """Runs that go on now, and those of past days, lie in the permit's hours; so do later ones."""
    day = datetime(2026, 3, 11)
    past = range(8 * 60, 16 * 60 + 40)
    for minute in range(24 * 60):
        closes, opens = machines.closed((day + timedelta(minutes=minute)).time())
        shut = range(_minutes(closes), _minutes(opens) or 24 * 60)
        around = {m % (24 * 60) for m in range(minute - 155, minute + 225)}
        assert not (around | set(past)) & set(shut), f"{minute // 60:02d}:{minute % 60:02d}"


def _minutes(at: time) -> int:
    return at.hour * 60 + at.minute
