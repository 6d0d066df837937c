"""Clocks that run in local days and years: unclaimed remains, shipping, retention. Pure.

Day N is the day of the event plus N days. Where a text lets something happen "after a period of
N days", it is allowed once day N has ended; where it names the day itself ("not earlier than the
121st day"), from the beginning of that day. Both are engineering choices, stated in each answer.
"""

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

from cases.deadlines import Bound, Due, Kind, Moment, bound_and_why, start_of, unknown


class Counting(StrEnum):
    """Whether a period of days runs to the end of a day or to the clock time of the event."""

    DAY = "day"
    TIME = "time"  # Florida 497.607(3): "from the time of cremation"


class Earliest(StrEnum):
    """When the period counts as over, for Counting.DAY."""

    AFTER_DAY = "after_day"
    ON_DAY = "on_day"


def free_from(
    start: Moment | None,
    days: int,
    zone: ZoneInfo,
    counting: Counting = Counting.DAY,
    earliest: Earliest = Earliest.AFTER_DAY,
) -> Due:
    """From when something may be done that must wait `days` local days, from the LATEST start."""
    if start is None:
        return unknown("The moment from which the days are counted is not recorded.")
    local = start.latest.astimezone(zone)
    span = f"{days} days in {zone.key}"
    if counting is Counting.TIME:
        at, span = _same_clock_time(local, days, zone), f"{span}, to the time of day,"
    else:
        extra = 1 if earliest is Earliest.AFTER_DAY else 0
        at = start_of(_last_day(start, zone) + timedelta(days=days + extra), zone)
        span += " that must have ended," if extra else ", the last of which is free,"
    return Due(Kind.AT, at, *bound_and_why(start, Bound.LATEST, span))


def free_after_notice(
    first: Due,
    notice: Moment | None,
    days: int,
    zone: ZoneInfo,
    earliest: Earliest = Earliest.AFTER_DAY,
) -> Due:
    """From when something may be done that waits for one clock, then for `days` from a notice.

    A notice given before the first clock ran out counts only from there. Washington WAC
    308-47-070: ninety days of possession, then sixty from the start of contact.
    """
    if first.kind is Kind.UNKNOWN:
        return first
    if notice is None:
        return unknown("The notice from which the days are counted is not recorded.")
    floor = first.at or notice.earliest
    counted = replace(
        notice,
        earliest=max(notice.earliest, floor),
        latest=max(notice.latest, floor),
        open_end=notice.open_end and notice.latest > floor,
    )
    return free_from(counted, days, zone, earliest=earliest)


@dataclass(frozen=True)
class DayDue:
    """A local day that a rule names; None means that there is none, for the reason in `why`."""

    on: date | None
    bound: Bound
    why: str


def not_later_than(start: Moment, days: int, zone: ZoneInfo) -> DayDue:
    """The last local day of a term of `days`, from the EARLIEST start (Texas: ship by day 30)."""
    on = start.earliest.astimezone(zone).date() + timedelta(days=days)
    return DayDue(on, *bound_and_why(start, Bound.EARLIEST, f"{days} days in {zone.key}"))


def not_later_than_years(start: Moment, years: int, zone: ZoneInfo) -> DayDue:
    """The last local day of a term of years, from the EARLIEST start; 29 Feb ends on 28 Feb."""
    on = anniversary(start.earliest.astimezone(zone).date(), years, late=False)
    return DayDue(on, *bound_and_why(start, Bound.EARLIEST, _years(years, zone)))


def keep_through(start: Moment, years: int, zone: ZoneInfo) -> DayDue:
    """The last local day on which a record must be kept, from the LATEST start.

    The anniversary of 29 Feb in a common year is 1 Mar: the record is kept a day too long
    rather than too short.
    """
    on = anniversary(_last_day(start, zone), years, late=True)
    return DayDue(on, *bound_and_why(start, Bound.LATEST, _years(years, zone)))


def keep_through_calendar(start: Moment, years: int, zone: ZoneInfo) -> DayDue:
    """The last day of calendar years in which a record must be kept, from the LATEST start.

    The year of the event itself is no whole one, so that it is not counted: an engineering choice
    where the text does not say (Kansas K.A.R. 63-7-2(d)), which keeps a record rather too long.
    """
    on = date(_last_day(start, zone).year + years, 12, 31)
    span = f"{years} calendar years in {zone.key}, without the year of the event,"
    return DayDue(on, *bound_and_why(start, Bound.LATEST, span))


def keep_for_ever() -> DayDue:
    """A permanent record has no day on which it may be destroyed."""
    return DayDue(None, Bound.EXACT, "The record is permanent.")


def anniversary(day: date, years: int, *, late: bool) -> date:
    """The same day `years` later; 29 Feb in a common year is 1 Mar if `late`, else 28 Feb."""
    try:
        return day.replace(year=day.year + years)
    except ValueError:
        return date(day.year + years, 3, 1) if late else date(day.year + years, 2, 28)


def _last_day(start: Moment, zone: ZoneInfo) -> date:
    """The last local day on which the moment can have been."""
    least = timedelta(microseconds=1) if start.open_end else timedelta(0)
    return (start.latest - least).astimezone(zone).date()


def _same_clock_time(local: datetime, days: int, zone: ZoneInfo) -> datetime:
    """The same time on the wall days later, in UTC; shown twice or skipped: the later instant."""
    wall = local.replace(tzinfo=None) + timedelta(days=days)
    return max(wall.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1))


def _years(years: int, zone: ZoneInfo) -> str:
    return f"{years} {'year' if years == 1 else 'years'} in {zone.key}"
