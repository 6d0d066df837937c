"""Taking a retort out of use, and back into use: a manager's act with its reason."""

from django.db import transaction

from chain_of_custody import trail
from chain_of_custody.models import CustodyEntry
from crematory import clock
from crematory.models import Role, StaffMember
from crematory.signatures import Signature
from retort_log.acts import where
from retort_log.models import Retort
from retort_log.refusals import MachineRefused, refusals_recorded


class FitnessRefused(MachineRefused):
    """The statement cannot be recorded."""


def state_fitness(
    retort: Retort, signed_by: Signature, *, is_fit: bool, reason: str
) -> CustodyEntry:
    """Record that a retort is fit for use or not, and why. Raises FitnessRefused."""
    member = signed_by.member
    with refusals_recorded(retort.facility, "state_fitness", member, where(retort)):
        return _state(retort, member, is_fit, reason)


def _state(retort: Retort, member: StaffMember, is_fit: bool, reason: str) -> CustodyEntry:
    if member.facility_id != retort.facility_id or Role.MANAGER not in member.roles:
        raise FitnessRefused("role", "A manager of this facility states whether a retort is fit.")
    if not reason.strip():
        raise FitnessRefused("reason_missing", "Say why.")
    with transaction.atomic():
        locked = Retort.objects.select_for_update(no_key=True).get(pk=retort.pk)
        trail.lock_log(retort.facility)
        now = clock.now()  # under the locks: a charge that this waited for came before
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
