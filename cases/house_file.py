"""Reading a house file (TOML): what a facility consists of. No database in here.

Every complaint names the key, so that the person who wrote the file finds the line.
"""

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

from crematory.models import Role
from crematory.units import KINDS, KindName, QuantityError, parse_quantity

KINDS_OF_PLACE = ("bay", "tray", "shelf")
TEN_THOUSANDTH = Decimal("0.0001")


class HouseFileError(Exception):
    """The file cannot be used; the text names the key and says what is wanted."""


class Table:
    """One table of the file; each reader takes a key, and `done` complains about the rest."""

    def __init__(self, values: Any, path: str) -> None:
        if not isinstance(values, dict):
            raise HouseFileError(f"{path} must be a table.")
        self.values = dict(values)
        self.path = path

    def _key(self, key: str) -> str:
        return f"{self.path}.{key}" if self.path else key

    def _take(self, key: str, kind: type | tuple[type, ...], wanted: str, default: Any) -> Any:
        if key not in self.values:
            if default is None:
                raise HouseFileError(f"{self._key(key)} is missing: {wanted}.")
            return default
        value = self.values.pop(key)
        if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
            raise HouseFileError(f"{self._key(key)} must be {wanted}, not {value!r}.")
        return value

    def text(self, key: str, default: str | None = None) -> str:
        """Return a text; without a default it may not be absent or empty."""
        value = str(self._take(key, str, "a text", default)).strip()
        if not value and default is None:
            raise HouseFileError(f"{self._key(key)} is empty: a text is wanted.")
        return value

    def whole(self, key: str, default: int | None = None) -> int:
        """Return a whole number of at least 1."""
        value = int(self._take(key, int, "a whole number", default))
        if value < 1:
            raise HouseFileError(f"{self._key(key)} must be 1 or more.")
        return value

    def flag(self, key: str) -> bool:
        """Return true or false; false when absent."""
        return bool(self._take(key, bool, "true or false", False))

    def day(self, key: str) -> date | None:
        """Return a date, or None when absent."""
        if key not in self.values:
            return None
        found: date = self._take(key, date, "a date such as 2027-03-31", None)
        return found

    def quantity(self, key: str, kind: KindName) -> Decimal:
        """Return a quantity in its stored unit; the file writes it with its unit."""
        typed = self.text(key)
        if not any(letter.isalpha() for letter in typed):
            raise HouseFileError(f"{self._key(key)} needs its unit, such as “{typed} kg” or “°C”.")
        try:
            return parse_quantity(typed, kind, KINDS[kind].stored_unit)
        except QuantityError as error:
            raise HouseFileError(f"{self._key(key)}: {error}") from error

    def words(self, key: str, allowed: Sequence[str]) -> tuple[str, ...]:
        """Return a list of words, each one of those allowed, at least one."""
        found = self._take(key, list, "a list of words", None)
        if not found or any(word not in allowed for word in found):
            raise HouseFileError(f"{self._key(key)} holds one or more of: {', '.join(allowed)}.")
        return tuple(found)

    def tables(self, key: str) -> list["Table"]:
        """Return the tables of a list; at least one."""
        found = self._take(key, list, f"one or more [[{key}]] tables", None)
        return [Table(item, f"{key}[{number}]") for number, item in enumerate(found, start=1)]

    def table(self, key: str) -> "Table":
        """Return one table."""
        return Table(self._take(key, dict, f"a [{key}] table", None), key)

    def done(self) -> None:
        """Complain about a key that nobody asked for: it is probably misspelt."""
        for key in self.values:
            raise HouseFileError(f"{self._key(key)} is not a known key. Is it misspelt?")


@dataclass(frozen=True)
class StaffPlan:
    """A member of the staff. Password and PIN are in the file only for the demonstration."""

    staff_code: str
    printed_name: str
    roles: tuple[str, ...]
    certificate_number: str
    certificate_expires_on: date | None
    certificate_expires_in_days: int | None
    password: str
    pin: str


@dataclass(frozen=True)
class RetortPlan:
    """A machine; `figures` is what the file says of it beyond what it must, by column."""

    name: str
    code: str
    area: str
    mass_limit_kg: Decimal
    sweep_limit_c: Decimal
    figures: dict[str, Any]


@dataclass(frozen=True)
class PlacesPlan:
    """A row of places of one kind: `name` 1 to `count`."""

    kind: str
    area: str
    name: str
    count: int


