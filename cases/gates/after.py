"""Gates from the processor to the family: process, contain, release, return uncremated."""

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

from cases.facts import label_read
from cases.gates import discs, labels
from cases.gates.base import Answer, Situation, asked, gate, passed, refused, shown
from cases.names import is_same_name
from cases.plausible import expected_for
from crematory.models import Role
from retort_log import settling
from retort_log.containers import Fit, fit
from retort_log.finding import CHECK

OPERATOR = "operator"
# A scale that shows 10 g, read twice a container; common practice, no source.
MASS_TOLERANCE_KG = Decimal("0.050")


@gate("Disc on the tray scanned: this person's")
def disc_on_tray(s: Situation) -> Answer:
    """The remains have left the retort: from here on only the disc says whose they are."""
    if s.facts is None:
        return asked("Scan the disc that lies with the remains on the tray.")
    return discs.matches(s, s.facts.disc_scan)


@gate("What the run's record shows is settled")
def findings_settled(s: Situation) -> Answer:
    """Asked when the remains are out: nobody waits in a hot chamber for a manager's answer."""
    waiting = settling.open_of(s.case.run, s.now)
    if not waiting:
        return passed()
    titles = "; ".join(dict.fromkeys(found.finding.title for found in waiting))
    return refused(
        f"To be settled: {titles}.",
        "a manager reads what was found on the page of the run, and answers it in writing, with "
        "PIN",
        citation=CHECK,
    )


@gate("Processor empty before")
def processor_empty(s: Situation) -> Answer:
    if s.facts is None:
        return asked("Look into the processor: it must be empty and clean.")
    if s.facts.processor_was_empty:
        return passed()
    return refused("The processor was not seen to be empty.", OPERATOR)


@gate("Metal taken out and its fate recorded")
def metal_settled(s: Situation) -> Answer:
    if s.facts is None:
        return asked("Take out metal by hand and magnet; say where it goes.")
    if s.facts.metal_fate.strip():
        return passed()
    return refused("The fate of the metal is not recorded.", OPERATOR)


@gate("Mass plausible for this person")
def mass_plausible(s: Situation) -> Answer:
    limits = expected_for(s.case)
    low, high = (shown(s, kg, "mass") for kg in (limits.lowest_kg, limits.highest_kg))
    text = f"{low} to {high}: {limits.reasoning}"
    if s.facts is None:
        return asked(f"Weigh after processing. Plausible: {text}.")
    if limits.holds(s.facts.mass_kg):
        return passed()
    acceptance = s.facts.acceptance
    if acceptance and s.facts.acceptance_reason.strip():
        member = acceptance.member
        if member == s.signer:
            return refused("The manager who accepts must be another person.", "another manager")
        if Role.MANAGER in member.roles and member.facility_id == s.case.facility_id:
            return passed(f"Accepted by {member.printed_name}.")
        return refused("Only a manager can accept this mass.", "manager")
    return refused(
        f"{shown(s, s.facts.mass_kg, 'mass')} is outside {text}. "
        f"{limits.doubt(s.facts.mass_kg)} The mass alone identifies nobody.",
        "a manager looks at the remains and accepts in writing, with PIN",
    )


@gate("Masses add up")
def masses_add_up(s: Situation) -> Answer:
    whole = s.case.processing.mass_kg
    if s.facts is None:
        return asked(
            f"The containers together must hold {shown(s, whole, 'mass')}, within "
            f"{shown(s, MASS_TOLERANCE_KG, 'mass')}."
        )
    parts = sum((c.mass_kg for c in s.facts.containers), Decimal(0))
    if s.facts.containers and abs(parts - whole) <= MASS_TOLERANCE_KG:
        return passed()
    return refused(
        f"The containers hold {shown(s, parts, 'mass')} together; "
        f"{shown(s, whole, 'mass')} came from the processor.",
        "weigh again; nothing may be left out or added",
    )


