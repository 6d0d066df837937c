"""Is the disc that was read this person's? And whose is it, where it is not."""

from cases import scans
from cases.gates.base import Answer, Situation, passed, wrong_person
from cases.models import Case, DiscReplaced, IdDisc

STOP = "stop; compare container, disc and paperwork before anything else"


def given_to(facility: int, number: str) -> Case | None:
    """Return the case to which this disc was ever given, also one that lies with it no more."""
    for model, field in ((IdDisc, "number"), (DiscReplaced, "old_number")):
        rows = model._default_manager.filter(facility=facility, **{field: number})
        if row := rows.select_related("case").first():
            case: Case = row.case
            return case
    return None


def whose(s: Situation, number: str) -> str:
    """Return whose disc this is, as far as needed to act: the number of the case."""
    case = given_to(s.case.facility_id, number)
    if case is None:
        return "no case has this disc"
    if case.disc.number == number:
        return f"it is the disc of case {case.number}"
    return f"it was the disc of case {case.number} until another was tied in its place"


def matches(s: Situation, scan: str, who: str = STOP) -> Answer:
    """Pass where the disc is this person's; else stop everything.

    The right number is never said: it must be read from the disc, not from the screen.
    """
    read = scans.disc(scan)
    if read == s.case.disc.number:
        return passed()
    return wrong_person(f"WRONG DISC. Read “{read or scan}”: {whose(s, read)}.", who)
