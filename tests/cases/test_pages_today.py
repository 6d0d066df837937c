"""Today: who waits for what, and what stands first."""

import pytest
from django.test import Client
from django.urls import reverse

from cases import hold_acts, overview
from cases.models import Case
from crematory.models import Facility
from tests import cast
from tests.cases.pages import many_cases, text_of

pytestmark = pytest.mark.django_db


class TestToday:
    def test_group_names_step_signers_and_person(self, as_clerk: Client, case: Case) -> None:
        page = text_of(as_clerk, reverse("today"))
        assert "Receive into care" in page
        assert "front office or operator, with a second person" in page
        assert "Ada Example" in page
        assert "1941–2024" in page

    def test_hold_stands_first_and_only_there(self, as_clerk: Client, case: Case) -> None:
        hold_acts.open_hold(
            case, cast.signature(cast.member(case.facility, "O1")), "t", "Ring missing"
        )
        page = text_of(as_clerk, reverse("today"))
        assert page.index("On hold") < page.index("Ada Example") < page.index("Ring missing")
        assert "Receive into care" not in page  # among those who wait for a step

    def test_longest_wait_first_and_at_most_5(self, facility: Facility, as_clerk: Client) -> None:
        many_cases(facility, 30)
        [group] = overview.waiting(facility, overview.opened(facility))
        assert group.total == 30
        assert [line.number for line in group.persons] == [f"QV25-{n:05d}-X" for n in range(5)]
        page = text_of(as_clerk, reverse("today"))
        assert "All 30" in page
        assert "?state=expected" in page

    def test_shows_person_in_the_retort(self, as_clerk: Client, case: Case) -> None:
        cast.bring(case, "in_retort")
        page = text_of(as_clerk, reverse("today"))
        assert "next: Burner off" in page
        assert "3 of 3 free" in page

    def test_others_are_not_shown(self, as_clerk: Client, other_facility: Facility) -> None:
        cast.make_case(other_facility, decedent_name="Nobody Here")
        assert "Nobody Here" not in text_of(as_clerk, reverse("today"))
