"""Clocks that run in hours, from moments that may be known only roughly. Pure.

Hours are elapsed hours, whatever the wall clock does meanwhile; the statutes are silent on clock
changes, so that is an engineering choice. Of a moment known only as a range, the bound counts
that is the stricter: the LATEST for a wait that must have passed, the EARLIEST for a term that
must be kept. Clocks that run in days and years are in `cases.deadline_days`.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

DAY = timedelta(days=1)


class TimeDoesNotExist(ValueError):
    """A local time or day that the clocks of its zone skipped."""


class Bound(StrEnum):
    """Which end of what is known a deadline was counted from."""

    EXACT = "exact"
    EARLIEST = "earliest"
    LATEST = "latest"


@dataclass(frozen=True)
class Moment:
    """A moment as known: it lies between two instants. Aware, in UTC.

    `known_as` says how it is known, in words that follow "because". `open_end` says that the
    latest instant is itself left out, as the midnight that ends a day. Raises ValueError for
    times without a zone or the wrong way round.
    """

    earliest: datetime
    latest: datetime
    known_as: str = ""
    open_end: bool = False

    def __post_init__(self) -> None:
        if self.earliest.utcoffset() is None or self.latest.utcoffset() is None:
            raise ValueError("a moment needs times with their zone")
        object.__setattr__(self, "earliest", self.earliest.astimezone(UTC))
        object.__setattr__(self, "latest", self.latest.astimezone(UTC))
        if self.earliest > self.latest:
            raise ValueError("a moment's earliest time lies after its latest")

    @property
    def exact(self) -> bool:
        """Whether it is known to the instant."""
        return self.earliest == self.latest


def exactly(at: datetime) -> Moment:
    """A moment known to the instant; `at` is aware."""
    return Moment(at, at)


def between(earliest: datetime, latest: datetime) -> Moment:
    """A moment known to lie between two aware times, as between last seen alive and found."""
    return Moment(earliest, latest, "" if earliest == latest else "only a range is known")


def on_day(day: date, zone: ZoneInfo) -> Moment:
    """A moment of which only the local day is known: from its first instant to its end.

    A day is 23 or 25 hours long when clocks change. Raises TimeDoesNotExist for a day that the
    zone skipped altogether.
    """
    earliest, latest = start_of(day, zone), start_of(day + DAY, zone)
    if earliest == latest:
        raise TimeDoesNotExist(f"{day.isoformat()} was no day in {zone.key}: the date line moved.")
    return Moment(earliest, latest, "only the date is known", open_end=True)


def at_local(wall: datetime, zone: ZoneInfo) -> Moment:
    """The moment at which a clock on the wall of a zone showed `wall` (without a zone).

    A time that the clocks showed twice gives both instants as bounds. Raises TimeDoesNotExist
    for a time that they skipped, ValueError if `wall` carries a zone.
    """
    if wall.tzinfo is not None:
        raise ValueError("a time on the wall carries no zone of its own")
    first, second = (wall.replace(tzinfo=zone, fold=f).astimezone(UTC) for f in (0, 1))
    if first.astimezone(zone).replace(tzinfo=None) != wall.replace(fold=0):
        raise TimeDoesNotExist(
            f"{wall:%Y-%m-%d %H:%M} did not exist in {zone.key}: the clocks went forward. "
            "Ask which time was meant."
        )
    if first == second:
        return exactly(first)
    return Moment(first, second, "the clocks went back and showed this time twice")


def start_of(day: date, zone: ZoneInfo) -> datetime:
    """The first instant of a local day, in UTC; a skipped midnight gives the end of the gap."""
    return datetime.combine(day, time(), zone).astimezone(UTC)


class Kind(StrEnum):
    """What a deadline says."""

    AT = "at"
    NONE = "none"  # no wait, no duty, no limit
    UNKNOWN = "unknown"  # something is missing, so that no time can be named


@dataclass(frozen=True)
class Due:
    """An instant (aware, UTC) that a rule names, which bound it was counted from, and why.

    For a wait ask `over`; for a term to be kept ask `broken`; for a duty that begins with the
    instant ("held 8 hours or more") ask `reached`. The instant itself is still within a term,
    and already past a wait: elapsed hours, an engineering choice where texts are silent.
    """

    kind: Kind
    at: datetime | None
    bound: Bound
    why: str

    def over(self, now: datetime) -> bool:
        """Whether a wait is over: never while it is unknown."""
        return self.kind is Kind.NONE or self.reached(now)

    def reached(self, now: datetime) -> bool:
        """Whether the instant has come."""
        return self.at is not None and now >= self.at

    def broken(self, now: datetime) -> bool:
        """Whether a term has run out."""
        return self.at is not None and now > self.at


def no_limit(why: str) -> Due:
    """Nothing to wait for or to keep to."""
    return Due(Kind.NONE, None, Bound.EXACT, why)


def unknown(missing: str) -> Due:
    """No time can be named until what is missing is recorded."""
    return Due(Kind.UNKNOWN, None, Bound.EXACT, missing)


class From(StrEnum):
    """From what a minimum wait is counted."""

    DEATH = "death"
    DEATH_OR_DISCOVERY = "death_or_discovery"
    CERTIFICATE = "certificate"  # the time of death on a complete, final certificate


@dataclass(frozen=True)
class Waiver:
    """What lifts a wait: a ground, and the papers without which the ground is not enough."""

    ground: str
    needs: frozenset[str] = frozenset()
    citation: str = ""


def wait_from(
    rule: From,
    death: Moment | None,
    discovery: Moment | None = None,
    certified: Moment | None = None,
) -> Moment | None:
    """The moment from which a wait is counted; None while it is not recorded.

    From death or its discovery, the later counts where both are known: the cautious reading of
    Wisconsin 979.10(1)(a). From the certificate, `certified` is the time of death that a
    complete, non-provisional certificate shows (Ohio 4717.23(A)(1)).
    """
    if rule is From.CERTIFICATE:
        return certified
    if rule is From.DEATH or death is None or discovery is None:
        return death
    later = max(death, discovery, key=lambda moment: moment.latest)
    return replace(later, earliest=max(death.earliest, discovery.earliest))


def wait_ends(
    start: Moment | None,
    hours: int,
    waivers: Sequence[Waiver] = (),
    grounds: Collection[str] = (),
    papers: Collection[str] = (),
) -> Due:
    """When a minimum wait of elapsed `hours` is over, counted from the LATEST possible start.

    `grounds` are those recorded, `papers` the kinds on file. A waiver holds only with all of
    its papers: Illinois 18/35(a) wants infectious disease AND a written waiver.
    """
    for waiver in waivers:
        if waiver.ground in grounds and waiver.needs <= set(papers):
            return no_limit(f"The wait is waived: {waiver.ground.replace('_', ' ')}.")
    if start is None:
        return unknown("The moment from which the wait is counted is not recorded.")
    return _after(start, hours, Bound.LATEST)


def within(start: Moment | None, hours: int) -> Due:
    """Until when something must be done or may last: elapsed `hours` from the EARLIEST start."""
    if start is None:
        return unknown("The moment from which the hours are counted is not recorded.")
    return _after(start, hours, Bound.EARLIEST)


def refrigerate_by(
    custody: Moment, hours: int, *, unless_start_within: int, planned_start: datetime | None
) -> Due:
    """Until when a body must be refrigerated, unless the cremation begins soon enough.

    California HSC 8346: within 2 hours of custody, unless it will begin within 24 hours of
    custody. Without a planned start the duty stands. All hours are elapsed, from the EARLIEST.
    """
    soon = within(custody, unless_start_within)
    if planned_start is not None and not soon.broken(planned_start):
        return no_limit(f"The start is planned within {unless_start_within} hours of custody.")
    due = within(custody, hours)
    return replace(due, why=f"{due.why} No start is planned within {unless_start_within} hours.")


def later_of(*waits: Due) -> Due:
    """The wait that ends last; unknown if one of them is. Raises ValueError without any."""
    if not waits:
        raise ValueError("there is no wait to compare")
    for wait in waits:
        if wait.kind is Kind.UNKNOWN:
            return wait
    return max(waits, key=lambda wait: wait.at or datetime.min.replace(tzinfo=UTC))


def _after(start: Moment, hours: int, bound: Bound) -> Due:
    at = start.latest if bound is Bound.LATEST else start.earliest
    return Due(Kind.AT, at + timedelta(hours=hours), *bound_and_why(start, bound, f"{hours} hours"))


def bound_and_why(start: Moment, bound: Bound, span: str) -> tuple[Bound, str]:
    """The bound that was in truth used, and the sentence that says so."""
    if start.exact:
        return Bound.EXACT, f"{span} from the recorded time."
    reason = f", because {start.known_as}" if start.known_as else ""
    return bound, f"{span} from the {bound.value} possible time{reason}."
