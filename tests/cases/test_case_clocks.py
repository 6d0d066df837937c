"""The clocks of the law on the case page and on Today: what must be kept, and what lacks."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from cases import death
from cases.case_clocks import Clock, clocks_of, pressing
from cases.corrections import correct
from cases.models import Case
from cases.overview import pressing as pressing_in
from crematory import clock
from crematory.models import Facility
from tests import cast

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


def received(code: str, stage: str = "in_care", **fields: Any) -> Case:
    facility = cast.make_facility("CK", jurisdiction=code)
    return cast.bring(cast.make_case(facility, **fields), stage)


def named(case: Case, title: str) -> Clock:
    found = [c for c in clocks_of(Case.objects.get(pk=case.pk)) if c.title.startswith(title)]
    assert len(found) == 1, [c.title for c in clocks_of(case)]
    return found[0]


def at_receipt(case: Case) -> datetime:
    return case.entries.get(act="receive", outcome="done").happened_at


def test_new_york_cremates_within_a_day_of_acceptance_and_today_says_so(client: Client) -> None:
    case = received("us-ny")
    due = named(case, "Cremate by")
    assert due.at == at_receipt(case) + 24 * HOUR
    assert due.citation
    late = at_receipt(case) + 25 * HOUR
    with clock.pinned(late):
        found = pressing_in(case.facility, late)
        assert [(c.number, term.title, term.broken) for c, term in found][:1] == [
            (case.number, "Cremate by", True)
        ]
        client.force_login(cast.member(case.facility, cast.CLERK))
        page = client.get(reverse("today")).content.decode()
    assert "Terms of the law that press" in page
    assert case.number in page


def test_oregon_counts_twenty_days_of_custody() -> None:
    case = received("us-or")
    zone = case.facility.zone
    day = at_receipt(case).astimezone(zone).date() + timedelta(days=20)
    due = named(case, "Final disposition by")
    assert due.on == day
    assert not pressing([case], at_receipt(case))


def test_florida_says_what_is_missing() -> None:
    due = named(received("us-fl"), "Cremate by")
    assert not due.is_known
    assert due.why == "48 hours, counted from the agreed time, which is not recorded."


@pytest.mark.parametrize("embalmed", [None, False, True])
def test_not_known_to_be_embalmed_counts_as_no(embalmed: bool | None) -> None:
    facility = cast.make_facility("CK", jurisdiction="us-tx")
    case = cast.make_case(facility)
    cast.do("receive", case, is_embalmed=embalmed)
    cooling = [c for c in clocks_of(case) if c.title.startswith("Cool to 40 °F")]
    assert len(cooling) == (not embalmed)
    if cooling:
        assert cooling[0].at == case.died_at + 24 * HOUR
        assert not cooling[0].is_duty  # the person lies in a cooler bay since the receipt


def test_a_rough_time_of_death_counts_from_its_earliest_bound() -> None:
    first = datetime(2024, 5, 1, 6, tzinfo=UTC)
    facility = cast.make_facility("CK", jurisdiction="us-ne")
    died = death.between(first, first + 5 * HOUR)
    case = cast.make_case(facility, at=first + 6 * HOUR, **died.columns())
    cooling = named(case, "Cool by")
    assert cooling.at == first + 24 * HOUR
    assert "earliest possible time" in cooling.why
    assert cooling.presses(first + 7 * HOUR)  # nobody has received the person yet


def test_england_tells_the_registrar_within_96_hours() -> None:
    case = _charged_in("gb-ew")
    due = named(case, "Notice to the registrar by")
    ended = case.entries.get(act="burner_off", outcome="done").happened_at
    assert due.at == ended + 96 * HOUR


def _charged_in(code: str) -> Case:
    facility = cast.make_facility("CK", jurisdiction=code, added_rules={"wait.hours": 24})
    return cast.bring(cast.make_case(facility), "cooling")


def test_unclaimed_and_kept_until_come_after_the_cremation(facility: Facility) -> None:
    case = cast.bring(cast.make_case(facility), "contained")
    titles = [found.title for found in clocks_of(case)]
    assert any("nclaimed" in title or "placed" in title for title in titles)
    assert any(title.endswith("to be kept") for title in titles)
    assert all(found.citation for found in clocks_of(case))


def test_a_day_of_death_is_corrected_with_all_that_says_how_it_is_known(facility: Facility) -> None:
    case = cast.make_case(facility)
    manager = cast.signature(cast.member(facility, cast.MANAGER))
    day = case.died_at.astimezone(facility.zone).date()
    with clock.pinned(case.announced_at + HOUR):
        entry = correct(case, manager, "t", "died_at", death.on_day(day, facility.zone), "found so")
    case.refresh_from_db()
    assert (case.died_known_as, case.days_of_death) == ("date", (day, day))
    assert entry.sealed.get(key="new").value == day.isoformat()
    assert death.read_words(day.isoformat()).endswith("only the day is known")
    with clock.pinned(case.announced_at + 2 * HOUR):
        correct(case, manager, "u", "died_at", case.died_at, "the hour is known now")
    case.refresh_from_db()
    assert case.died_at_latest is None


def test_whether_embalmed_is_corrected_too(facility: Facility) -> None:
    case = cast.bring(cast.make_case(facility), "in_care")
    clerk = cast.signature(cast.member(facility, cast.CLERK))
    correct(case, clerk, "t", "is_embalmed", True, "the sender says so")
    assert Case.objects.get(pk=case.pk).delivery.is_embalmed is True
