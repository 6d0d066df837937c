"""The wait counted from what is known of the death, by each law's own words: gates and pages."""

from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.forms import ModelChoiceField
from django.test import Client
from django.urls import reverse

from cases import death, wait_acts, waits
from cases.deadlines import Kind
from cases.errors import ActRefused
from cases.forms.wait import WaitGroundForm
from cases.gates import GATES, Situation, Verdict
from cases.models import Case, Document, WaitGround
from cases.steps import STEPS
from crematory import clock
from crematory.models import Facility
from tests import cast

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


def house(code: str, **fields: Any) -> Facility:
    return cast.make_facility("WT", jurisdiction=code, **fields)


def case_in(code: str, died: death.Death | None = None, **fields: Any) -> Case:
    """A person announced under this law, with a house rule where its wait is unknown."""
    facility = house(
        code, **{k: fields.pop(k) for k in ("time_zone", "added_rules") if k in fields}
    )
    if died is not None:
        fields |= died.columns()
        fields.setdefault("at", (died.latest or died.earliest) + 3 * HOUR)
    return cast.make_case(facility, **fields)


def wait_at(case: Case, at: datetime) -> Verdict:
    case = Case.objects.select_related("facility").get(pk=case.pk)
    return GATES["waiting_period"](Situation(case=case, step=STEPS["charge"], now=at))


def opens(case: Case) -> datetime:
    """When the gate opens by time alone: refused the second before, passed at the instant."""
    case = Case.objects.select_related("facility").get(pk=case.pk)
    at = waits.wait_end(case).at
    assert at is not None
    before = wait_at(case, at - timedelta(seconds=1))
    assert (before.state, before.passes_at) == ("refused", at)
    assert wait_at(case, at).state == "passed"
    return at


NIGHTS = [
    # zone, local wall clock 01:30, the two ends of 24 h and of 48 h in UTC (counted by hand)
    ("America/Denver", datetime(2024, 11, 3, 1, 30), "2024-11-03T08:30", "2024-11-04T08:30"),
    ("America/Denver", datetime(2024, 3, 10, 1, 30), "2024-03-10T08:30", "2024-03-11T08:30"),
    ("Europe/London", datetime(2024, 10, 27, 1, 30), "2024-10-27T01:30", "2024-10-28T01:30"),
    ("Europe/London", datetime(2024, 3, 31, 0, 30), "2024-03-31T00:30", "2024-04-01T00:30"),
]


@pytest.mark.parametrize(("zone", "wall", "latest", "ends"), NIGHTS)
@pytest.mark.parametrize("hours", [24, 48])
def test_the_nights_when_clocks_change(
    zone: str, wall: datetime, latest: str, ends: str, hours: int, client: Client
) -> None:
    """01:30 in the night the clocks go back was twice: the later one counts, and it is said."""
    facility = house("us-mt", time_zone=zone, added_rules={"wait.hours": hours})
    client.force_login(cast.member(facility, cast.CLERK))
    page = reverse("cases:announce")
    sent = {
        "token": client.get(page).context["form"].initial["token"],
        "decedent_name": "Nora Night",
        "died_known_as": "exact",
        "died_at": wall.isoformat(timespec="minutes"),
        "sender": "Example Hospital",
    }
    answer = client.post(page, sent)
    if answer.status_code == 422:  # the clocks went back: it is asked which hour it was
        assert "showed 01:30 twice" in answer.content.decode()
        answer = client.post(page, sent | {"died_hour": "either"})
    assert answer.status_code == 302
    case = Case.objects.get(decedent_name="Nora Night")
    assert (case.died_at_latest or case.died_at) == datetime.fromisoformat(latest + "+00:00")
    at = opens(case)
    assert at == datetime.fromisoformat(ends + "+00:00") + (hours - 24) * HOUR
    if case.died_at_latest:
        assert "latest possible time" in wait_at(case, at - HOUR).reason


@pytest.mark.parametrize(
    ("zone", "wall"),
    [("America/Denver", "2024-03-10T02:30"), ("Europe/London", "2024-03-31T01:30")],
)
def test_a_time_that_the_clocks_skipped_is_asked_about(
    zone: str, wall: str, client: Client
) -> None:
    facility = house("us-mt", time_zone=zone)
    client.force_login(cast.member(facility, cast.CLERK))
    sent = {"token": "x" * 30, "decedent_name": "Nora Night", "sender": "Home"}
    answer = client.post(reverse("cases:announce"), sent | {"died_at": wall})
    assert "the clocks were set forward" in answer.content.decode()


@pytest.mark.parametrize(("hour", "utc"), [("first", 7), ("second", 8)])
def test_who_knows_the_hour_says_so(hour: str, utc: int, client: Client) -> None:
    facility = house("us-mt", time_zone="America/Denver")
    client.force_login(cast.member(facility, cast.CLERK))
    sent = {"token": "x" * 30, "decedent_name": "Nora Night", "sender": "Home",
            "died_at": "2024-11-03T01:30", "died_hour": hour}  # fmt: skip
    assert client.post(reverse("cases:announce"), sent).status_code == 302
    case = Case.objects.get()
    assert case.died_at == datetime(2024, 11, 3, utc, 30, tzinfo=UTC)
    assert case.died_at_latest is None


