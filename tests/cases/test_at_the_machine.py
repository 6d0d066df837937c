"""The tablet's page: the phase, the one next action, what happened, and what is sent later."""

import json
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from cases.models import Case
from chain_of_custody.models import CustodyEntry
from crematory import clock
from crematory.models import Facility, StaffMember
from retort_log.events import Stated, record_event
from retort_log.models import Controller, ControllerState, LiveSample, Reading, Retort, RunEvent
from retort_log.newest import recorders_of
from retort_log.recorded import newest, to_ms
from tests import cast
from tests.cases.pages import text_of

pytestmark = pytest.mark.django_db
MACHINE = "/machine/retort-1/"
EVENTS = f"{MACHINE}events/"
JSON = {"Accept": "application/json"}


@pytest.fixture
def burning(case: Case) -> Case:
    return cast.bring(case, "in_retort")


def happened(case: Case, kind: str, minutes: int, note: str = "") -> RunEvent:
    """Record an event so many minutes after the charge."""
    run, key = case.run, cast.MANAGER if kind == "ended_by_fault" else cast.OPERATOR
    who = cast.member(case.facility, key)
    at = run.charged_at + timedelta(minutes=minutes)
    with clock.pinned(at):
        by = cast.signature(who) if kind in ("interrupted", "resumed", "ended_by_fault") else who
        return record_event(run.retort, Stated(kind, at, note, (), cast.token()), by)


def signs(key: str = cast.OPERATOR, **fields: str) -> dict[str, str]:
    code = f"QV{key}"
    return {"signer_code": code, "signer_pin": cast.PINS[key], "token": cast.token(), **fields}


def sent(client: Client, address: str, **fields: Any) -> tuple[int, dict[str, Any]]:
    response = client.post(address, fields, headers=JSON)
    return response.status_code, json.loads(response.content)


class TestNextAction:
    def test_empty_it_offers_the_preheat_and_the_persons(
        self, as_operator: Client, case: Case
    ) -> None:
        cast.bring(case, "tagged")
        page = text_of(as_operator, MACHINE)
        assert 'form="event-preheat_begun"' in page
        assert 'id="candidates"' in page
        assert 'form="event-burner_lit"' not in page

    def test_preheating_it_leads_to_the_persons(self, as_operator: Client, case: Case) -> None:
        cast.bring(case, "tagged")
        as_operator.post(EVENTS, {"kind": "preheat_begun", "token": "t"})
        page = text_of(as_operator, MACHINE)
        assert "Preheating since" in page
        assert 'action-big" id="to-candidates" href="#candidates"' in page
        assert 'form="event-preheat_ended"' in page

    def test_burning_it_is_the_burner(self, as_operator: Client, burning: Case) -> None:
        page = text_of(as_operator, MACHINE)
        assert reverse("cases:step", args=[burning.number, "burner_off"]) in page
        for kind in ("burner_lit", "door_opened", "repositioned"):
            assert f'form="event-{kind}"' in page
        assert f'href="{EVENTS}interrupted/"' in page

    def test_interrupted_it_is_to_resume_or_to_end(
        self, as_operator: Client, burning: Case
    ) -> None:
        happened(burning, "interrupted", 10, "Burner tripped")
        page = text_of(as_operator, MACHINE)
        assert f'id="next-action" href="{EVENTS}resumed/"' in page
        assert f'href="{EVENTS}ended-by-fault/"' in page
        assert "Interrupted since" in page
        assert "Burner tripped" in page
        assert "burner_off" not in page

    def test_ended_by_the_fault_it_is_the_burner(self, as_operator: Client, burning: Case) -> None:
        happened(burning, "interrupted", 10, "Burner tripped")
        happened(burning, "ended_by_fault", 30, "Not repaired today")
        page = text_of(as_operator, MACHINE)
        assert "Ended by a fault since" in page
        assert reverse("cases:step", args=[burning.number, "burner_off"]) in page

    def test_the_front_office_gets_no_buttons(self, as_clerk: Client, burning: Case) -> None:
        page = text_of(as_clerk, MACHINE)
        assert "<button" not in page[page.index('id="live"') : page.index('id="readings"')]
        assert as_clerk.post(EVENTS, {"kind": "fault", "note": "x"}).status_code == 403
        assert not RunEvent.objects.exists()

    @pytest.mark.parametrize("name", ["machine", "machines"])
    def test_the_list_and_the_page_say_the_same_phase(
        self, as_operator: Client, burning: Case, name: str
    ) -> None:
        happened(burning, "interrupted", 10, "Burner tripped")
        page = text_of(as_operator, reverse(name, args=["retort-1"] if name == "machine" else []))
        assert "Interrupted" in page
        assert "esume" in page


