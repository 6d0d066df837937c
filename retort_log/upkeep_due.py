"""When something is due at a retort: by days, by burner hours or by cycles. Pure.

What was never recorded is due at once: nobody can count from a day that nobody knows. What was
done and did not pass is still due.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import ROUND_CEILING, Decimal

# From here on a thing that is due soon is shown as such: the last tenth of its time.
SOON_SHARE = Decimal("0.1")


@dataclass(frozen=True)
class Every:
    """How often: at least one of the three; the one that comes first counts."""

    days: int | None = None
    hours: int | None = None
    cycles: int | None = None


@dataclass(frozen=True)
class Since:
    """What the retort did since the thing was last done: burner hours, and charges."""

    at: datetime
    hours: Decimal
    cycles: int
    passed: bool = True


@dataclass(frozen=True)
class Due:
    """Whether it is overdue or soon due, on which day at the latest, and in words why."""

    is_overdue: bool
    is_soon: bool
    on: datetime | None
    words: str


def due(every: Every, since: Since | None, now: datetime) -> Due:
    """Return when it is due; `since` None where it was never recorded."""
    if since is None:
        return Due(True, False, None, "never recorded here")
    if not since.passed:
        return Due(True, False, since.at, "did not pass when it was last done")
    on = since.at + timedelta(days=every.days) if every.days else None
    used = [
        *([(Decimal(_seconds(now - since.at)), Decimal(_seconds(on - since.at)))] if on else []),
        *([(since.hours, Decimal(every.hours))] if every.hours else []),
        *([(Decimal(since.cycles), Decimal(every.cycles))] if every.cycles else []),
    ]
    overdue = any(spent >= limit for spent, limit in used)
    soon = not overdue and any(spent >= limit * (1 - SOON_SHARE) for spent, limit in used)
    return Due(overdue, soon, on, _words(every, since, now))


def _seconds(span: timedelta) -> int:
    return int(span.total_seconds())


def _words(every: Every, since: Since, now: datetime) -> str:
    parts = []
    if every.days:
        parts.append(f"{(now - since.at).days} of {every.days} days")
    if every.hours:
        hours = since.hours.quantize(Decimal(1), ROUND_CEILING)
        parts.append(f"{hours} of {every.hours} burner hours")
    if every.cycles:
        parts.append(f"{since.cycles} of {every.cycles} cycles")
    return ", ".join(parts)
