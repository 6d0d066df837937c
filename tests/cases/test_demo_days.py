"""The demonstration builds at whatever hour it is started."""

from datetime import UTC, datetime

import pytest

from cases.demo import build
from cases.gates import GATES
from chain_of_custody.models import CustodyEntry
from chain_of_custody.trail import facts_of


@pytest.mark.django_db
def test_builds_just_after_midnight_on_sunday_in_the_week_of_summer_time() -> None:
    build.build(datetime(2026, 3, 15, 6, 1, tzinfo=UTC))
    refused = CustodyEntry.objects.filter(outcome="refused")
    reasons = {reason for entry in refused for reason in facts_of(entry)["reasons"]}
    assert set(GATES) - reasons == set()