class TestEvents:
    def test_one_tap_twice_is_one_row(self, as_operator: Client, burning: Case) -> None:
        for _ in range(2):
            response = as_operator.post(EVENTS, {"kind": "door_opened", "token": "once"})
            assert response.status_code == 302
        event = RunEvent.objects.get()
        assert (event.kind, event.run) == ("door_opened", burning.run)
        assert "Door opened" in text_of(as_operator, MACHINE)

    def test_sent_later_it_has_the_time_at_which_it_happened(
        self, as_operator: Client, burning: Case
    ) -> None:
        at = (burning.run.charged_at + timedelta(minutes=7)).replace(microsecond=250_000)
        for _ in range(2):
            status, told = sent(
                as_operator, EVENTS, kind="burner_lit", token="once", stated_ms=to_ms(at)
            )
            assert (status, told["ok"]) == (200, True)
        assert RunEvent.objects.get().at == at

    def test_what_cannot_be_says_why(self, as_operator: Client, facility: Facility) -> None:
        status, told = sent(as_operator, EVENTS, kind="door_opened", token="t")
        assert (status, told["ok"]) == (422, False)
        assert "at that time the retort was empty" in told["text"]

    def test_an_emission_with_its_opacity(self, as_operator: Client, burning: Case) -> None:
        sent(as_operator, EVENTS, kind="visible_emission", opacity="5, 10 15%", token="t")
        assert RunEvent.objects.get().opacity == [5, 10, 15]
        status, told = sent(as_operator, EVENTS, kind="visible_emission", opacity="a", token="u")
        assert status == 422
        assert "numbers from 0 to 100" in told["text"]

    def test_a_fault_needs_words(self, as_operator: Client, burning: Case) -> None:
        page = as_operator.post(EVENTS, {"kind": "fault", "token": "t"})
        assert page.status_code == 422
        assert "Say what happened." in page.content.decode()

    @pytest.mark.parametrize("kind", ["interrupted", "resumed", "ended_by_fault"])
    def test_none_that_is_signed_slips_in_unsigned(
        self, as_operator: Client, burning: Case, kind: str
    ) -> None:
        status, _told = sent(as_operator, EVENTS, kind=kind, note="x", token="t")
        assert status == 422
        assert not RunEvent.objects.exists()

    def test_another_house_is_not_found(self, client: Client, burning: Case) -> None:
        stranger = cast.make_facility("ZZ")
        client.force_login(cast.member(stranger, cast.OPERATOR))
        Retort.objects.filter(facility=stranger).delete()
        assert client.post(EVENTS, {"kind": "fault", "note": "x"}).status_code == 404


