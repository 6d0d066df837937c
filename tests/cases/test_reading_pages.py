"""Readings on the pages: asked again, corrected, withdrawn, and what that means for a run."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from cases.doubt_words import WORDS
from cases.models import Case
from cases.run_facts import run_facts
from chain_of_custody.models import CustodyEntry
from chain_of_custody.trail import facts_of
from crematory import clock
from crematory.models import StaffMember
from retort_log.corrections import RightValues, correct_reading
from retort_log.doubts import CHAMBERS, MEANT
from retort_log.models import Reading, ReadingCorrection, Retort, Run
from tests import cast
from tests.cases.pages import browser, url

pytestmark = pytest.mark.django_db
AT = datetime(2026, 1, 5, 15, 30, tzinfo=UTC)
EARLIER, LATER = "2026-01-05T08:20", "2026-01-05T08:30"  # in Denver
SWAPPED = {"primary": "1616", "secondary": "1202", "at": LATER}


@pytest.fixture
def page(operator: StaffMember) -> Client:
    return browser(operator)


@pytest.fixture
def earlier(retort: Retort) -> Reading:
    with clock.pinned(AT):
        return cast.read(retort, cast.HOT, AT - timedelta(minutes=10))


def send(page: Client, **data: Any) -> Any:
    return page.post(reverse("cases:reading", args=["retort-1"]), data)


def text(response: Any) -> str:
    return str(response.content.decode()).replace("\xa0", " ")


class TestDoubt:
    def test_it_is_asked_and_nothing_typed_is_lost(self, page: Client, earlier: Reading) -> None:
        response = send(page, **SWAPPED)
        assert response.status_code == 422
        shown = text(response)
        assert "Is this right?" in shown
        assert WORDS["swapped"] in shown
        assert 'value="1616"' in shown
        assert 'name="is_confirmed"' in shown
        assert 'aria-describedby="id_is_confirmed_error"' in shown
        assert Reading.objects.count() == 1

    def test_confirmed_it_is_stored_and_said_so(self, page: Client, earlier: Reading) -> None:
        form = send(page, **SWAPPED).context["form"]
        sent = {**SWAPPED, "questioned": form["questioned"].value(), "is_confirmed": "on"}
        assert send(page, **sent).status_code == 302
        assert Reading.objects.count() == 2
        entry = CustodyEntry.objects.latest("sequence")
        assert facts_of(entry)["confirmed_although"] == ["swapped"]

    def test_other_values_are_asked_anew(self, page: Client, earlier: Reading) -> None:
        form = send(page, **SWAPPED).context["form"]
        sent = {**SWAPPED, "questioned": form["questioned"].value(), "is_confirmed": "on"}
        assert send(page, **{**sent, "secondary": "164"}).status_code == 422
        assert Reading.objects.count() == 1

    def test_every_doubt_has_its_words(self) -> None:
        kinds = (*MEANT, "rise", "fall", "opens")
        slips = {f"{slip}_{chamber}" for slip in kinds for chamber in CHAMBERS}
        assert set(WORDS) == slips | {"swapped", "apart"}

    def test_it_says_what_was_typed_and_in_which_field(self, page: Client, retort: Retort) -> None:
        cast.read(retort, (Decimal(433), Decimal(440)), AT - timedelta(minutes=10))
        response = send(page, primary="79", secondary="811", at="2026-01-05T08:26")
        assert response.status_code == 422
        shown = text(response)
        assert "Primary chamber: typed 79 °F (811.4 °F at 08:20)." in shown
        assert WORDS["digit_primary"] in shown
        assert WORDS["apart"] in shown

    def test_what_is_doubted_of_both_chambers_is_said_once(
        self, page: Client, earlier: Reading
    ) -> None:
        shown = text(send(page, primary="800", secondary="1000", at="2026-01-05T08:26"))
        assert "Each chamber would have cooled faster than a chamber can." in shown
        assert WORDS["fall_primary"] not in shown

    def test_a_chamber_cool_enough_by_a_big_change_is_asked(
        self, page: Client, retort: Retort
    ) -> None:
        Retort.objects.update(sweep_limit_c=Decimal(427))
        cast.read(retort, (Decimal(700), Decimal(730)), AT - timedelta(minutes=60))
        assert WORDS["opens_primary"] in text(send(page, primary="780", secondary="800", at=LATER))


def test_a_refusal_stands_at_its_field_which_has_the_cursor(page: Client, retort: Retort) -> None:
    shown = text(send(page, primary="1200", secondary="1600", at="2999-01-01T00:00"))
    assert "Look at the year again" in shown
    shown = text(send(page, primary="1200", secondary="1600", at="2199-01-01T00:00"))
    assert 'id="id_at_error"' in shown
    assert "lies in the future" in shown
    field = shown[shown.index('name="at"') :]
    assert "autofocus" in field[: field.index(">")]
    assert "id_at_error" in field[: field.index(">")]


class TestCorrection:
    def address(self, reading: Reading) -> str:
        return reverse("cases:correct-reading", args=["retort-1", reading.pk])

    def send(self, reading: Reading, who: StaffMember, **data: Any) -> Any:
        typed = {
            "act": "correct",
            "primary": "1100",
            "secondary": "1500",
            "why": "misread",
            "signer_code": who.staff_code,
            "signer_pin": cast.pin_of(who),
            "token": cast.token(),
        }
        return browser(who).post(self.address(reading), {**typed, **data})

    def test_the_machine_shows_old_new_and_why(
        self, page: Client, earlier: Reading, operator: StaffMember
    ) -> None:
        assert self.address(earlier) in text(page.get(reverse("machine", args=["retort-1"])))
        assert self.send(earlier, operator).status_code == 302
        shown = text(page.get(reverse("machine", args=["retort-1"])))
        assert "<del>1,616 °F</del>" in shown
        assert "1,500 °F" in shown
        assert "misread" in shown

    def test_withdrawn(self, page: Client, earlier: Reading, manager: StaffMember) -> None:
        sent = {"act": "withdraw", "primary": "", "secondary": "", "why": "wrong retort"}
        assert self.send(earlier, manager, **sent).status_code == 302
        shown = text(page.get(reverse("machine", args=["retort-1"])))
        assert "Withdrawn" in shown
        assert "No reading yet" in shown

    def test_refused_for_the_front_office_and_with_a_wrong_pin(
        self, earlier: Reading, clerk: StaffMember, operator: StaffMember
    ) -> None:
        assert self.send(earlier, clerk).status_code == 403
        assert self.send(earlier, operator, signer_pin=cast.WRONG_PIN).status_code == 403
        reasons = [
            facts_of(entry)["reasons"] for entry in CustodyEntry.objects.filter(outcome="refused")
        ]
        assert reasons == [["reading_role"], ["signature_wrong"]]
        assert not ReadingCorrection.objects.exists()

    @pytest.mark.parametrize(
        ("data", "field"), [({"why": " "}, "why"), ({"primary": ""}, "primary")]
    )
    def test_what_is_missing_is_said_at_its_field(
        self, earlier: Reading, operator: StaffMember, data: dict[str, str], field: str
    ) -> None:
        response = self.send(earlier, operator, **data)
        assert response.status_code == 422
        assert f'id="id_{field}_error"' in text(response)

    def test_another_houses_reading_is_not_found(
        self, earlier: Reading, other_operator: StaffMember
    ) -> None:
        assert browser(other_operator).get(self.address(earlier)).status_code == 404


def put_right(reading: Reading | None, values: tuple[Any, Any] | None) -> None:
    assert reading is not None
    operator = cast.signature(cast.member(reading.retort.facility, cast.OPERATOR))
    right = None
    if values:
        right = RightValues(Decimal(values[0]), Decimal(values[1]), is_confirmed=True)
    with clock.pinned(reading.at + timedelta(days=1)):
        correct_reading(reading, operator, "misread", right)


def middle_reading(run: Run) -> Reading:
    return run.retort.readings.filter(at__gt=run.charged_at).order_by("at")[0]


AFTERWARDS: dict[str, Callable[[Run], None]] = {
    "DOES NOT REACH": lambda run: put_right(run.charge_reading, (650, 800)),
    "This reaches": lambda run: put_right(run.charge_reading, (650, 900)),
    "that reading was withdrawn": lambda run: put_right(run.charge_reading, None),
    "a gap of 30 min": lambda run: put_right(middle_reading(run), None),
    "corrected afterwards to": lambda run: put_right(run.recovery_reading, (300, 300)),
    "cool enough was withdrawn": lambda run: put_right(run.recovery_reading, None),
}


@pytest.mark.parametrize("words", AFTERWARDS)
def test_the_case_page_says_what_a_correction_means(
    case: Case, clerk: StaffMember, words: str
) -> None:
    cast.bring(case, "recovered")
    before = Run.objects.values().get()
    assert "Look:" not in text(browser(clerk).get(url("case", case)))
    AFTERWARDS[words](case.run)
    shown = text(browser(clerk).get(url("case", case)))
    assert "Look:" in shown
    assert words in shown
    assert "misread" in shown
    assert Run.objects.values().get() == before
    trail = text(browser(clerk).get(url("trail", case)))
    assert "Correction of a reading" in trail


def test_a_harmless_correction_is_listed_without_notice(case: Case) -> None:
    cast.bring(case, "recovered")
    put_right(middle_reading(case.run), (660, 885))
    facts = run_facts(case, clock.now())
    assert facts is not None
    assert (facts.notices, len(facts.corrections)) == ([], 1)


class TestChargeForm:
    def shown(self, case: Case, operator: StaffMember) -> str:
        return text(browser(operator).get(url("step", case, "charge")))

    @pytest.mark.parametrize(
        ("change", "words"),
        [
            ({"is_fit": False, "unfit_reason": "door seal torn"}, "out of use (door seal torn)"),
            ({"mass_limit_kg": Decimal("50")}, "this person is above its limit"),
        ],
    )
    def test_an_unusable_retort_is_shown_and_says_why(
        self, case: Case, operator: StaffMember, change: dict[str, Any], words: str
    ) -> None:
        cast.bring(case, "tagged")
        Retort.objects.filter(name="Retort 1").update(**change)
        shown = self.shown(case, operator)
        assert f"Retort 1: not usable: {words}" in shown
        assert "Retort 2: free" in shown
        assert shown.count("disabled") == 1

    def test_an_occupied_one_names_nobody(self, case: Case, operator: StaffMember) -> None:
        cast.bring(case, "tagged")
        inside = cast.bring(cast.make_case(case.facility, decedent_name="Bea Inside"), "in_retort")
        shown = self.shown(case, operator)
        assert f"{inside.run.retort.name}: not usable: occupied" in shown
        assert "Bea Inside" not in shown
        assert "1,616 °F (880 °C)" in shown

    def test_the_link_of_the_machine_chooses_the_retort(
        self, case: Case, operator: StaffMember, retorts: list[Retort]
    ) -> None:
        cast.bring(case, "tagged")
        page = browser(operator).get(url("step", case, "charge") + "?retort=retort-2")
        assert page.context["form"]["retort"].value() == retorts[1].pk


@pytest.mark.parametrize(("who", "is_told"), [(cast.CLERK, False), (cast.OPERATOR, True)])
def test_the_button_says_who_signs(case: Case, who: str, is_told: bool) -> None:
    cast.bring(case, "in_care")
    page = browser(cast.member(case.facility, who))
    for address in (url("case", case), url("step", case, "authorize")):
        assert ("Signed by: front office." in text(page.get(address))) == is_told


def test_a_correction_signed_with_a_code_that_nobody_has_is_recorded(
    page: Client, earlier: Reading
) -> None:
    address = reverse("cases:correct-reading", args=["retort-1", earlier.pk])
    data = {"act": "withdraw", "why": "x", "signer_code": "NOONE", "signer_pin": "999000"}
    assert page.post(address, data | {"token": "t"}).status_code == 403
    entry = CustodyEntry.objects.latest("sequence")
    assert (entry.act, entry.outcome, entry.signed_by) == ("correct_reading", "refused", None)
    assert facts_of(entry) == {
        "reasons": ["signature_wrong"], "retort": "retort-1", "staff_code": "unknown",
    }  # fmt: skip
