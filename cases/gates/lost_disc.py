"""Gates where the disc cannot be read at the recovery, or is not found.

Nobody can say any more by the disc whose remains these are: the run says it, for its retort holds
one person and was empty before. Three persons sign for that, and a new disc says it from then on.
"""

from cases import scans
from cases.gates import discs
from cases.gates.base import Answer, Situation, gate, passed, refused
from crematory.models import Role

OPERATOR = "operator"
ONLY = "Asked only where the disc cannot be read or is not found."


def _not_asked(s: Situation) -> Answer | None:
    """Pass where the disc was read, or while nobody has said anything of it."""
    if s.facts is None:
        return passed(ONLY)
    return None if s.facts.disc_state else passed()


@gate("Photograph of what was found instead of the disc")
def loss_photographed(s: Situation) -> Answer:
    if answer := _not_asked(s):
        return answer
    if s.facts.photograph:
        return passed()
    return refused(
        "There is no photograph.",
        "operator photographs the disc that cannot be read, or the chamber and the remains",
    )


@gate("Recovery without the disc accepted by a manager")
def loss_accepted(s: Situation) -> Answer:
    if answer := _not_asked(s):
        return answer
    acceptance = s.facts.acceptance
    if not acceptance or not s.facts.acceptance_reason.strip():
        return refused(
            "No manager has accepted it with a reason.",
            "a manager looks at chamber and remains, and accepts in writing, with PIN",
        )
    member = acceptance.member
    if Role.MANAGER not in member.roles or member.facility_id != s.case.facility_id:
        return refused("Only a manager can accept this.", "manager")
    if member in (s.signer, s.witness):
        return refused(
            "The manager must be a third person: not who recovers, and not the witness.",
            "another manager, or another witness",
        )
    return passed(f"Accepted by {member.printed_name}.")


@gate("A new disc read twice, never given before, and tied")
def new_disc_tied(s: Situation) -> Answer:
    if answer := _not_asked(s):
        return answer
    first, second = scans.disc(s.facts.disc_number), scans.disc(s.facts.disc_number_again)
    if not first or first != second:
        return refused(
            f"The two readings differ or are no disc number: “{s.facts.disc_number}”, "
            f"“{s.facts.disc_number_again}”.",
            "two persons read the new disc again; 1 to 20 letters, digits or hyphens",
        )
    if case := discs.given_to(s.case.facility_id, first):
        return refused(
            f"Disc {first} was already given, to case {case.number}.", "take another disc"
        )
    if not s.facts.is_attached:
        return refused("The new disc does not lie with the remains.", OPERATOR)
    return passed()