def test_a_death_known_only_as_a_day_counts_from_its_end(client: Client) -> None:
    facility = house("us-mt", time_zone="America/Denver")
    client.force_login(cast.member(facility, cast.CLERK))
    sent = {"token": "x" * 30, "decedent_name": "Dan Day", "sender": "Home",
            "died_known_as": "date", "died_on": "2024-11-03", "died_at": "nonsense"}  # fmt: skip
    assert client.post(reverse("cases:announce"), sent).status_code == 302
    case = Case.objects.get()
    # 3 November 2024 had 25 hours; its end is 4 November 00:00 MST, which is 07:00 UTC.
    assert opens(case) == datetime(2024, 11, 5, 7, 0, tzinfo=UTC)
    verdict = wait_at(case, datetime(2024, 11, 5, 6, 0, tzinfo=UTC))
    assert "because only the date is known" in verdict.reason
    page = client.get(reverse("cases:case", args=[case.number])).content.decode()
    assert "Sun 3 Nov 2024, only the day is known" in page
    assert "Sun 3 Nov 2024 00:00" not in page


def test_a_range_counts_from_its_latest_end() -> None:
    first = datetime(2024, 5, 1, 6, tzinfo=UTC)
    case = case_in("us-mt", death.between(first, first + 5 * HOUR))
    assert opens(case) == first + 29 * HOUR


def test_years_of_life_claim_no_more_than_is_known() -> None:
    zone = ZoneInfo("America/Denver")
    first = datetime(2023, 12, 31, 20, tzinfo=zone)
    case = case_in("us-mt", death.between(first, first + 8 * HOUR), born_on=date(1941, 1, 1))
    assert case.years == "1941–2023/2024"
    assert case.age_years == 82
    whole_day = case_in_day("us-mt", date(2023, 12, 31))
    assert whole_day.years == "1941–2023"


def case_in_day(code: str, day: date) -> Case:
    facility = cast.make_facility("WD", jurisdiction=code, time_zone="America/Denver")
    died = death.on_day(day, facility.zone)
    assert died.latest is not None
    return cast.make_case(facility, at=died.latest + HOUR, **died.columns())


# By each law's own words


def file(case: Case, kind: str) -> None:
    with clock.pinned(case.announced_at + HOUR):
        cast.file_paper(case, kind)


def claim(case: Case, ground: str, **more: Any) -> None:
    manager = cast.signature(cast.member(case.facility, cast.MANAGER))
    with clock.pinned(case.announced_at + 2 * HOUR):
        wait_acts.state_wait_ground(
            case, manager, cast.token(), ground, "the family, in writing", **more
        )


@pytest.mark.parametrize("kind", ["death_record", "disposition_permit"])
def test_texas_counts_from_the_certificate_or_the_permit(kind: str) -> None:
    case = case_in("us-tx")
    late = case.died_at + 500 * HOUR
    verdict = wait_at(case, late)
    assert verdict.state == "refused"
    assert "certificate" in verdict.reason
    assert "716.004" in verdict.citation
    file(case, kind)
    assert opens(case) == case.died_at + 48 * HOUR


def test_texas_waives_by_the_written_waiver_alone() -> None:
    case = case_in("us-tx")
    file(case, "death_record")
    claim(case, "written_waiver")
    assert wait_at(case, case.died_at + 3 * HOUR).state == "refused"
    file(case, "medical_examiner_waiver")
    assert wait_at(case, case.died_at + 3 * HOUR).state == "passed"
    claim(case, "written_waiver", is_claimed=False)
    assert wait_at(case, case.died_at + 3 * HOUR).state == "refused"


def test_illinois_infectious_disease_needs_the_written_waiver() -> None:
    case = case_in("us-il")
    file(case, "death_record")
    soon = case.died_at + 3 * HOUR
    claim(case, "infectious_disease")
    assert wait_at(case, soon).state == "refused"
    assert "written waiver by the coroner or medical examiner" in wait_at(case, soon).reason
    file(case, "medical_examiner_waiver")
    verdict = wait_at(case, soon)
    assert verdict.state == "passed"
    assert "infectious" in verdict.citation


def test_illinois_religion_lifts_the_wait_and_not_the_clearance() -> None:
    case = case_in("us-il")
    claim(case, "religious_requirement")
    assert wait_at(case, case.died_at + 3 * HOUR).state == "passed"
    case = Case.objects.get(pk=case.pk)
    clearance = GATES["medical_clearance"](
        Situation(case=case, step=STEPS["charge"], now=case.announced_at)
    )
    assert clearance.state == "refused"
    assert "410 ILCS 18/35" in clearance.citation


