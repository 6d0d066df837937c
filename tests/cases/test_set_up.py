"""Setting up a house: adds what is missing, changes nothing, and names the key of a bad file."""

import copy
import tomllib
from collections.abc import Callable
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from cases import house_file, house_setup
from cases.demo.build import HOUSE
from cases.house_setup import Credentials
from chain_of_custody.models import CustodyEntry, Place
from chain_of_custody.trail import facts_of
from crematory.models import Facility, StaffMember
from crematory.signatures import SignatureRefused, sign
from retort_log.models import Retort

EXAMPLE = tomllib.loads(HOUSE.read_text(encoding="utf-8"))
FOR_DEMO_ONLY = ("password", "pin", "certificate_expires_in_days")


def real_house() -> dict[str, Any]:
    """Return the example as a real house would write it."""
    data = copy.deepcopy(EXAMPLE)
    del data["demo"]
    for member in data["staff"]:
        for key in FOR_DEMO_ONLY:
            member.pop(key, None)
    return data


def ask(member: house_file.StaffPlan) -> Credentials:
    return Credentials(f"a long password of {member.staff_code}", "731952")


def set_up(data: dict[str, Any]) -> house_setup.Added:
    return house_setup.set_up(house_file.plan(data), ask)


@pytest.mark.django_db
def test_sets_up_everything_and_records_it() -> None:
    added = set_up(real_house())
    facility = Facility.objects.get()
    kinds = ("bay", "tray", "shelf", "retort")
    assert [Place.objects.filter(kind=kind).count() for kind in kinds] == [12, 6, 24, 3]
    assert facility.staff.count() == 6
    limited = Retort.objects.get(name="Retort 2")
    assert (str(limited.mass_limit_kg), str(limited.sweep_limit_c)) == ("158.757", "426.67")
    figures = (limited.secondary_volume_m3, limited.heavy_from_kg, limited.earlier_cycles)
    assert [str(figure) for figure in figures] == ["1.9822", "127.006", "1012"]
    assert str(limited.permit.charging_temperature_c) == "760.00"
    entry = CustodyEntry.objects.get()
    assert entry.act == "set_up"
    assert facts_of(entry) == added.codes
    assert sign(facility, "op1", "731952").member.printed_name not in entry.payload


@pytest.mark.django_db
def test_a_second_time_changes_nothing() -> None:
    set_up(real_house())
    again = real_house()
    again["facility"]["name"] = "Another name"
    assert set_up(again).codes == {}
    assert Facility.objects.get().name == "Quelvane Crematory"
    assert CustodyEntry.objects.count() == 1


@pytest.mark.django_db
def test_adds_only_what_is_missing() -> None:
    set_up(real_house())
    more = real_house()
    more["places"][0]["count"] = 13
    more["staff"].append({"staff_code": "OP4", "printed_name": "Wenna Ard", "roles": ["operator"]})
    assert set_up(more).codes == {"staff": ["OP4"], "bay": ["cooler-bay-13"]}
    assert StaffMember.objects.count() == 7


@pytest.mark.django_db
def test_known_passwords_are_refused_outside_the_demonstration() -> None:
    with pytest.raises(house_file.HouseFileError, match="demo = true"):
        set_up(copy.deepcopy(EXAMPLE))
    assert not Facility.objects.exists()


def _spoil(*path: str | int, to: Any = None) -> Callable[[dict[str, Any]], None]:
    def spoil(data: dict[str, Any]) -> None:
        table: Any = data
        for key in path[:-1]:
            table = table[key]
        if to is None:
            del table[path[-1]]
        else:
            table[path[-1]] = to

    return spoil