@dataclass(frozen=True)
class HousePlan:
    """All that the file says."""

    is_demo: bool
    facility: dict[str, str]
    staff: tuple[StaffPlan, ...]
    permit: dict[str, Any]
    retorts: tuple[RetortPlan, ...]
    places: tuple[PlacesPlan, ...]

    def dated(self, today: date) -> "HousePlan":
        """Return the plan with the demonstration's certificates expiring counted from today."""
        return replace(self, staff=tuple(_dated(member, today) for member in self.staff))


def _dated(member: StaffPlan, today: date) -> StaffPlan:
    if member.certificate_expires_in_days is None:
        return member
    expires_on = today + timedelta(days=member.certificate_expires_in_days)
    return replace(member, certificate_expires_on=expires_on)


def read(path: Path) -> HousePlan:
    """Return what the file says. Raises HouseFileError, naming the key."""
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise HouseFileError(f"{path} cannot be read: {error.strerror}.") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise HouseFileError(f"{path} is not valid TOML: {error}.") from error
    return plan(data)


def plan(data: dict[str, Any]) -> HousePlan:
    """Return the plan in the parsed file. Raises HouseFileError, naming the key."""
    top = Table(data, "")
    is_demo = top.flag("demo")
    house = HousePlan(
        is_demo=is_demo,
        facility=_facility(top.table("facility")),
        staff=tuple(_member(table, is_demo) for table in top.tables("staff")),
        permit=_permit(top.table("permit")),
        retorts=tuple(_retort(table) for table in top.tables("retort")),
        places=tuple(_places(table) for table in top.tables("places")),
    )
    top.done()
    return house


def _facility(table: Table) -> dict[str, str]:
    required = ("name", "address", "time_zone", "jurisdiction", "log_origin", "case_prefix")
    optional = {"telephone": "", "licence_number": "", "units": "us", "language": "en"}
    found = {key: table.text(key) for key in required}
    found |= {key: table.text(key, default) for key, default in optional.items()}
    table.done()
    return found


def _member(table: Table, is_demo: bool) -> StaffPlan:
    if not is_demo:
        for key in ("password", "pin", "certificate_expires_in_days"):
            if key in table.values:
                raise HouseFileError(
                    f"{table.path}.{key} may not stand in a file. Remove it: passwords and PINs "
                    "are asked for at the terminal or made at random."
                )
    days = table.values.pop("certificate_expires_in_days", None)
    member = StaffPlan(
        staff_code=table.text("staff_code").upper(),
        printed_name=table.text("printed_name"),
        roles=table.words("roles", [role.value for role in Role]),
        certificate_number=table.text("certificate_number", ""),
        certificate_expires_on=table.day("certificate_expires_on"),
        certificate_expires_in_days=days,
        password=table.text("password") if is_demo else "",
        pin=table.text("pin") if is_demo else "",
    )
    table.done()
    return member


def _permit(table: Table) -> dict[str, Any]:
    found = {
        "number": table.text("number"),
        "source": table.text("source"),
        "expires_on": table.day("expires_on"),
        "charging_temperature_c": table.quantity("charging_temperature", "temperature"),
        "recording_interval_min": table.whole("recording_interval_min", 15),
    }
    table.done()
    return found


def _retort(table: Table) -> RetortPlan:
    found = RetortPlan(
        name=table.text("name"),
        code=table.text("code"),
        area=table.text("area"),
        mass_limit_kg=table.quantity("mass_limit", "mass"),
        sweep_limit_c=table.quantity("sweep_limit", "temperature"),
        figures=_figures(table),
    )
    table.done()
    return found


def _figures(table: Table) -> dict[str, Any]:
    """What a house may say of a machine, or leave out."""
    there = table.values.keys()
    found: dict[str, Any] = {key: table.text(key) for key in ("serial", "fuel") if key in there}
    for key in ("burner_kw", "earlier_hours", "earlier_cycles"):
        if key in there:
            found[key] = table.whole(key)
    for key in ("primary_volume", "secondary_volume"):
        if key in there:
            litres = table.quantity(key, "volume")
            found[f"{key}_m3"] = (litres / 1000).quantize(TEN_THOUSANDTH)
    if "heavy_from" in there:
        found["heavy_from_kg"] = table.quantity("heavy_from", "mass")
    return found


def _places(table: Table) -> PlacesPlan:
    kind = table.text("kind")
    if kind not in KINDS_OF_PLACE:
        raise HouseFileError(f"{table.path}.kind must be one of: {', '.join(KINDS_OF_PLACE)}.")
    found = PlacesPlan(kind, table.text("area"), table.text("name"), table.whole("count"))
    table.done()
    return found
