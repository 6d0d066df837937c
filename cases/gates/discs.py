"""Is the disc that was read this person's? And whose is it, where it is not."""

from cases import scans
from cases.gates.base import Answer, Situation, passed, wrong_person
from cases.models import IdDisc

STOP = "stop; compare container, disc and paperwork before anything else"


def whose(s: Situation, number: str) -> str:
    """Return whose disc this is, as far as needed to act: the number of the case."""
    disc = IdDisc.objects.filter(facility=s.case.facility, number=number).select_related("case")
    found = disc.first()
    return f"it is the disc of case {found.case.number}" if found else "no case has this disc"


def matches(s: Situation, scan: str, who: str = STOP) -> Answer:
    """Pass where the disc is this person's; else stop everything.

    The right number is never said: it must be read from the disc, not from the screen.
    """
    read = scans.disc(scan)
    if read == s.case.disc.number:
        return passed()
    return wrong_person(f"WRONG DISC. Read “{read or scan}”: {whose(s, read)}.", who)