class TestSigned:
    def test_the_person_inside_is_told_and_asked_for(
        self, as_operator: Client, burning: Case
    ) -> None:
        happened(burning, "interrupted", 10, "Burner tripped")
        address = f"{EVENTS}resumed/"
        page = text_of(as_operator, address)
        person = f"Ada Example, case {burning.number}, disc {burning.disc.number}"
        assert f"The same person is inside: {person}" in page
        assert as_operator.post(address, signs()).status_code == 422
        assert as_operator.post(address, signs(same_person="on")).status_code == 302
        event = RunEvent.objects.get(kind="resumed")
        assert event.recorded_by.staff_code == "QVO1"

    def test_a_wrong_pin_signs_nothing(self, as_operator: Client, burning: Case) -> None:
        data = signs(note="Burner tripped") | {"signer_pin": cast.WRONG_PIN}
        response = as_operator.post(f"{EVENTS}interrupted/", data)
        assert response.status_code == 403
        assert not RunEvent.objects.exists()
        assert CustodyEntry.objects.filter(act="run_event", outcome="refused").exists()

    def test_twice_is_once(self, as_operator: Client, burning: Case) -> None:
        data = signs(note="Burner tripped")
        for _ in range(2):
            assert as_operator.post(f"{EVENTS}interrupted/", data).status_code == 302
        assert RunEvent.objects.count() == 1

    def test_a_manager_ends_it(self, as_operator: Client, burning: Case) -> None:
        happened(burning, "interrupted", 10, "Burner tripped")
        address = f"{EVENTS}ended-by-fault/"
        assert "Signed by: manager." in text_of(as_operator, address)
        assert as_operator.post(address, signs(note="x")).status_code == 403
        assert as_operator.post(address, signs(cast.MANAGER, note="x")).status_code == 302
        burning.run.refresh_from_db()
        assert burning.run.ended_by_fault

    def test_where_nobody_is_inside_there_is_no_such_page(
        self, as_operator: Client, facility: Facility
    ) -> None:
        assert as_operator.get(f"{EVENTS}interrupted/").status_code == 404


class TestSentByThePage:
    def test_a_reading_of_earlier_is_stored_once(self, as_operator: Client, retort: Retort) -> None:
        at = (cast.START + timedelta(days=3)).replace(microsecond=0)
        values = {"primary": "1200", "secondary": "1640", "stated_ms": to_ms(at)}
        for _ in range(2):
            status, told = sent(as_operator, f"{MACHINE}readings/", **values)
            assert (status, told["ok"]) == (200, True)
        assert Reading.objects.get().at == at
        assert 'name="csrfmiddlewaretoken"' in told["html"]

    def test_a_doubt_comes_back_with_what_confirms_it(
        self, as_operator: Client, retort: Retort
    ) -> None:
        at = cast.START + timedelta(days=3)
        cast.read(retort, cast.HOT, at)
        later = to_ms(at + timedelta(minutes=5))
        values = {"primary": "1616", "secondary": "1202", "stated_ms": later}
        status, told = sent(as_operator, f"{MACHINE}readings/", **values)
        assert status == 422
        assert "typed 1,202" in told["text"].replace("\xa0", " ")
        status, told = sent(as_operator, f"{MACHINE}readings/", **values, **told["confirm"])
        assert (status, told["ok"]) == (200, True)
        assert retort.readings.count() == 2

    def test_a_time_to_come_is_refused(self, as_operator: Client, retort: Retort) -> None:
        ahead = to_ms(clock.now() + timedelta(minutes=5))
        status, told = sent(
            as_operator, f"{MACHINE}readings/", primary="1", secondary="2", stated_ms=ahead
        )
        assert status == 422
        assert "future" in told["text"]

    def test_after_the_session_ended_it_is_told_so_and_nothing_is_kept_twice(
        self, client: Client, operator: StaffMember
    ) -> None:
        status, told = sent(client, f"{MACHINE}readings/", primary="1200", secondary="1640")
        assert (status, told["code"]) == (401, "signed_out")
        assert "typed_before_login" not in client.session

    def test_an_old_token_is_told_so_and_a_new_one_given(self, operator: StaffMember) -> None:
        client = Client(enforce_csrf_checks=True)
        client.force_login(operator)
        client.get(MACHINE)
        values = {"primary": "1200", "secondary": "1640"}
        status, told = sent(client, f"{MACHINE}readings/", **values, csrfmiddlewaretoken="old")
        assert (status, told["code"]) == (403, "csrf")
        told = client.get(reverse("cases:clock"), headers=JSON).json()
        assert told["staff"] == operator.pk
        status, _ = sent(client, f"{MACHINE}readings/", **values, csrfmiddlewaretoken=told["csrf"])
        assert status == 200

    def test_every_answer_says_the_time(self, as_operator: Client, retort: Retort) -> None:
        at = cast.START + timedelta(days=3)
        with clock.pinned(at):
            for address in (MACHINE, reverse("machines")):
                news = as_operator.get(address, headers={"HX-Request": "true"})
                assert news.headers["X-House-Now"] == str(to_ms(at))
                assert news.headers["X-House-Zone"] == "MST"
            page = text_of(as_operator, MACHINE)
        assert f'data-now-ms="{to_ms(at)}" data-zone="{retort.facility.zone}"' in page


