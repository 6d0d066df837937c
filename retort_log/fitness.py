"""Taking a retort out of use, and back into use: a manager's act with its reason."""

from django.db import transaction

from chain_of_custody import trail
from chain_of_custody.models import CustodyEntry
from crematory import clock
from crematory.models import Role
from crematory.signatures import Signature
from retort_log.models import Retort


class FitnessRefused(Exception):
    """The statement cannot be recorded; the text says what to do."""


def state_fitness(
    retort: Retort, signed_by: Signature, *, is_fit: bool, reason: str
) -> CustodyEntry:
    """Record that a retort is fit for use or not, and why. Raises FitnessRefused."""
    member = signed_by.member
    if member.facility_id != retort.facility_id or Role.MANAGER not in member.roles:
        raise FitnessRefused("A manager of this facility states whether a retort is fit.")
    if not reason.strip():
        raise FitnessRefused("Say why.")
    now = clock.now()
    with transaction.atomic():
        locked = Retort.objects.select_for_update(no_key=True).get(pk=retort.pk)
        locked.is_fit = is_fit
        locked.unfit_reason = "" if is_fit else reason.strip()
        locked.save(update_fields=["is_fit", "unfit_reason"])
        return trail.append(
            trail.Act(
                facility=retort.facility,
                name="state_fitness",
                happened_at=now,
                recorded_at=now,
                signed_by=member,
                signature="pin",
                facts={
                    "retort": locked.place.code,
                    "is_fit": is_fit,
                    "reason": trail.Sealed(reason.strip()),
                },
            )
        )
