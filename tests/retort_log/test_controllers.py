"""A manager states a controller: near addresses only, what was read before packed, recorded."""

import socket
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from chain_of_custody import trail
from chain_of_custody.models import CustodyEntry
from chain_of_custody.verify import verify
from crematory.models import Facility, StaffMember
from retort_log import live, recorded
from retort_log.controllers import ControllerRefused, Stated, state
from retort_log.modbus.asking import Asker, Lost
from retort_log.modbus.near import FarAddress, near_address
from retort_log.modbus.registers import RegisterChannel, from_plain
from retort_log.modbus.simulator import CHANNELS
from retort_log.models import Controller, LiveSample, ReadingBlock, Retort
from tests import cast

pytestmark = pytest.mark.django_db
PLAIN: tuple[RegisterChannel, ...] = tuple(from_plain(one) for one in CHANNELS)
STATED = Stated("192.168.0.20", 502, 1, 5, PLAIN, is_on=True)


def test_it_is_stated_with_its_entry(retort: Retort, manager: StaffMember) -> None:
    row = state(retort, cast.signature(manager), STATED)
    assert (row.host, row.every_s, row.is_on, len(row.channels)) == ("192.168.0.20", 5, True, 2)
    state(retort, cast.signature(manager), replace(STATED, every_s=2))
    facts = trail.facts_of(CustodyEntry.objects.filter(act="controller").latest("sequence"))
    assert (facts["old_every_s"], facts["new_every_s"]) == (5, 2)
    assert "new_host" not in facts
    assert verify(retort.facility).holds


def test_what_it_answered_before_is_packed_as_it_was_meant(
    retort: Retort, manager: StaffMember
) -> None:
    row = state(retort, cast.signature(manager), STATED)
    live.keep_answer(row, cast.START, {"primary degC": 6000, "secondary degC": 8800})
    fahrenheit = tuple(replace(channel, unit="degF") for channel in PLAIN)
    state(retort, cast.signature(manager), replace(STATED, channels=fahrenheit))
    assert not LiveSample.objects.exists()
    assert ReadingBlock.objects.get().channels[0] == ["primary", "degC", 10]
    newest = recorded.newest(retort, "secondary", cast.START)
    assert newest is not None
    assert newest.celsius == Decimal("880.00")


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"host": ""}, "controller_host"),
        ({"host": "x" * 101}, "controller_host"),
        ({"host": "8.8.8.8"}, "controller_far"),
        ({"host": "169.254.169.254"}, "controller_far"),
        ({"host": "0.0.0.0"}, "controller_far"),  # noqa: S104 - nothing listens there
        ({"host": "::ffff:8.8.8.8"}, "controller_far"),
        ({"host": "no-such-machine.invalid"}, "controller_far"),
        ({"host": "a" * 70 + ".invalid"}, "controller_far"),
        ({"port": 0}, "controller_range"),
        ({"device_id": 248}, "controller_range"),
        ({"every_s": 61}, "controller_range"),
        ({"channels": ()}, "controller_channels"),
        ({"channels": (PLAIN[0], PLAIN[0])}, "controller_channels"),
        ({"channels": (replace(PLAIN[0], unit="ppm"),)}, "controller_channels"),
    ],
)
def test_refused_and_recorded(
    retort: Retort, manager: StaffMember, changes: dict[str, Any], code: str
) -> None:
    with pytest.raises(ControllerRefused) as refused:
        state(retort, cast.signature(manager), replace(STATED, **changes))
    assert refused.value.code == code
    assert not Controller.objects.exists()
    entry = CustodyEntry.objects.get(act="controller")
    assert (entry.outcome, trail.facts_of(entry)["reasons"]) == ("refused", [code])


def test_the_same_again_changes_nothing(retort: Retort, manager: StaffMember) -> None:
    state(retort, cast.signature(manager), STATED)
    with pytest.raises(ControllerRefused) as refused:
        state(retort, cast.signature(manager), STATED)
    assert refused.value.code == "unchanged"


def test_a_manager_of_this_house_states_it(
    retort: Retort, operator: StaffMember, other_facility: Facility
) -> None:
    for member in (operator, cast.member(other_facility, cast.MANAGER)):
        with pytest.raises(ControllerRefused) as refused:
            state(retort, cast.signature(member), STATED)
        assert refused.value.code == "role"


def told(*addresses: str) -> Any:
    return lambda *args, **named: [(0, 0, 0, "", (address, 502)) for address in addresses]


def test_every_address_of_a_name_is_looked_at(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(socket, "getaddrinfo", told("10.0.0.5"))
    assert near_address("panel.local", 502) == "10.0.0.5"
    monkeypatch.setattr(socket, "getaddrinfo", told("10.0.0.5", "203.0.113.9"))
    with pytest.raises(FarAddress, match="own network"):
        near_address("panel.local", 502)
    monkeypatch.setattr(socket, "getaddrinfo", told("fe80::1%eth0"))
    with pytest.raises(FarAddress):
        near_address("panel.local", 502)


@pytest.mark.parametrize("address", ["10.1.2.3", "172.31.0.1", "192.168.9.9", "127.0.0.1", "::1"])
def test_near_addresses(address: str) -> None:
    assert near_address(address, 502) == address


def test_a_name_that_moved_away_is_not_asked_any_more(monkeypatch: pytest.MonkeyPatch) -> None:
    """Also where it was near when it was stated: it is looked up whenever it is connected to."""
    monkeypatch.setattr(socket, "getaddrinfo", told("203.0.113.9"))
    with Asker("panel.local", 502, 1, PLAIN) as asker, pytest.raises(Lost, match="own network"):
        asker.ask()