class TestWire:
    @pytest.fixture
    def now(self, burning: Case) -> Any:
        with clock.pinned(burning.run.charged_at + timedelta(minutes=40)) as at:
            yield at

    @pytest.fixture
    def controller(self, burning: Case, now: Any) -> Controller:
        one = Controller.objects.create(retort=burning.run.retort, host="h.example", is_on=True)
        ControllerState.objects.create(controller=one, asked_at=now, answered_at=now)
        LiveSample.objects.create(
            retort=one.retort,
            at_ms=to_ms(now),
            tenths={"secondary degC": 9000, "primary degC": None},
        )
        return one

    @pytest.mark.parametrize("address", [MACHINE, "/machine/"])
    def test_it_shows_what_it_wrote_and_asks_more_often(
        self, as_operator: Client, controller: Controller, address: str
    ) -> None:
        page = text_of(as_operator, address)
        assert "1,652" in page
        assert "controller, just now" in page
        assert "read by Olive Operator" in page  # of the primary chamber it wrote nothing
        assert "every 5s" in page
        assert "silent" not in page

    @pytest.mark.parametrize("address", [MACHINE, "/machine/"])
    def test_no_kept_page_shows_an_older_temperature(
        self, as_operator: Client, controller: Controller, now: Any, address: str
    ) -> None:
        assert "1,652" in text_of(as_operator, address)
        LiveSample.objects.create(
            retort=controller.retort, at_ms=to_ms(now) - 1, tenths={"secondary degC": 1}
        )
        with clock.pinned(now + timedelta(seconds=5)):
            LiveSample.objects.create(
                retort=controller.retort,
                at_ms=to_ms(now + timedelta(seconds=5)),
                tenths={"secondary degC": 9100},
            )
            assert "1,670" in text_of(as_operator, address)

    def test_a_silent_one_is_said_plainly(
        self, as_operator: Client, controller: Controller, now: Any
    ) -> None:
        with clock.pinned(now + timedelta(minutes=2)):
            for address in (MACHINE, "/machine/"):
                assert "The controller is silent." in text_of(as_operator, address)

    def test_a_reading_of_a_recorder_is_a_reading_that_was_due(
        self, as_operator: Client, controller: Controller
    ) -> None:
        page = text_of(as_operator, MACHINE)
        assert "Reading overdue" not in page
        assert "in 15 min" in page

    def test_many_at_once_are_read_as_each_alone(self, controller: Controller, now: Any) -> None:
        retorts = list(Retort.objects.all())
        with CaptureQueriesContext(connection) as queries:
            found = recorders_of([one.pk for one in retorts], now)
        assert len(queries) == 3
        for retort in retorts:
            alone = newest(retort, "secondary", now)
            if alone is None or alone.reading:
                assert not found[retort.pk].newest
            else:
                one = found[retort.pk].newest["secondary"]
                assert (one.at, one.celsius) == (alone.at, alone.celsius)


class TestHeavy:
    def test_the_advice_stands_at_the_person_and_the_charge(
        self, as_operator: Client, case: Case
    ) -> None:
        cast.bring(case, "tagged")
        charge = reverse("cases:step", args=[case.number, "charge"])
        advice = "Charge first, on a cool chamber."
        Retort.objects.update(heavy_from_kg=case.delivery.mass_kg + Decimal("0.001"))
        assert advice not in text_of(as_operator, MACHINE)
        assert advice not in text_of(as_operator, charge)
        Retort.objects.filter(name="Retort 1").update(heavy_from_kg=case.delivery.mass_kg)
        with clock.pinned(clock.now() + timedelta(minutes=1)):
            for address in (MACHINE, charge):
                page = text_of(as_operator, address)
                assert advice in page
                assert "common practice, no source" in page
