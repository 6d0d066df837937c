"""Gates from the door to the disc: receive, authorize, clear devices, assign the disc."""

from django.utils import timezone

from cases import identity, right, scans
from cases.authority import Outcome, explain
from cases.gates.base import Answer, Situation, asked, gate, passed, refused
from cases.law import paper_words
from cases.models import DeviceAnswer, IdDisc
from cases.names import fold
from chain_of_custody.models import Place, Placement

OFFICE = "front office"
OPERATOR = "operator"
HAZARDOUS = frozenset(d.value for d in DeviceAnswer.Device) - {"radioactive"}


@gate("No hold")
def no_hold(s: Situation) -> Answer:
    # Rows of the case are read whole, so that a page may have fetched them once for all gates.
    hold = next((hold for hold in s.case.holds.all() if hold.lifted_at is None), None)
    if hold is None:
        return passed()
    since = timezone.localtime(hold.opened_at, s.case.facility.zone)
    return refused(
        f"On hold since {since:%a} {since.day} {since:%b %Y %H:%M %Z} "
        f"by {hold.opened_by.printed_name}: {hold.ground}",
        "a manager lifts it with a reason",
    )


@gate("Identity band compared since the last correction")
def band_compared(s: Situation) -> Answer:
    found = identity.uncompared(s.case)
    if found is None:
        return passed()
    correction, what = found
    at = timezone.localtime(correction.recorded_at, s.case.facility.zone)
    return refused(
        f"The {what} was corrected on {at:%a} {at.day} {at:%b %Y %H:%M %Z}; compare the identity "
        "band again.",
        "front office or operator reads the band and compares it, with a second person",
    )


@gate("Identity band agrees with the paperwork")
def identity_band(s: Situation) -> Answer:
    if s.facts is None:
        return asked("Read the name from the identity band; a second person reads it too.")
    if fold(s.facts.band_reads) == fold(s.case.decedent_name):
        return passed()
    return refused(
        f"The band reads “{s.facts.band_reads}”, the paperwork says “{s.case.decedent_name}”.",
        "do not accept; call the sender, or have a manager correct the name as announced",
    )


@gate("Delivered by a named person and firm")
def deliverer_named(s: Situation) -> Answer:
    if s.facts is None:
        return asked("Name the driver and the firm.")
    if s.facts.delivered_by.strip() and s.facts.firm.strip():
        return passed()
    return refused("The driver or the firm is not named.", OFFICE)


@gate("Container closed, rigid, leak-proof and combustible")
def container_fit(s: Situation) -> Answer:
    if s.facts is None:
        return asked("Check the cremation container on all sides.")
    tests = {
        "closed": s.facts.is_closed,
        "rigid": s.facts.is_rigid,
        "leak-proof": s.facts.is_leak_proof,
        "combustible": s.facts.is_combustible,
    }
    failed = [name for name, holds in tests.items() if not holds]
    if not failed:
        return passed()
    return refused(
        f"The container is not {', not '.join(failed)}.",
        "the sender gives another container, or the person is not accepted",
    )


@gate("Mass of person and container")
def body_mass_stated(s: Situation) -> Answer:
    if s.facts is None:
        return asked("Weigh the person in the container.")
    if 0 < s.facts.mass_kg <= 1000:
        return passed()
    return refused("The mass must lie between 0 and 1,000 kg.", "weigh again")


@gate("Belongings listed")
def belongings_listed(s: Situation) -> Answer:
    if s.facts is None:
        return asked("List what came with the person, or write “none”.")
    if s.facts.belongings.strip():
        return passed()
    return refused("Nothing is written about belongings.", "write the list, or “none”")


def _place_answer(s: Situation, kind: str) -> Answer:
    """Answer for a gate that needs a free place of this kind."""
    label = Place.Kind(kind).label
    taken = Placement.objects.filter(until__isnull=True).values("place")
    free = Place.objects.filter(facility=s.case.facility, kind=kind, is_in_use=True).exclude(
        pk__in=taken
    )
    if s.facts is None:
        if free.exists():
            return asked(f"Choose a free {label}.")
        return refused(f"No {label} is free.", "make one free, or a manager adds one")
    if free.filter(pk=s.facts.place.pk).exists():
        return passed()
    return refused(f"{s.facts.place} is not a free {label}.", "choose another")


@gate("A free cooler bay")
def free_bay(s: Situation) -> Answer:
    return _place_answer(s, Place.Kind.BAY)


@gate("A free recovery tray")
def free_tray(s: Situation) -> Answer:
    return _place_answer(s, Place.Kind.TRAY)


@gate("A free shelf")
def free_shelf(s: Situation) -> Answer:
    return _place_answer(s, Place.Kind.SHELF)


@gate("Every required paper on file")
def documents_on_file(s: Situation) -> Answer:
    on_file = {document.kind for document in s.case.documents.all()}
    missing = [rule for rule in s.case.law.documents if rule.kind not in on_file]
    citation = "; ".join(rule.citation for rule in missing or s.case.law.documents)
    if not missing:
        return passed(citation=citation)
    names = ", ".join(paper_words(rule.kind) for rule in missing)
    return refused(
        f"Not on file: {names}.",
        f"{OFFICE}, from {s.case.sender}",
        citation=citation,
        since=s.case.announced_at,
    )


@gate("Authorized by those who have the right")
def authorizing_agent(s: Situation) -> Answer:
    answer = right.answer_for(s.case)
    citation = s.case.law.authority.citation
    if right.is_authorized(s.case, answer):
        return passed(citation=citation)
    return refused(
        " ".join(explain(answer)),
        "a manager, who asks the local authority"
        if answer.outcome is Outcome.UNDECIDED
        else f"{OFFICE}, with the family",
        citation=citation,
        since=s.case.announced_at,
    )


