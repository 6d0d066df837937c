"""A time of death as it is known: to the minute, between two times, or only the day.

What is printed or sealed never says more than what is known.
"""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from cases import deadlines
from cases.errors import ActRefused
from cases.models import Case
from crematory.templatetags.crematory import long_day, when

Known = Case.DeathKnown


@dataclass(frozen=True)
class Death:
    """What was stated of a time of death; times are aware. `latest` None: to the minute."""

    earliest: datetime
    latest: datetime | None = None
    known_as: str = Known.EXACT

    def columns(self) -> dict[str, Any]:
        """Return the columns of the case that hold it."""
        return {
            "died_at": self.earliest,
            "died_at_latest": self.latest,
            "died_known_as": self.known_as,
        }

    def sealed(self, zone: ZoneInfo) -> str:
        """Return it as the trail keeps it: a time, two times with a stroke, or a day."""
        if self.known_as == Known.DATE:
            return self.earliest.astimezone(zone).date().isoformat()
        if self.latest is None:
            return self.earliest.isoformat()
        return f"{self.earliest.isoformat()}/{self.latest.isoformat()}"


def exactly(at: datetime) -> Death:
    """A death whose time is known to the minute."""
    return Death(at)


def between(earliest: datetime, latest: datetime) -> Death:
    """A death between two times."""
    return Death(earliest, latest, Known.RANGE)


def on_day(day: date, zone: ZoneInfo) -> Death:
    """A death of which only the local day is known. Raises TimeDoesNotExist."""
    moment = deadlines.on_day(day, zone)
    return Death(moment.earliest, moment.latest, Known.DATE)


def check(death: Death, discovered_at: datetime | None, now: datetime) -> None:
    """Refuse a death in the future, and a person who was found before or in the future.

    The end of the day, where only the day is known, may lie ahead.
    """
    last = death.earliest if death.latest is None else death.latest
    if death.earliest > now or (death.known_as == Known.RANGE and last > now):
        raise ActRefused("time_future", "The time of death lies in the future. Correct it.")
    if discovered_at and discovered_at > now:
        raise ActRefused("time_future", "The time of discovery lies in the future. Correct it.")
    if discovered_at and discovered_at < death.earliest:
        raise ActRefused("found_before_death", "The person was found before the death.")


def of(case: Case) -> Death:
    """The death as the case has it."""
    return Death(case.died_at, case.died_at_latest, case.died_known_as)


def words(death: Death, zone: ZoneInfo) -> str:
    """Return it for people: "Sun 1 Mar 2026, only the day is known"."""
    if death.known_as == Known.DATE:
        return f"{long_day(death.earliest.astimezone(zone).date())}, only the day is known"
    if death.latest is None:
        return when(death.earliest)
    return f"between {when(death.earliest)} and {when(death.latest)}"


def read_words(sealed: str) -> str:
    """Return a sealed time of death for people. Raises ValueError for any other text."""
    if "/" in sealed:
        return "between {} and {}".format(
            *(when(datetime.fromisoformat(part)) for part in sealed.split("/", 1))
        )
    if len(sealed) == len("2026-03-01"):
        return f"{long_day(date.fromisoformat(sealed))}, only the day is known"
    return when(datetime.fromisoformat(sealed))


def as_cell(death: Death, zone: ZoneInfo) -> str:
    """Return it for a table of another program: ISO 8601 in the zone, never more than is known."""

    def local(at: datetime) -> str:
        return at.astimezone(zone).isoformat(timespec="minutes")

    if death.known_as == Known.DATE:
        return death.earliest.astimezone(zone).date().isoformat()
    if death.latest is None:
        return local(death.earliest)
    return f"{local(death.earliest)}/{local(death.latest)}"
