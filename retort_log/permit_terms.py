"""A permit's terms as plain data, and back. Pure: no Django, no database.

Terms are what JSON can hold: texts, whole numbers, lists and tables. A number of the permit is a
text with its exact decimals ("0.080"), a date is written as in ISO 8601. The files in `profiles/`
and a permit that a house keeps in its database have the same shape and are read by the same code.
"""

import re
from collections.abc import Mapping
from dataclasses import fields
from datetime import date, time
from decimal import Decimal
from typing import Any

from retort_log.permit_rules import (
    Averaging,
    Concentration,
    Limit,
    Mark,
    Opacity,
    PermitRules,
)

LONGEST_WINDOW_MIN = 24 * 60
LIMIT_KEYS = {"value", "unit", "citation", "mark", "link", "read_on"}
# These stand inside another table of the terms.
INNER = {"averaging_min", "charging_chamber", "hours_citation"}
SECTIONS = {f.name for f in fields(PermitRules)} - INNER
NUMBER = re.compile(r"[0-9]{1,9}(?:\.[0-9]{1,9})?")
CLOCK_TIME = re.compile(r"(?:[01][0-9]|2[0-3]):[0-5][0-9]")
CHAMBERS = ("primary", "secondary")
SUBSTANCES = ("CO", "PM", "TOC", "NOx", "SO2", "HCl", "Hg", "PCDD/F")
# What each limit may be counted in, from the least to the most that makes sense. The bounds of a
# temperature are narrow enough that °F written as °C, or the reverse, is seen: a choice of this
# design, as are the others.
TEMPERATURES = {"degF": ("900", "2500"), "degC": ("480", "1370")}
IN_SENSE: dict[str, dict[str, tuple[str, str]]] = {
    "secondary_minimum": TEMPERATURES,
    "charging": TEMPERATURES,
    "residence": {"second": ("0.1", "10")},
    "charge_rate": {"lb/hour": ("1", "5000"), "kg/hour": ("0.5", "2500")},
    "opacity": {"percent": ("0", "100")},
    "oxygen_minimum": {"percent": ("0", "20.9")},
    "recording_interval": {"second": ("1", "3600"), "minute": ("1", "60")},
    "retention": {"year": ("0.1", "100"), "day": ("1", "36525")},
    "concentrations": {
        "mg/m**3": ("0.001", "10000"),
        "ug/m**3": ("0.001", "100000"),
        "ng/m**3": ("0.001", "100000"),
        "grain/ft**3": ("0.0001", "10"),
        "ppm": ("0.01", "100000"),
    },
}


class PermitError(ValueError):
    """Terms that make no permit; `problems` says in plain words what is wrong with each."""

    def __init__(self, problems: list[str]) -> None:
        super().__init__("\n".join(problems))
        self.problems = problems


def from_terms(terms: Mapping[str, object]) -> PermitRules:
    """Return the permit that the terms give; raises PermitError with all that is wrong."""
    reader = _Reader()
    rules = reader.rules(terms)
    if reader.problems:
        raise PermitError(reader.problems)
    return rules


def problems(terms: Mapping[str, object]) -> list[str]:
    """Say in plain words what is wrong with the terms; empty where nothing is."""
    reader = _Reader()
    reader.rules(terms)
    return reader.problems


def to_terms(rules: PermitRules) -> dict[str, Any]:
    """Return the terms of a permit, fit for JSON; what is not stated is left out."""
    terms: dict[str, Any] = {"code": rules.code, "title": rules.title}
    for name in ("secondary_minimum", "residence", "charge_rate", "oxygen_minimum"):
        terms[name] = _limit_terms(getattr(rules, name))
    for name in ("recording_interval", "retention"):
        terms[name] = _limit_terms(getattr(rules, name))
    if rules.averaging != Averaging.INSTANT:
        terms["averaging"] = {"kind": rules.averaging.value, "minutes": rules.averaging_min}
    if rules.charging:
        limit = _limit_terms(rules.charging) or {}
        terms["charging"] = {"chamber": rules.charging_chamber, **limit}
    if rules.hours:
        first, last = (f"{at:%H:%M}" for at in rules.hours)
        terms["hours"] = {"from": first, "until": last, "citation": rules.hours_citation}
    if rules.opacity:
        terms["opacity"] = {
            "limit": _limit_terms(rules.opacity.limit),
            "limit_is_breach": rules.opacity.limit_is_breach,
        }
        if rules.opacity.exception:
            terms["opacity"]["exception"] = _limit_terms(rules.opacity.exception)
    if rules.concentrations:
        terms["concentrations"] = {
            name: _concentration_terms(found) for name, found in rules.concentrations.items()
        }
    if rules.notes:
        terms["notes"] = list(rules.notes)
    return {key: value for key, value in terms.items() if value is not None}


