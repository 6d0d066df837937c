"""The trail of one person: acts, refusals, corrections, late entries."""

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse

from cases import corrections
from cases.errors import StepRefused
from cases.models import Case
from crematory import clock
from tests import cast
from tests.cases.pages import text_of

pytestmark = pytest.mark.django_db


class TestTrail:
    def test_acts_refusals_and_sealed_values(self, as_clerk: Client, case: Case) -> None:
        with pytest.raises(StepRefused):
            cast.do("receive", case, band_reads="Someone Else")
        cast.bring(case, "in_care")
        page = text_of(as_clerk, reverse("cases:trail", args=[case.number]))
        assert "Receive into care" in page
        assert "trail-refused" in page
        assert "Clara Clerk" in page
        assert "Cyril Clerk" in page
        assert "179.7 lb (81.5 kg)" in page.replace("\xa0", " ")
        assert "sealed" in page
        assert "Cooler, Bay 1" in page
        for code in ("band_reads", "bay-1", "us-mt", "True"):
            assert code not in page.split("<main")[1]

    def test_correction_shows_both_values_and_its_entry(self, as_clerk: Client, case: Case) -> None:
        clerk = cast.signature(cast.member(case.facility, "C1"))
        entry = corrections.correct(case, clerk, "t", "sender", "Right Home", "misheard")
        page = text_of(as_clerk, reverse("cases:trail", args=[case.number]))
        assert "Example Funeral Home" in page
        assert "Right Home" in page
        assert 'Corrects sender in <a href="#entry-0">entry 0</a>' in page
        assert f'<a href="#entry-{entry.sequence}">entry {entry.sequence}</a>' in page

    def test_late_entry_is_marked(self, as_clerk: Client, case: Case) -> None:
        with clock.pinned(case.stage_since + timedelta(hours=2)):
            cast.take(
                "receive",
                case,
                cast.facts_for(
                    "receive", case, happened_at=case.stage_since + timedelta(minutes=30)
                ),
                **cast.signers("receive", case),
                token="late",
            )
        assert "Recorded late" in text_of(as_clerk, reverse("cases:trail", args=[case.number]))