@gate("Volumes hold the masses")
def volumes_hold(s: Situation) -> Answer:
    if s.facts is None:
        return asked("Each container must be large enough for what it holds.")
    for position, c in enumerate(s.facts.containers, start=1):
        if fit(c.mass_kg, c.volume_l) == Fit.NO:
            return refused(
                f"Container {position} of {shown(s, c.volume_l, 'volume')} cannot hold "
                f"{shown(s, c.mass_kg, 'mass')}.",
                "use a larger container, or a second one",
            )
    return passed()


@gate("Label of each container scanned: this person's, with the disc")
def label_disc_scanned(s: Situation) -> Answer:
    if refusal := labels.on_record(s):
        return refusal
    if s.facts is None:
        return asked("Print a label for each container, fix one to each, and scan each.")
    return each_labelled(s, [container.label_scan for container in s.facts.containers])


def each_labelled(s: Situation, read: Sequence[str]) -> Answer:
    """Every container carries a label of its own: one that is scanned twice proves one."""
    seen: dict[str, int] = {}
    for position, scan in enumerate(read, start=1):
        if refusal := labels.read(s, scan):
            return replace(refusal, reason=f"Container {position}: {refusal.reason}")
        first = seen.setdefault(label_read(scan), position)
        if first != position:
            return refused(
                f"Container {position}: this label was read on container {first} already.",
                "print a label for each container, fix one to each, and scan each",
            )
    return passed()


@gate("Containers sealed")
def containers_sealed(s: Situation) -> Answer:
    if s.facts is None:
        return asked("Seal every container.")
    if s.facts.are_sealed:
        return passed()
    return refused("The containers are not sealed.", OPERATOR)


@gate("Label on each container says what is so")
def labels_stand(s: Situation) -> Answer:
    fixed = labels.on_containers(s.case)
    stale = labels.superseded(s.case, fixed)
    which = [str(position) for position, number in enumerate(fixed, start=1) if number in stale]
    if not which:
        return passed()
    return refused(
        f"The label on container {', '.join(which)} is superseded: what it says was corrected "
        "after it was fixed.",
        "operator or front office prints a new label for each container, and scans each",
    )


@gate("Recipient named by the authorization")
def recipient_named(s: Situation) -> Answer:
    names = [recipient.name for recipient in s.case.recipients.all()]
    if s.facts is None:
        return asked(f"Named to receive: {', '.join(names)}.")
    if any(is_same_name(s.facts.recipient_name, name) for name in names):
        return passed()
    return refused(
        f"“{s.facts.recipient_name}” is not named. Named: {', '.join(names)}.",
        "do not hand over; the authorizing agent must name this person in writing",
    )


@gate("Identification seen")
def identification_seen(s: Situation) -> Answer:
    if s.facts is None:
        return asked("See the recipient's identification, or the carrier's.")
    if s.facts.identification.strip():
        return passed()
    return refused("No identification is recorded.", "front office")


@gate("Disc number read aloud from paper and container")
def disc_read_aloud(s: Situation) -> Answer:
    if s.facts is None:
        return asked("Read the disc number aloud from paper and container.")
    for words, scan in (("Paper", s.facts.disc_on_paper), ("Container", s.facts.disc_on_container)):
        answer = discs.matches(s, scan, "do not hand over; find the right container")
        if answer.is_wrong_person:
            return replace(answer, reason=f"{words}: {answer.reason}")
    return passed()


@gate("Receipt signed, or carrier and tracking number")
def handed_over(s: Situation) -> Answer:
    if s.facts is None:
        return asked("The recipient signs the receipt, or the carrier's number is recorded.")
    shipped = s.facts.carrier.strip() and s.facts.tracking_number.strip()
    if s.facts.receipt_is_signed or shipped:
        return passed()
    return refused("No signed receipt and no tracking number.", "front office")


@gate("Receipt for the return")
def return_receipt(s: Situation) -> Answer:
    if s.facts is None:
        return asked("Name who takes the person back, why, and have the receipt signed.")
    named = all(
        text.strip() for text in (s.facts.recipient_name, s.facts.identification, s.facts.reason)
    )
    if named and s.facts.receipt_is_signed:
        return passed()
    return refused(
        "Recipient, identification, reason or signed receipt is missing.", "front office"
    )
