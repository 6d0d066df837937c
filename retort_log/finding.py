"""What was found on a run's record, in words that a person can act on. Pure.

A finding states; it never decides. What the permit does not state is not judged. Each ends with
the advice to ask the authority, since a permit has conditions that no record holds.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, tzinfo
from decimal import Decimal

from crematory.units import NBSP, unit_symbol
from retort_log.permit_rules import Limit, Mark
from retort_log.readings import Interval

CHECK = "Check with the authority."
MARK_WORDS = {
    Mark.FOUND: "",
    Mark.SECONDARY: " (read in a page that quotes it)",
    Mark.MEMORY: " (from memory)",
    Mark.HOUSE: " (as the house read or chose it)",
}
_UNITS = {
    "percent": "%",
    "second": "s",
    "minute": "min",
    "mg/m**3": "mg/m³",
    "ug/m**3": "µg/m³",
    "ng/m**3": "ng/m³",
    "grain/ft**3": "gr/ft³",
    "lb/hour": "lb/h",
    "kg/hour": "kg/h",
    "degC/minute": "°C/min",
    "degF/minute": "°F/min",
}
_MOST_DECIMALS = 6


@dataclass(frozen=True)
class Finding:
    """One thing found. `words` say what and why it matters; CHECK is added where it is missing.

    `value` and `limit` are in `unit`. `intervals` are all times that count, `since` the first and
    `until` the last instant of them. `is_breach`: a stated limit was not kept. `needs_settling`:
    a person has to look at it and say what is to follow.
    """

    code: str
    title: str
    words: str
    citation: str = ""
    value: float | None = None
    limit: Decimal | None = None
    unit: str = ""
    since: datetime | None = None
    until: datetime | None = None
    intervals: tuple[tuple[datetime, datetime], ...] = ()
    is_breach: bool = False
    needs_settling: bool = False

    def __post_init__(self) -> None:
        if not self.words.endswith(CHECK):
            object.__setattr__(self, "words", f"{self.words} {CHECK}")

    def during(self, found: Iterable[Interval]) -> "Finding":
        """Return it with the times at which it holds."""
        spans = tuple((instant(one.start), instant(one.end)) for one in found)
        if not spans:
            return self
        return replace(self, intervals=spans, since=spans[0][0], until=spans[-1][1])


def instant(seconds: float) -> datetime:
    """Return the time of so many seconds since the Unix epoch."""
    return datetime.fromtimestamp(seconds, UTC)


def cited(limit: Limit) -> str:
    """Return where a limit was read, and how well where that is not the text itself."""
    return limit.citation + MARK_WORDS[limit.mark]


def symbol(unit: str) -> str:
    """How a unit is written for people."""
    return _UNITS.get(unit, unit_symbol(unit))


def amount(value: float | Decimal, unit: str, beside: float | Decimal | None = None) -> str:
    """Write a number and its unit: "1,600 °F"; with as many decimals as set it apart.

    A value is never rounded onto the limit that stands beside it: 1,599.98 stays that.
    """
    number = float(value)
    decimals = 1
    if abs(number) < 10:
        decimals = 2 if abs(number) >= 0.1 else 4
    if beside is not None and number != float(beside):
        while decimals < _MOST_DECIMALS and round(number, decimals) == float(beside):
            decimals += 1
    text = f"{number:,.{decimals}f}".rstrip("0").rstrip(".")
    return f"{'0' if text in ('-0', '') else text}{NBSP}{symbol(unit)}"


def lasted(seconds: float) -> str:
    """Write a length of time: "45 s", "6.5 min", "2 h", "2 h 05 min"."""
    if 0 < seconds < 1:
        return f"less than 1{NBSP}s"
    if seconds < 60:
        return f"{seconds:.0f}{NBSP}s"
    if seconds < 3597:  # what rounds to 60.0 min is an hour
        return f"{seconds / 60:.1f}".removesuffix(".0") + f"{NBSP}min"
    hours, minutes = divmod(round(seconds / 60), 60)
    return f"{hours}{NBSP}h {minutes:02d}{NBSP}min" if minutes else f"{hours}{NBSP}h"


def mean_over(window_s: float) -> str:
    """Name a mean by its window: "one-hour mean", "10-minute mean"."""
    if window_s == 3600:
        return "one-hour mean"
    return f"{window_s / 60:g}-minute mean"


def clock(at: datetime | float, zone: tzinfo) -> str:
    """Write a time of the facility's day, to the minute: "15:04"."""
    when = at if isinstance(at, datetime) else instant(at)
    return f"{when.astimezone(zone):%H:%M}"


def times(found: Iterable[Interval], zone: tzinfo) -> str:
    """Write when: "14:05–14:11 and 14:30–14:32"; a single reading as "14:05"."""
    texts: list[str] = []
    for one in found:
        first, last = clock(one.start, zone), clock(one.end, zone)
        text = first if first == last else f"{first}–{last}"
        if text not in texts[-1:]:  # twice within a minute is told once
            texts.append(text)
    if len(texts) > 4:
        return f"{', '.join(texts[:3])} and {len(texts) - 3} more times, the last {texts[-1]}"
    return " and ".join([", ".join(texts[:-1]), texts[-1]] if len(texts) > 1 else texts)
