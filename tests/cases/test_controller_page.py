"""The controller's page: for all how it answers; for a manager to state it and to try it."""

from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from cases.trail_lines import line
from chain_of_custody.models import CustodyEntry
from crematory import clock
from crematory.models import Facility, StaffMember
from retort_log import live
from retort_log.modbus.simulator import CHANNELS, Simulator
from retort_log.models import Controller, ControllerState, LiveSample, Retort
from retort_log.run_life import Phase
from tests import cast
from tests.cases.pages import browser, text_of

pytestmark = pytest.mark.django_db
PAGE = "/machine/retort-1/controller/"
CHANNEL = {"unit": "degC", "kind": "holding", "type": "int16", "scale": "0.1", "offset": "0"}


@pytest.fixture
def simulator() -> Iterator[Simulator]:
    made = Simulator(lambda: Phase.PREHEATING)
    made.start()
    yield made
    made.close()


def stated(port: int = 502, **changes: Any) -> dict[str, Any]:
    """What a manager types: both chambers at the registers 0 and 1."""
    data: dict[str, Any] = {
        "host": "127.0.0.1",
        "port": port,
        "device_id": 1,
        "every_s": 1,
        "is_on": "on",
        "own_pin": cast.PINS[cast.MANAGER],
        "do": "state",
    }
    for register, name in enumerate(("primary", "secondary")):
        data |= {f"{name}-{key}": value for key, value in CHANNEL.items()}
        data[f"{name}-register"] = register
    for name in ("stack", "oxygen"):  # as the page sends them: no register, all else as it was
        data |= {f"{name}-{key}": value for key, value in CHANNEL.items()}
        data[f"{name}-register"] = ""
    return data | changes


def test_a_manager_states_it_and_it_stands(as_manager: Client) -> None:
    assert as_manager.post(PAGE, stated()).headers["Location"] == PAGE
    row = Controller.objects.get()
    assert (row.host, row.port, row.is_on) == ("127.0.0.1", 502, True)
    assert [c["name"] for c in row.channels] == ["primary", "secondary"]
    page = text_of(as_manager, PAGE)
    assert "Nobody asks" in page
    assert "poll_controllers" in page
    assert as_manager.get(PAGE).context["form"].channels[0]["scale"].value() == "0.1"
    said = line(CustodyEntry.objects.get(act="controller"), "us")
    facts = {fact.label: fact.value for fact in said.facts}
    assert said.act == "Controller of a retort stated"
    assert (facts["address now"], facts["is asked now"]) == ("127.0.0.1", "yes")
    assert "primary in °C, holding register 0, int16, times 0.1 plus 0" in facts["channels now"]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"host": "8.8.8.8"}, "is not on the house"),
        ({"own_pin": cast.WRONG_PIN}, "PIN"),
        ({"own_pin": ""}, "This field is required"),
        ({"primary-scale": "0"}, "A scale of 0"),
        ({"primary-error_values": "broken"}, "Whole numbers"),
        ({"primary-register": "70000"}, "less than or equal to 65535"),
        ({"primary-register": "", "secondary-register": ""}, "at least one channel"),
        ({"every_s": "61"}, "less than or equal to 60"),
    ],
)
def test_refused_and_nothing_typed_is_lost(
    as_manager: Client, changes: dict[str, Any], words: str
) -> None:
    answer = as_manager.post(PAGE, stated(**{"stack-error_values": "7", **changes}))
    assert answer.status_code == 422
    told = answer.content.decode()
    assert words in told
    assert 'name="stack-error_values" value="7"' in told
    assert cast.PINS[cast.MANAGER] not in told
    assert not Controller.objects.exists()


