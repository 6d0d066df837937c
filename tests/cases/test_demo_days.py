"""The demonstration builds at whatever hour it is started."""

from datetime import UTC, datetime

import pytest

from cases.demo import build
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
