"""Acts at the machine that are no step: entering a reading by hand."""

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from chain_of_custody import trail
from crematory import clock
from crematory.models import Role, StaffMember
from retort_log import selectors
from retort_log.doubts import Limits, Temperatures, doubts
from retort_log.models import Reading, Retort
from retort_log.refusals import MachineRefused, refusals_recorded

READERS = frozenset({Role.OPERATOR, Role.MANAGER})
MINUTE = timedelta(minutes=1)


class ReadingRefused(MachineRefused):
    """A reading that cannot be stored."""


class ReadingDoubted(ReadingRefused):
    """A reading that looks wrong beside its neighbours; stored once somebody confirms it."""

    is_question = True

    def __init__(
        self, found: tuple[str, ...], new: Temperatures, neighbour: selectors.Standing | None
    ) -> None:
        super().__init__("reading_doubted", "Is this right? Look again, and confirm it.")
        self.doubts = found
        self.new = new
        self.neighbour = neighbour  # beside which it looks wrong; None where it does by itself


def where(retort: Retort) -> dict[str, Any]:
    """Return what a refusal at this retort says beside its reason."""
    return {"retort": retort.place.code}


def record_reading(
    retort: Retort,
    member: StaffMember,
    primary_c: Decimal,
    secondary_c: Decimal,
    at: datetime | None = None,
    *,
    is_confirmed: bool = False,
) -> Reading:
    """Store a reading (°C) taken at `at` (default now); one a minute and retort at the most.

    A second submission with the same values and minute is answered with the first reading.
    Raises ReadingRefused; ReadingDoubted where the values look wrong and nobody confirmed them.
    """
    with refusals_recorded(retort.facility, "record_reading", member, where(retort)):
        Retort.objects.select_for_update(no_key=True).get(pk=retort.pk)
        now = clock.now()  # under the lock: what this waited for was read before
        at = at or now
        _check_reader(retort, member, at, now)
        if near := _of_this_minute(retort, at):
            if (near.reading.primary_c, near.reading.secondary_c) == (primary_c, secondary_c):
                return near.reading
            raise _taken(near)
        found = question(retort, Temperatures(at, primary_c, secondary_c), is_confirmed)
        reading = Reading.objects.create(
            retort=retort, at=at, primary_c=primary_c, secondary_c=secondary_c, read_by=member
        )
        _append(reading, now, found)
    return reading


def _check_reader(retort: Retort, member: StaffMember, at: datetime, now: datetime) -> None:
    if member.facility_id != retort.facility_id or not member.roles & READERS:
        raise ReadingRefused("reading_role", "Readings are entered by an operator of this house.")
    if at > now:
        raise ReadingRefused(
            "time_future", "The time of the reading lies in the future. Correct it."
        )


def _append(reading: Reading, now: datetime, found: tuple[str, ...]) -> None:
    retort = reading.retort
    trail.append(
        trail.Act(
            facility=retort.facility,
            name="record_reading",
            happened_at=reading.at,
            recorded_at=now,
            signed_by=reading.read_by,
            signature="session",
            facts={
                "retort": retort.place.code,
                "primary_c": format(reading.primary_c, "f"),
                "secondary_c": format(reading.secondary_c, "f"),
                **({"confirmed_although": list(found)} if found else {}),
            },
        )
    )


def question(
    retort: Retort,
    new: Temperatures,
    is_confirmed: bool,
    apart_from: Reading | None = None,
) -> tuple[str, ...]:
    """Return what is doubtful about these values; raise ReadingDoubted unless it is confirmed."""
    around = selectors.neighbours(retort, new.at, apart_from)
    beside = {n.pk: Temperatures(n.at, n.primary_c, n.secondary_c) for n in around}
    limits = Limits(retort.sweep_limit_c, retort.permit.charging_temperature_c)
    found = doubts(new, list(beside.values()), limits)
    if found and not is_confirmed:
        doubted = (n for n in around if doubts(new, [beside[n.pk]], limits))
        raise ReadingDoubted(found, new, next(doubted, None))
    return found


def _of_this_minute(retort: Retort, at: datetime) -> selectors.Standing | None:
    minute = at.replace(second=0, microsecond=0)
    rows = Reading.objects.filter(retort=retort, at__gte=minute, at__lt=minute + MINUTE)
    return next(iter(selectors.standing(rows[:1])), None)


def _taken(near: selectors.Standing) -> ReadingRefused:
    if near.is_withdrawn:
        return ReadingRefused(
            "reading_withdrawn",
            "A reading of this minute was withdrawn. Correct that one to the right values.",
        )
    return ReadingRefused(
        "reading_minute",
        "There is a reading of this minute already. Enter the next one in a minute, or correct "
        "that one.",
    )