def _limit_terms(limit: Limit | None) -> dict[str, str] | None:
    if limit is None:
        return None
    terms = {
        "value": f"{limit.value:f}",
        "unit": limit.unit,
        "citation": limit.citation,
        "mark": limit.mark.value,
    }
    if limit.link:
        terms["link"] = limit.link
    if limit.read_on:
        terms["read_on"] = limit.read_on.isoformat()
    return terms


def _concentration_terms(found: Concentration) -> dict[str, Any]:
    terms: dict[str, Any] = {
        "limit": _limit_terms(found.limit),
        "ambient_oxygen": f"{found.ambient_oxygen:f}",
    }
    if found.reference_oxygen is not None:
        terms["reference_oxygen"] = f"{found.reference_oxygen:f}"
    if found.over_min is not None:
        terms["over_min"] = found.over_min
    return terms


class _Reader:
    """Reads terms and gathers every problem; what could not be read is left out."""

    def __init__(self) -> None:
        self.problems: list[str] = []

    def say(self, where: str, problem: str) -> None:
        self.problems.append(f"{where}: {problem}.")

    def rules(self, terms: Mapping[str, object]) -> PermitRules:
        self.known(terms, SECTIONS, "permit")
        averaging, minutes = self.averaging(terms.get("averaging"))
        hours, hours_citation = self.hours(terms.get("hours"))
        chamber, charging = self.charging(terms.get("charging"))
        if averaging != Averaging.INSTANT and "secondary_minimum" not in terms:
            self.say("averaging", "there is no minimum of the secondary chamber to average")
        return PermitRules(
            code=self.text(terms, "code", "permit"),
            title=self.text(terms, "title", "permit"),
            secondary_minimum=self.stated(terms, "secondary_minimum"),
            averaging=averaging,
            averaging_min=minutes,
            residence=self.stated(terms, "residence"),
            charging_chamber=chamber,
            charging=charging,
            charge_rate=self.stated(terms, "charge_rate"),
            hours=hours,
            hours_citation=hours_citation,
            opacity=self.opacity(terms.get("opacity")),
            concentrations=self.concentrations(terms.get("concentrations")),
            oxygen_minimum=self.stated(terms, "oxygen_minimum"),
            recording_interval=self.stated(terms, "recording_interval"),
            retention=self.stated(terms, "retention"),
            notes=self.notes(terms.get("notes", [])),
        )

    def known(self, table: Mapping[str, object], keys: set[str], where: str) -> None:
        for key in sorted(set(map(str, table)) - keys):
            known = ", ".join(sorted(keys))
            self.say(where, f"“{key}” is not known here; known are {known}")

    def table(self, given: object, where: str, keys: set[str]) -> Mapping[str, object] | None:
        if given is None:
            return None
        if not isinstance(given, Mapping):
            self.say(where, "must be a table of keys and values")
            return None
        self.known(given, keys, where)
        return given

    def text(self, table: Mapping[str, object], key: str, where: str) -> str:
        value = table.get(key)
        if isinstance(value, str) and value.strip():
            return value
        self.say(where, f"“{key}” is missing, or no text")
        return ""

    def optional_text(self, table: Mapping[str, object], key: str, where: str) -> str:
        return self.text(table, key, where) if table.get(key, "") != "" else ""

    def number(self, given: object, where: str, low: str, high: str) -> Decimal | None:
        if not isinstance(given, str) or not NUMBER.fullmatch(given):
            self.say(where, f"{given!r} is no number; write its decimals as a text, as “1600”")
            return None
        value = Decimal(given)
        if not Decimal(low) <= value <= Decimal(high):
            self.say(where, f"{given} is not between {low} and {high}; is the unit right")
            return None
        return value

    def minutes(self, given: object, where: str) -> int | None:
        if type(given) is int and 1 <= given <= LONGEST_WINDOW_MIN:
            return given
        self.say(where, f"must be whole minutes from 1 to {LONGEST_WINDOW_MIN}, not {given!r}")
        return None

    def day(self, given: object, where: str) -> date | None:
        if given is None:
            return None
        try:
            return date.fromisoformat(given if isinstance(given, str) else "")
        except ValueError:
            self.say(where, f"{given!r} is no date; write it as “2026-11-25”")
            return None

    def limit(self, table: Mapping[str, object], where: str, kind: str) -> Limit | None:
        """Read value, unit and source; `kind` names the bounds of sense."""
        units = IN_SENSE[kind]
        unit = table.get("unit")
        citation = self.text(table, "citation", where)
        link = self.optional_text(table, "link", where)
        mark = self.mark(table.get("mark"), where)
        read_on = self.day(table.get("read_on"), f"{where}, read_on")
        if not isinstance(unit, str) or unit not in units:
            self.say(where, f"the unit {unit!r} is none of {', '.join(units)}")
            return None
        value = self.number(table.get("value"), f"{where}, value in {unit}", *units[unit])
        if value is None or mark is None:
            return None
        return Limit(value, unit, citation, mark, link, read_on)

    def mark(self, given: object, where: str) -> Mark | None:
        try:
            return Mark(str(given))
        except ValueError:
            self.say(where, f"the mark {given!r} is none of {', '.join(Mark)}")
            return None

    def stated(self, terms: Mapping[str, object], name: str) -> Limit | None:
        table = self.table(terms.get(name), name, LIMIT_KEYS)
        return None if table is None else self.limit(table, name, name)

    def inner(self, table: Mapping[str, object], key: str, where: str, kind: str) -> Limit | None:
        limit = self.table(table.get(key), f"{where}, {key}", LIMIT_KEYS)
        return None if limit is None else self.limit(limit, f"{where}, {key}", kind)

    def averaging(self, given: object) -> tuple[Averaging, int | None]:
        table = self.table(given, "averaging", {"kind", "minutes"})
        if table is None:
            return Averaging.INSTANT, None
        try:
            kind = Averaging(str(table.get("kind")))
        except ValueError:
            self.say("averaging", f"{table.get('kind')!r} is none of {', '.join(Averaging)}")
            return Averaging.INSTANT, None
        if kind == Averaging.INSTANT:
            if table.get("minutes") is not None:
                self.say("averaging", "“instant” averages nothing and has no minutes")
            return kind, None
        return kind, self.minutes(table.get("minutes"), "averaging, minutes")

    def charging(self, given: object) -> tuple[str, Limit | None]:
        table = self.table(given, "charging", LIMIT_KEYS | {"chamber"})
        if table is None:
            return "secondary", None
        chamber = table.get("chamber", "secondary")
        if chamber not in CHAMBERS:
            self.say("charging", f"the chamber {chamber!r} is none of {', '.join(CHAMBERS)}")
        return str(chamber), self.limit(table, "charging", "charging")

    def hours(self, given: object) -> tuple[tuple[time, time] | None, str]:
        table = self.table(given, "hours", {"from", "until", "citation"})
        if table is None:
            return None, ""
        citation = self.text(table, "citation", "hours")
        typed = [self.text(table, key, "hours") for key in ("from", "until")]
        if not all(CLOCK_TIME.fullmatch(one) for one in typed):
            self.say("hours", "write them as “07:00” and “19:00”")
            return None, citation
        first, last = (time.fromisoformat(one) for one in typed)
        if first == last:
            self.say("hours", "from and until are the same time")
        return (first, last), citation

    def opacity(self, given: object) -> Opacity | None:
        table = self.table(given, "opacity", {"limit", "exception", "limit_is_breach"})
        if table is None:
            return None
        is_breach = table.get("limit_is_breach", False)
        if not isinstance(is_breach, bool):
            self.say("opacity", "“limit_is_breach” is true or false")
        if "limit" not in table:
            self.say("opacity", "“limit” is missing")
        limit = self.inner(table, "limit", "opacity", "opacity")
        exception = self.inner(table, "exception", "opacity", "opacity")
        if limit and exception and exception.value <= limit.value:
            self.say("opacity", "the exception must be more than the limit")
        return None if limit is None else Opacity(limit, exception, is_breach is True)

    def concentrations(self, given: object) -> dict[str, Concentration]:
        table = self.table(given, "concentrations", set(SUBSTANCES))
        rows = (table or {}).items()
        read = {str(name): self.concentration(str(name), one) for name, one in rows}
        return {name: found for name, found in read.items() if found}

    def concentration(self, name: str, given: object) -> Concentration | None:
        where = f"concentrations, {name}"
        keys = {"limit", "reference_oxygen", "ambient_oxygen", "over_min"}
        table = self.table(given, where, keys)
        if table is None or "limit" not in table:
            self.say(where, "“limit” is missing")
            return None
        ambient = self.number(table.get("ambient_oxygen", "20.9"), where, "20.9", "21")
        reference, over = table.get("reference_oxygen"), table.get("over_min")
        limit = self.inner(table, "limit", where, "concentrations")
        if limit is None:
            return None
        return Concentration(
            limit,
            None if reference is None else self.number(reference, where, "0", "20"),
            ambient or Decimal("20.9"),
            None if over is None else self.minutes(over, f"{where}, over_min"),
        )

    def notes(self, given: object) -> tuple[str, ...]:
        if isinstance(given, list | tuple) and all(isinstance(note, str) for note in given):
            return tuple(given)
        self.say("notes", "must be a list of texts")
        return ()