class TestAsked:
    def test_it_is_asked_once_and_nothing_is_stored(
        self, as_manager: Client, simulator: Simulator
    ) -> None:
        answer = as_manager.post(PAGE, stated(simulator.port, do="ask", own_pin=""))
        assert answer.status_code == 200
        tried = answer.context["tried"]
        assert [one["name"] for one in tried] == ["primary chamber", "secondary chamber"]
        for one in tried:
            assert one["value"].endswith("°C")
            assert "(0x" in one["registers"][0]
        assert "nothing stored" in answer.content.decode()
        for model in (Controller, ControllerState, LiveSample):
            assert not model.objects.exists()
        assert not CustodyEntry.objects.filter(act="controller").exists()

    def test_a_register_that_it_does_not_have_is_said_for_its_channel(
        self, as_manager: Client, simulator: Simulator
    ) -> None:
        data = stated(simulator.port, do="ask", **{"secondary-register": 900})
        first, second = as_manager.post(PAGE, data).context["tried"]
        assert first["value"].endswith("°C")
        assert "refuses register 900." in second["trouble"]

    def test_a_lost_connection_is_said(self, as_manager: Client, simulator: Simulator) -> None:
        simulator.close()
        answer = as_manager.post(PAGE, stated(simulator.port, do="ask"))
        assert answer.status_code == 200
        assert answer.context["tried"] == []
        assert "cannot be reached" in answer.content.decode()

    def test_a_far_machine_is_not_asked(self, as_manager: Client) -> None:
        answer = as_manager.post(PAGE, stated(do="ask", host="203.0.113.9"))
        assert answer.status_code == 422
        assert "knock at machines" in answer.content.decode()
        assert answer.context["tried"] is None


class TestWho:
    @pytest.mark.parametrize("key", [cast.CLERK, cast.OPERATOR])
    def test_others_see_how_it_answers_and_state_nothing(
        self, facility: Facility, retort: Retort, key: str
    ) -> None:
        row = Controller.objects.create(
            retort=retort, host="10.0.0.5", channels=CHANNELS, is_on=True
        )
        now = clock.now()
        live.keep_answer(row, now - timedelta(minutes=2), {"secondary degC": 8712})
        live.keep_silence(row, now, "The controller cannot be reached.")
        client = browser(cast.member(facility, key))
        page = text_of(client, PAGE)
        for words in ("871.2 °C", "cannot be reached", "Silent", "10.0.0.5", "2 min ago"):
            assert words in page
        assert "own_pin" not in page
        assert client.post(PAGE, stated()).status_code == 403
        assert client.post(PAGE, stated(do="ask")).status_code == 403

    def test_it_answers(self, as_operator: Client, retort: Retort) -> None:
        row = Controller.objects.create(retort=retort, host="10.0.0.5", is_on=True)
        live.keep_answer(row, clock.now(), {"secondary degC": None})
        page = text_of(as_operator, PAGE)
        assert "Answers" in page
        assert "no value" in page
        Controller.objects.update(is_on=False)
        assert "Switched off" in text_of(as_operator, PAGE)

    def test_another_house_finds_nothing(
        self, facility: Facility, other_facility: Facility
    ) -> None:
        Retort.objects.filter(facility=other_facility, place__code="retort-1").delete()
        stranger = browser(cast.member(other_facility, cast.MANAGER))
        assert stranger.get(PAGE).status_code == 404
        assert stranger.post(PAGE, stated()).status_code == 404


def test_what_was_typed_is_kept_when_the_session_ends(
    as_manager: Client, manager: StaffMember
) -> None:
    as_manager.get(PAGE)
    as_manager.logout()
    sent = as_manager.post(PAGE, stated(host="10.9.9.9"), headers={"origin": "http://testserver"})
    assert sent.status_code == 302
    as_manager.post(
        sent.headers["Location"], {"username": manager.staff_code, "password": cast.PASSWORD}
    )
    page = text_of(as_manager, PAGE)
    assert 'value="10.9.9.9"' in page
    assert cast.PINS[cast.MANAGER] not in page


def test_few_queries(as_operator: Client, retort: Retort) -> None:
    row = Controller.objects.create(retort=retort, host="10.0.0.5", is_on=True)
    live.keep_answer(row, clock.now(), {"secondary degC": 8712})
    with CaptureQueriesContext(connection) as asked:
        text_of(as_operator, PAGE)
    assert len(asked) == 4  # session, member; retort; the controller with its state