BAD = {
    "facility.name is missing": _spoil("facility", "name"),
    "facility.name is empty": _spoil("facility", "name", to=" "),
    "facility.nmae is not a known key": _spoil("facility", "nmae", to="x"),
    "facility.time_zone: “Mars/Base” is not a time zone": _spoil(
        "facility", "time_zone", to="Mars/Base"
    ),
    "facility.case_prefix": _spoil("facility", "case_prefix", to="quelvane"),
    "facility.units": _spoil("facility", "units", to="cubits"),
    "facility.jurisdiction must be one of: au-act": _spoil("facility", "jurisdiction", to="mars"),
    "staff[2].roles holds one or more of": _spoil("staff", 1, "roles", to=["driver"]),
    "staff[1].pin may not stand in a file": _spoil("staff", 0, "pin", to="731952"),
    "staff[1].certificate_expires_on must be a date": _spoil(
        "staff", 0, "certificate_expires_on", to="soon"
    ),
    "staff A B.staff_code": _spoil("staff", 0, "staff_code", to="a b"),
    "permit.charging_temperature needs its unit": _spoil(
        "permit", "charging_temperature", to="1400"
    ),
    "retort[1].mass_limit: ": _spoil("retort", 0, "mass_limit", to="heavy"),
    "places[1].kind must be one of": _spoil("places", 0, "kind", to="drawer"),
    "places[1].count must be a whole number": _spoil("places", 0, "count", to="many"),
    "places[1].count must be 1 or more": _spoil("places", 0, "count", to=0),
    "retort is missing": _spoil("retort"),
    "permit must be a [permit] table": _spoil("permit", to=["x"]),
    "machines is not a known key": _spoil("machines", to={}),
}


@pytest.mark.django_db
@pytest.mark.parametrize("said", BAD)
def test_a_bad_file_names_its_key_and_leaves_nothing(said: str) -> None:
    data = real_house()
    BAD[said](data)
    with pytest.raises(house_file.HouseFileError) as refusal:
        set_up(data)
    assert said in str(refusal.value)
    assert not Facility.objects.exists()


def as_toml(data: dict[str, Any]) -> str:
    """Return the example file without what only the demonstration may hold."""
    kept = [
        line
        for line in HOUSE.read_text(encoding="utf-8").splitlines()
        if not line.startswith(("demo =", *FOR_DEMO_ONLY))
    ]
    return "\n".join(kept)


@pytest.mark.django_db
def test_command_makes_passwords_once_and_says_when_nothing_is_missing(tmp_path: Path) -> None:
    path = tmp_path / "house.toml"
    path.write_text(as_toml(EXAMPLE), encoding="utf-8")
    first, second = StringIO(), StringIO()
    call_command("set_up", path, generate=True, stdout=first)
    words = next(line for line in first.getvalue().splitlines() if line.startswith("OP1:")).split()
    facility = Facility.objects.get()
    with pytest.raises(SignatureRefused, match="given to you by a manager"):
        sign(facility, "OP1", words[4])  # whoever ran the command has seen it
    signed = sign(facility, "OP1", words[4], to_choose_own=True)
    assert signed.member.check_password(words[2])
    assert signed.member.password_is_given
    call_command("set_up", path, generate=True, stdout=second)
    assert "nothing was changed" in second.getvalue()


@pytest.mark.django_db
def test_command_asks_at_the_terminal(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "house.toml"
    path.write_text(as_toml(EXAMPLE), encoding="utf-8")
    answers = ["short", "a good long phrase", "a good long phrase", "111111", "731952", "7319"]
    answers += ["731952", "731952"] + ["a good long phrase"] * 2 + ["731952"] * 2
    rest = ["a good long phrase", "a good long phrase", "731952", "731952"] * 4
    typed = iter(answers + rest)
    monkeypatch.setattr("getpass.getpass", lambda prompt: next(typed))
    complaints = StringIO()
    call_command("set_up", path, stdout=StringIO(), stderr=complaints)
    assert "at least three different digits" in complaints.getvalue()
    assert "The two differ" in complaints.getvalue()
    assert list(typed) == []
    owners = StaffMember.objects.filter(pin_is_given=False, password_is_given=False)
    assert [member.is_manager for member in owners] == [True]  # who typed the others' knows them


@pytest.mark.django_db
@pytest.mark.parametrize("text", ["facility = [", None])
def test_command_reports_a_file_that_cannot_be_read(text: str | None, tmp_path: Path) -> None:
    path = tmp_path / "house.toml"
    if text is not None:
        path.write_text(text, encoding="utf-8")
    with pytest.raises(CommandError, match=r"house\.toml"):
        call_command("set_up", path)
