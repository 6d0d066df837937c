"""Putting a reading right that was typed wrongly, or withdrawing it.

The reading stays as it was typed, and what a gate accepted on its strength stays on record. From
the correction on, gates and pages use the new values; the entry in the trail holds both.
"""

from dataclasses import dataclass
from decimal import Decimal

from django.db.models import Q

from chain_of_custody import trail
from chain_of_custody.models import CustodyEntry
from crematory import clock
from crematory.models import StaffMember
from crematory.signatures import Signature
from retort_log import selectors
from retort_log.acts import READERS, ReadingRefused, question, where
from retort_log.doubts import FRESH, Temperatures
from retort_log.models import Reading, ReadingCorrection, Retort, Run
from retort_log.refusals import refusals_recorded

WHY_LENGTH = 500


@dataclass(frozen=True)
class RightValues:
    """What the reading should have said, in °C; `is_confirmed` where it was questioned."""

    primary_c: Decimal
    secondary_c: Decimal
    is_confirmed: bool = False


def correct_reading(
    reading: Reading, signed_by: Signature, why: str, right: RightValues | None
) -> ReadingCorrection:
    """Append a correction; `right` None withdraws the reading, which then counts as not there.

    A second submission of the same correction is answered with the first. Raises ReadingRefused,
    or ReadingDoubted where the new values look wrong beside their neighbours.
    """
    member = signed_by.member
    house, place = reading.retort.facility, where(reading.retort)
    with refusals_recorded(house, "correct_reading", member, place):
        _check_corrector(reading, member, why)
        retort = Retort.objects.select_for_update(no_key=True).get(pk=reading.retort_id)
        old = selectors.standing([reading])[0]
        if _is_repeated(old, signed_by, why.strip(), right):
            assert old.newest is not None
            return old.newest
        _check_change(old, right)
        found: tuple[str, ...] = ()
        if right:
            new = Temperatures(reading.at, right.primary_c, right.secondary_c)
            found = question(retort, new, right.is_confirmed, apart_from=reading)
        correction = ReadingCorrection.objects.create(
            reading=reading,
            retort=retort,
            ordinal=len(old.corrections) + 1,
            is_withdrawn=right is None,
            old_primary_c=old.primary_c,
            old_secondary_c=old.secondary_c,
            primary_c=right.primary_c if right else old.primary_c,
            secondary_c=right.secondary_c if right else old.secondary_c,
            why=why.strip(),
            corrected_at=clock.now(),
            corrected_by=member,
        )
        _append(correction, old, found)
    return correction


def _check_corrector(reading: Reading, member: StaffMember, why: str) -> None:
    if member.facility_id != reading.retort.facility_id or not member.roles & READERS:
        raise ReadingRefused(
            "reading_role", "A reading is corrected by an operator or a manager of this house."
        )
    if not why.strip():
        raise ReadingRefused("reason_missing", "Say why the reading is corrected.")


def _is_repeated(
    old: selectors.Standing, signed_by: Signature, why: str, right: RightValues | None
) -> bool:
    last = old.newest
    if last is None or (last.corrected_by, last.why) != (signed_by.member, why):
        return False
    if right is None:
        return last.is_withdrawn
    same = (last.primary_c, last.secondary_c) == (right.primary_c, right.secondary_c)
    return same and not last.is_withdrawn


def _check_change(old: selectors.Standing, right: RightValues | None) -> None:
    if right is None:
        if old.is_withdrawn:
            raise ReadingRefused("reading_withdrawn", "This reading was withdrawn already.")
        return
    if not old.is_withdrawn and (old.primary_c, old.secondary_c) == (
        right.primary_c,
        right.secondary_c,
    ):
        raise ReadingRefused("unchanged", "The new values are the same as the old ones.")


def run_of(reading: Reading) -> Run | None:
    """Return the run that this reading belongs to: the one whose gate it opened, or then burned."""
    # A reading opens the gate of a charge while it is fresh; then it belongs to that run.
    runs = Run.objects.filter(retort=reading.retort_id).select_related("case")
    opened = runs.filter(Q(charge_reading=reading) | Q(recovery_reading=reading)).first()
    during = runs.filter(charged_at__lte=reading.at + FRESH).filter(
        Q(ended_at__isnull=True) | Q(ended_at__gte=reading.at)
    )
    return opened or during.order_by("charged_at").first()


def _append(
    correction: ReadingCorrection, old: selectors.Standing, found: tuple[str, ...]
) -> CustodyEntry:
    reading, retort = correction.reading, correction.retort
    trail.lock_log(retort.facility)  # a charge holds it too: the run is there, or comes later
    run = run_of(reading)
    new = {
        "new_primary_c": format(correction.primary_c, "f"),
        "new_secondary_c": format(correction.secondary_c, "f"),
    }
    return trail.append(
        trail.Act(
            facility=retort.facility,
            name="correct_reading",
            happened_at=correction.corrected_at,
            recorded_at=correction.corrected_at,
            case=run.case if run else None,
            signed_by=correction.corrected_by,
            signature="pin",
            facts={
                "retort": retort.place.code,
                "read_at": reading.at.isoformat(),
                "old_primary_c": format(old.primary_c, "f"),
                "old_secondary_c": format(old.secondary_c, "f"),
                "is_withdrawn": correction.is_withdrawn,
                **({} if correction.is_withdrawn else new),
                **({"confirmed_although": list(found)} if found else {}),
                "why": trail.Sealed(correction.why),
            },
        )
    )
