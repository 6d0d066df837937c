"""Published permit profiles: one TOML file each in `profiles/`. Pure: no Django, no database.

A profile is where a house begins; its own permit decides. Every value carries its citation, where
it was read, how well (found, secondary, memory) and when. A value from memory is off unless it is
asked for, and the notes name it.

Left out are rows for which nothing but a faint memory was there (Texas 106.494, Ontario), rules
that are not for crematories (Texas 106.491), texts without a temperature or a limit that fits a
permit's terms (Louisiana, New Hampshire), and places of which nothing usable was found (the
districts of California, Colorado, the Canadian council of ministers, the Nordic states). Left
out means unknown, never that there is no rule.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

from retort_log.permit_rules import Averaging, Limit, Mark, PermitRules
from retort_log.permit_terms import LIMIT_KEYS, PermitError, from_terms

FOLDER = Path(__file__).parent / "profiles"
SOURCE = ("citation", "link", "mark", "read_on")
INSTALLED = ("family", "installed_from", "installed_before")
CHECK_LOCALLY = "Check with the authority that gave the permit: this is not legal advice."
PLAIN_LIMITS = (
    "secondary_minimum",
    "residence",
    "charging",
    "charge_rate",
    "oxygen_minimum",
    "recording_interval",
    "retention",
)


class ProfileUnknown(KeyError):
    """No file for this code, or none for units installed on that day."""

    def __str__(self) -> str:
        return str(self.args[0])


class ProfileFileError(ValueError):
    """A file of a profile is wrong; the text names the file and the key."""


@dataclass(frozen=True)
class Profile:
    """A published profile: what it demands, and for units of which time of installation."""

    rules: PermitRules  # with what is known from memory only
    family: str = ""  # the same for all profiles among which the installation decides
    installed_from: date | None = None  # this day is in
    installed_before: date | None = None  # this day is out

    def is_for(self, installed_on: date) -> bool:
        """True where a unit installed on that day falls under this profile."""
        is_early = self.installed_from is not None and installed_on < self.installed_from
        is_late = self.installed_before is not None and installed_on >= self.installed_before
        return not (is_early or is_late)


def codes() -> list[str]:
    """Return the codes of all published profiles."""
    return sorted(path.stem for path in FOLDER.glob("*.toml"))


@cache
def published(code: str) -> Profile:
    """Return a profile as published, with what is known from memory only.

    Raises ProfileUnknown if there is no such file, ProfileFileError if the file is wrong.
    """
    if code not in codes():
        raise ProfileUnknown(f"No permit profile “{code}”. There are: {', '.join(codes())}.")
    return parse((FOLDER / f"{code}.toml").read_text(encoding="utf-8"), f"{code}.toml")


def profile(code: str, *, from_memory: bool = False) -> PermitRules:
    """Return what a profile demands; values from memory only where they are asked for.

    Raises what `published` raises.
    """
    rules = published(code).rules
    return rules if from_memory else without_memory(rules)


def for_unit(family: str, installed_on: date, *, from_memory: bool = False) -> PermitRules:
    """Return the profile of a family under which a unit installed on that day falls.

    Raises ProfileUnknown where there is none.
    """
    for code in codes():
        if published(code).family == family and published(code).is_for(installed_on):
            return profile(code, from_memory=from_memory)
    raise ProfileUnknown(f"No permit profile of “{family}” for a unit of {installed_on}.")


def without_memory(rules: PermitRules) -> PermitRules:
    """Return the rules without any value that is known from memory only; the notes name each."""
    off: dict[str, Any] = {}
    named: list[str] = []
    for name in PLAIN_LIMITS:
        limit: Limit | None = getattr(rules, name)
        if limit and limit.mark == Mark.MEMORY:
            off[name] = None
            named.append(_named(name.replace("_", " "), limit))
    if "secondary_minimum" in off:
        off |= {"averaging": Averaging.INSTANT, "averaging_min": None}
    kept = {}
    for substance, found in rules.concentrations.items():
        if found.limit.mark == Mark.MEMORY:
            named.append(_named(substance, found.limit))
        else:
            kept[substance] = found
    opacity = rules.opacity
    if opacity and opacity.limit.mark == Mark.MEMORY:
        named.append(_named("opacity", opacity.limit))
        opacity = None
    elif opacity and opacity.exception and opacity.exception.mark == Mark.MEMORY:
        named.append(_named("opacity, once an hour", opacity.exception))
        opacity = replace(opacity, exception=None)
    notes = rules.notes
    if named:
        notes = (*notes, f"Off, since known from memory only: {'; '.join(named)}.")
    return replace(rules, **off, concentrations=kept, opacity=opacity, notes=notes)


def _named(what: str, limit: Limit) -> str:
    return f"{what} {limit.value} {limit.unit} ({limit.citation})"


def parse(text: str, file: str) -> Profile:
    """Return the profile that a file's text gives; raises ProfileFileError."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise ProfileFileError(f"{file}: not TOML: {problem}") from None
    if data.get("code") != Path(file).stem:
        raise ProfileFileError(f"{file}: code: {data.get('code')!r} is not the file's name.")
    source = {key: _plain(data.pop(key)) for key in SOURCE if key in data}
    family, first, before = (data.pop(key, None) for key in INSTALLED)
    for key, day in (("installed_from", first), ("installed_before", before)):
        if not (day is None or (type(day) is date and family)):
            raise ProfileFileError(f"{file}: {key}: must be a date, beside a family.")
    data["notes"] = [*data.get("notes", []), CHECK_LOCALLY]
    try:
        rules = from_terms(_sourced(data, source))
    except PermitError as error:
        raise ProfileFileError("\n".join(f"{file}: {one}" for one in error.problems)) from None
    for limit in limits(rules):
        if limit.read_on is None or limit.mark == Mark.HOUSE:
            fault = "needs the date it was read, and a mark other than “house”"
            raise ProfileFileError(f"{file}: {limit.value} {limit.unit}: {fault}.")
    return Profile(rules, str(family or ""), first, before)


def limits(rules: PermitRules) -> list[Limit]:
    """Return every limit that the rules hold, in the order of their terms."""
    found = [getattr(rules, name) for name in PLAIN_LIMITS]
    if rules.opacity:
        found += [rules.opacity.limit, rules.opacity.exception]
    found += [one.limit for one in rules.concentrations.values()]
    return [limit for limit in found if limit]


def _plain(value: object) -> object:
    return value.isoformat() if isinstance(value, date) else value


def _sourced(table: Mapping[str, Any], source: Mapping[str, object]) -> dict[str, Any]:
    """Give each limit that names no source of its own the source of the file."""
    read: dict[str, Any] = {}
    for key, value in table.items():
        read[key] = _sourced(value, source) if isinstance(value, Mapping) else _plain(value)
    # A table with a unit is a limit.
    is_limit = "unit" in read and read.keys() <= LIMIT_KEYS | {"chamber"}
    return {**source, **read} if is_limit else read