@pytest.mark.parametrize(
    ("code", "ground"), [("us-ga", "authority_exception"), ("us-wi", "infectious_disease")]
)
def test_a_waiver_without_a_named_paper_asks_for_the_one_that_gives_it(
    code: str, ground: str
) -> None:
    first = datetime(2024, 5, 1, 6, tzinfo=UTC)
    case = case_in(code, death.exactly(first))
    soon = first + 5 * HOUR
    with pytest.raises(ActRefused) as caught:
        claim(case, ground)
    assert caught.value.code == "waiver_paper_missing"
    assert wait_at(case, soon).state == "refused"
    file(case, "other")
    paper = case.documents.get()
    claim(case, ground, document=paper)
    assert wait_at(case, soon).state == "passed"
    newer = Document.objects.create(
        case=case, kind="other", reference="R-2", issued_by="Coroner", replaces=paper,
        issued_on=paper.issued_on, filed_at=paper.filed_at,
    )  # fmt: skip
    assert "its paper on file" in wait_at(case, soon).reason
    with pytest.raises(ActRefused) as caught:
        claim(case, ground, document=paper)
    assert caught.value.code == "waiver_paper_replaced"
    offered = WaitGroundForm(case=case).fields["document"]
    assert isinstance(offered, ModelChoiceField)
    assert offered.queryset is not None
    assert list(offered.queryset) == [newer]


def test_a_ground_recorded_before_without_its_paper_lifts_nothing() -> None:
    case = case_in("us-ga")
    WaitGround.objects.create(
        case=case, ground="authority_exception", is_claimed=True, basis="by telephone",
        stated_at=case.announced_at,
    )  # fmt: skip
    assert wait_at(case, case.died_at + 3 * HOUR).state == "refused"


def test_a_waiver_of_the_law_leaves_the_hours_of_the_house() -> None:
    case = case_in("us-il", added_rules={"wait.hours": 36})
    file(case, "death_record")
    claim(case, "religious_requirement")
    verdict = wait_at(case, case.died_at + 35 * HOUR)
    assert verdict.state == "refused"
    assert "no waiver lifts them" in verdict.reason
    assert opens(case) == case.died_at + 36 * HOUR


def test_ohio_takes_no_provisional_certificate() -> None:
    case = case_in("us-oh")
    late = case.died_at + 500 * HOUR
    file(case, "death_record")
    assert "provisional" in wait_at(case, late).reason
    file(case, "final_death_certificate")
    assert opens(case) == case.died_at + 24 * HOUR


def test_wisconsin_counts_from_the_discovery() -> None:
    first = datetime(2024, 5, 1, 6, tzinfo=UTC)
    found = first + 30 * HOUR
    case = case_in("us-wi", death.exactly(first), at=found + HOUR, discovered_at=found)
    assert opens(case) == found + 48 * HOUR


def test_wisconsin_asks_when_the_person_was_found() -> None:
    first = datetime(2024, 5, 1, 6, tzinfo=UTC)
    case = case_in("us-wi", death.between(first, first + HOUR))
    verdict = wait_at(case, first + 900 * HOUR)
    assert "when the person was found is open" in verdict.reason
    assert waits.wait_end(case).kind is Kind.UNKNOWN


def test_florida_waits_48_hours_and_says_to_confirm() -> None:
    case = case_in("us-fl")
    assert opens(case) == case.died_at + 48 * HOUR
    assert "confirm before use" in wait_at(case, case.died_at).citation


def test_a_ground_that_the_law_does_not_know_is_refused() -> None:
    case = case_in("us-mt")
    with pytest.raises(ActRefused, match="no such ground"):
        claim(case, "religious_requirement")


def test_only_a_manager_states_a_ground_and_says_on_what(client: Client) -> None:
    case = case_in("us-il")
    clerk = cast.signature(cast.member(case.facility, cast.CLERK))
    with pytest.raises(ActRefused, match="manager"):
        wait_acts.state_wait_ground(case, clerk, "t", "religious_requirement", "family")
    manager = cast.member(case.facility, cast.MANAGER)
    client.force_login(manager)
    page = reverse("cases:wait", args=[case.number])
    token = client.get(page).context["form"].initial["token"]
    sent = {"token": token, "ground": "religious_requirement", "is_claimed": "True",
            "signer_code": manager.staff_code, "signer_pin": cast.PINS["M1"]}  # fmt: skip
    assert client.post(page, sent).status_code == 422
    assert client.post(page, sent | {"basis": "the family"}).status_code == 302
    assert waits.grounds_claimed(Case.objects.get(pk=case.pk)) == ["religious_requirement"]
    assert (
        "religious requirement"
        in client.get(reverse("cases:trail", args=[case.number])).content.decode()
    )


def test_of_two_statements_in_one_second_the_later_one_counts(facility: Facility) -> None:
    """By the order in which they were entered, whatever times somebody wrote."""
    case = cast.make_case(facility)
    said = {"case": case, "ground": "religious_requirement", "basis": "the family"}
    WaitGround.objects.create(**said, is_claimed=True, stated_at=case.announced_at + HOUR)
    WaitGround.objects.create(**said, is_claimed=False, stated_at=case.announced_at)
    assert waits.grounds_claimed(Case.objects.get(pk=case.pk)) == []