@gate("Nobody objects")
def no_dispute(s: Situation) -> Answer:
    answer = right.answer_for(s.case)
    if not answer.objectors:
        return passed()
    names = " and ".join(person.name for person in answer.objectors)
    objection = answer.objectors[0].objection
    return refused(
        f"{names} objects." if len(answer.objectors) == 1 else f"{names} object.",
        "a court order, a signed agreement or a written withdrawal, recorded by a manager",
        since=objection.at if objection else answer.objectors[0].withdrew_at,
    )


@gate("Disposition named")
def disposition_named(s: Situation) -> Answer:
    if s.case.disposition:
        return passed(s.case.get_disposition_display())
    return refused(
        "What becomes of the cremated remains is not named.", OFFICE, since=s.case.announced_at
    )


@gate("Recipient named")
def recipients_named(s: Situation) -> Answer:
    if s.case.recipients.all():
        return passed()
    return refused(
        "Nobody is named to receive the cremated remains.",
        f"{OFFICE}, with the agent",
        since=s.case.announced_at,
    )


@gate("Coroner's or medical examiner's clearance")
def medical_clearance(s: Situation) -> Answer:
    law = s.case.law
    if any(d.kind == "medical_clearance" for d in s.case.documents.all()):
        return passed(citation=law.clearance_citation)
    if law.clearance_rule == "always":
        return refused(
            "A clearance is needed for every death.",
            OFFICE,
            citation=law.clearance_citation,
            since=s.case.announced_at,
        )
    if s.case.is_death_reportable is None:
        return refused(
            "It is not stated whether this death must be reported to the coroner.",
            OFFICE,
            citation=law.clearance_citation,
            since=s.case.announced_at,
        )
    if s.case.is_death_reportable:
        return refused(
            "This death is reportable and the coroner's clearance is not on file.",
            f"{OFFICE}, from the coroner",
            citation=law.clearance_citation,
            since=s.case.announced_at,
        )
    return passed("Not a reportable death.", law.clearance_citation)


def newest_answers(s: Situation) -> dict[str, DeviceAnswer]:
    """Return the answer that counts for each device: the newest one."""
    return {answer.device: answer for answer in s.case.device_answers.all()}


@gate("Every device question answered")
def devices_answered(s: Situation) -> Answer:
    answers = newest_answers(s)
    open_ones = [
        device.label
        for device in DeviceAnswer.Device
        if device.value not in answers or answers[device.value].answer == "unknown"
    ]
    if not open_ones:
        return passed()
    return refused(
        f"Not answered, or not known: {', '.join(open_ones)}. “Not known” never passes.",
        f"{OFFICE} asks the family, the physician or the sender",
        since=s.case.announced_at,
    )


@gate("Hazardous devices removed")
def devices_removed(s: Situation) -> Answer:
    left = [
        answer
        for answer in newest_answers(s).values()
        if answer.answer == "yes"
        and answer.device in HAZARDOUS
        and not (answer.removed_by and answer.removed_at and answer.went_to)
    ]
    if not left:
        return passed()
    names = ", ".join(answer.get_device_display() for answer in left)
    return refused(
        f"Present and not recorded as removed: {names}. It would burst in the chamber.",
        "removed by a qualified person before anything else; then record by whom and where it went",
        since=min(answer.answered_at for answer in left),
    )


@gate("Radionuclide wait passed")
def radionuclide_wait(s: Situation) -> Answer:
    answer = newest_answers(s).get("radioactive")
    if answer is None or answer.answer != "yes":
        return passed()
    citation = s.case.law.radioactive_citation
    adviser = "the radiation-protection adviser, in writing"
    if answer.safe_from is None:
        return refused(
            "No date of safe cremation is on file.",
            adviser,
            citation=citation,
            since=answer.answered_at,
        )
    if answer.safe_from > s.now:
        return refused(
            "The wait has not passed.", adviser, answer.safe_from, citation, answer.answered_at
        )
    return passed(citation=citation)


@gate("Jewellery settled")
def jewellery_settled(s: Situation) -> Answer:
    if s.case.jewellery:
        return passed(s.case.get_jewellery_display())
    return refused(
        "It is not settled what becomes of jewellery.",
        f"{OFFICE} or {OPERATOR}",
        since=s.case.announced_at,
    )


@gate("Disc number read twice")
def disc_read_twice(s: Situation) -> Answer:
    if s.facts is None:
        return asked("Read the number from the disc, and read it again.")
    first, second = scans.disc(s.facts.disc_number), scans.disc(s.facts.disc_number_again)
    if first and first == second:
        return passed()
    return refused(
        f"The two readings differ or are no disc number: “{s.facts.disc_number}”, "
        f"“{s.facts.disc_number_again}”.",
        "read the disc again; 1 to 20 letters, digits or hyphens",
    )


@gate("Disc never given before")
def disc_unused(s: Situation) -> Answer:
    if s.facts is None:
        return asked("A disc number is given once and never again.")
    number = scans.disc(s.facts.disc_number)
    if not IdDisc.objects.filter(facility=s.case.facility, number=number).exists():
        return passed()
    return refused(f"Disc {number} was already given.", "take another disc")


@gate("Disc fixed to the container")
def disc_attached(s: Situation) -> Answer:
    if s.facts is None:
        return asked("Fix the disc to the container.")
    if s.facts.is_attached:
        return passed()
    return refused("The disc is not fixed to the container.", OPERATOR)
