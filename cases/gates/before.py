"""Gates from the door to the disc: receive, authorize, assign the disc."""

from django.db.models import QuerySet
from django.utils import timezone

from cases import holds, identity, read_before, right, scans
from cases.authority import Outcome, explain
from cases.gates import discs
from cases.gates.base import (
    Answer,
    Situation,
    asked,
    by_law,
    gate,
    passed,
    refused,
)
from cases.models import Hold
from cases.names import fold
from cases.verdicts import DISPUTE, REVIEW
from cases.waits import kinds_on_file
from chain_of_custody.models import Place, Placement

OFFICE = "front office"
OPERATOR = "operator"
CALLS_FOR = {Outcome.DISPUTED: DISPUTE, Outcome.UNDECIDED: REVIEW}
REFEREES = ("medical_referee", "referee_or_coroner")


@gate("No hold")
def no_hold(s: Situation) -> Answer:
    # Rows of the case are read whole, so that a page may have fetched them once for all gates.
    found = holds.open_holds(s.case)
    if not found:
        return passed()
    hold, more = found[0], len(found) - 1
    since = timezone.localtime(hold.opened_at, s.case.facility.zone)
    return refused(
        f"On hold since {since:%a} {since.day} {since:%b %Y %H:%M %Z} "
        f"by {hold.opened_by.printed_name}: {hold.ground}" + (f" And {more} more." if more else ""),
        "a manager lifts it with a reason",
        calls_for=DISPUTE if any(h.kind == Hold.Kind.DISPUTE for h in found) else "",
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


def _free(facility: int, kind: str) -> QuerySet[Place]:
    taken = Placement.objects.filter(until__isnull=True).values("place")
    free = Place.objects.filter(facility=facility, kind=kind, is_in_use=True)
    return free.exclude(pk__in=taken)


def _is_any_free(s: Situation, kind: str) -> bool:
    before = read_before.of(s.case)
    return kind in before.free if before else _free(s.case.facility_id, kind).exists()


def _place_answer(s: Situation, kind: str) -> Answer:
    """Answer for a gate that needs a free place of this kind."""
    label = Place.Kind(kind).label
    if s.facts is None:
        if _is_any_free(s, kind):
            return asked(f"Choose a free {label}.")
        return refused(f"No {label} is free.", "make one free, or a manager adds one")
    if _free(s.case.facility_id, kind).filter(pk=s.facts.place.pk).exists():
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


@gate("Authorized by those who have the right")
def authorizing_agent(s: Situation) -> Answer:
    answer = right.answer_for(s.case)
    citation = by_law(right.citation(s.case))
    if right.is_authorized(s.case, answer):
        return passed(citation=citation)
    return refused(
        " ".join(explain(answer)),
        "a manager, who asks the local authority"
        if answer.outcome is Outcome.UNDECIDED
        else f"{OFFICE}, with the family",
        citation=citation,
        since=s.case.announced_at,
        calls_for=CALLS_FOR.get(answer.outcome, ""),
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
        citation=holds.dispute_law(s.case.law).citation,
        since=objection.at if objection else answer.objectors[0].withdrew_at,
        calls_for=DISPUTE,
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
    """Needed for every death, for a reportable one, or not; "not stated" never passes."""
    rules = s.case.law
    citation = by_law(rules.clearance_citation)
    clearing = {"medical_clearance"}
    if rules.medical_clearance.by in REFEREES:
        clearing.add("referee_authority")  # the referee's authority is the clearance
    if clearing & kinds_on_file(s.case):
        return passed(citation=citation)
    if rules.clearance_rule == "always":
        return _no_clearance(s, "A clearance is needed for every death.", OFFICE, citation)
    if s.case.is_death_reportable is None:
        return _no_clearance(
            s,
            "It is not stated whether this death must be reported to the coroner.",
            OFFICE,
            citation,
        )
    if s.case.is_death_reportable:
        return _no_clearance(
            s,
            "This death is reportable and the coroner's clearance is not on file.",
            f"{OFFICE}, from the coroner",
            citation,
        )
    return passed("Not a reportable death.", citation)


def _no_clearance(s: Situation, reason: str, who: str, citation: str) -> Answer:
    return refused(reason, who, citation=citation, since=s.case.announced_at)


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
    if (case := discs.given_to(s.case.facility_id, number)) is None:
        return passed()
    return refused(f"Disc {number} was already given, to case {case.number}.", "take another disc")


@gate("Disc fixed to the container")
def disc_attached(s: Situation) -> Answer:
    if s.facts is None:
        return asked("Fix the disc to the container.")
    if s.facts.is_attached:
        return passed()
    return refused("The disc is not fixed to the container.", OPERATOR)
