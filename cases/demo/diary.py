"""When things happened: office hours and the retorts' days, counted back from now. Pure."""

from dataclasses import dataclass
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

OPENS, CLOSES = time(8, 30), time(16, 30)
SUNDAY = 6
DAYS = 11
# Charges of one working day: time, and which retort (0 or 1).
CHARGES = ((time(8, 0), 0), (time(8, 20), 1), (time(12, 30), 0))


@dataclass(frozen=True)
class Slot:
    """One charge: when, and in which retort (its position in the list of retorts)."""

    at: datetime
    retort: int


def office(at: datetime, zone: ZoneInfo) -> datetime:
    """Return the nearest time not later than `at` within office hours; an early hour moves back."""
    local = at.astimezone(zone)
    if local.time() < OPENS:
        local = datetime.combine(local.date() - timedelta(days=1), time(15, local.minute), zone)
    elif local.time() > CLOSES:
        local = datetime.combine(local.date(), time(15, local.minute), zone)
    while local.weekday() == SUNDAY:
        local = datetime.combine(local.date() - timedelta(days=1), local.time(), zone)
    return local


def next_working_day(at: datetime, zone: ZoneInfo, minutes: int) -> datetime:
    """Return `minutes` after ten o'clock on the working day after `at`."""
    day = at.astimezone(zone).date() + timedelta(days=1)
    while day.weekday() == SUNDAY:
        day += timedelta(days=1)
    return datetime.combine(day, time(10, 0), zone) + timedelta(minutes=minutes)


def slots(now: datetime, zone: ZoneInfo) -> list[Slot]:
    """Return the charges of the last working days before today, oldest first."""
    today = now.astimezone(zone).date()
    days = [today - timedelta(days=back) for back in range(DAYS, 0, -1)]
    return [
        Slot(datetime.combine(day, at, zone), retort)
        for day in days
        if day.weekday() != SUNDAY
        for at, retort in CHARGES
    ]
