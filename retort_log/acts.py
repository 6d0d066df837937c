"""Acts at the machine that are no step: entering a reading by hand."""

from datetime import datetime, timedelta
from decimal import Decimal

from django.db import transaction

from chain_of_custody import trail
from crematory import clock
from crematory.models import Role, StaffMember
from retort_log.models import Reading, Retort


class ReadingRefused(Exception):
    """A reading that cannot be stored; the text says what to do."""


def record_reading(
    retort: Retort,
    member: StaffMember,
    primary_c: Decimal,
    secondary_c: Decimal,
    at: datetime | None = None,
) -> Reading:
    """Store a reading (°C) taken at `at` (default now); one a minute and retort at the most.

    A second submission with the same values and minute is answered with the first reading.
    """
    now = clock.now()
    at = at or now
    if member.facility_id != retort.facility_id or not member.roles & {Role.OPERATOR, Role.MANAGER}:
        raise ReadingRefused("Readings are entered by an operator of this facility.")
    if at > now:
        raise ReadingRefused("The time of the reading lies in the future. Correct it.")
    with transaction.atomic():
        Retort.objects.select_for_update(no_key=True).get(pk=retort.pk)
        near = Reading.objects.filter(
            retort=retort, at__gt=at - timedelta(minutes=1), at__lt=at + timedelta(minutes=1)
        ).first()
        if near:
            if (near.primary_c, near.secondary_c) == (primary_c, secondary_c):
                return near
            raise ReadingRefused(
                "There is a reading of this minute already. Enter the next one in a minute."
            )
        reading = Reading.objects.create(
            retort=retort, at=at, primary_c=primary_c, secondary_c=secondary_c, read_by=member
        )
        trail.append(
            trail.Act(
                facility=retort.facility,
                name="record_reading",
                happened_at=at,
                recorded_at=now,
                signed_by=member,
                signature="session",
                facts={
                    "retort": retort.place.code,
                    "primary_c": format(primary_c, "f"),
                    "secondary_c": format(secondary_c, "f"),
                },
            )
        )
    return reading
