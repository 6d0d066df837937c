"""From what is recorded of a case to the end of its wait: which bound counted, why, by what law."""

from cases import deadlines
from cases.law import Jurisdiction, clocks
from cases.law.rules import Waiver
from cases.law.words import GROUNDS, paper_words
from cases.models import Case, WaitGround

# What the end of a wait is read from, so that a page may fetch it once for many persons.
FETCHED = ("documents", "wait_grounds")
CERTIFICATES = ("death_record", "final_death_certificate")
# Grounds that the agent alone states: no authority is named for them, and no paper.
OF_THE_AGENT = frozenset({"religious_requirement"})
FROM = {
    "death": "death",
    "death_or_discovery": "death or its discovery",
    "certificate": "the time of death on the certificate",
}


def kinds_on_file(case: Case) -> frozenset[str]:
    """Return the kinds of paper on file; of a paper that was replaced only its newest version."""
    papers, replaced = list(case.documents.all()), replaced_papers(case)
    return frozenset(paper.kind for paper in papers if paper.pk not in replaced)


def replaced_papers(case: Case) -> frozenset[int]:
    """Return the numbers of the papers of which a later version is on file."""
    found = (paper.replaces_id for paper in case.documents.all())
    return frozenset(number for number in found if number is not None)


def grounds_claimed(case: Case) -> list[str]:
    """Return the grounds for a waiver that stand: the newest statement on each counts."""
    return list(_claims(case))


def _claims(case: Case) -> dict[str, WaitGround]:
    """Return the newest statement on each ground that is claimed."""
    newest = {row.ground: row for row in case.wait_grounds.all()}
    return {ground: row for ground, row in newest.items() if row.is_claimed}


def wants_its_paper(waiver: Waiver) -> bool:
    """Whether the paper must be chosen on the statement itself, for the law names no kind.

    What an authority gives is seen in writing; nobody's sentence alone lifts the wait for it.
    """
    return not waiver.needs and (waiver.by is not None or waiver.ground not in OF_THE_AGENT)


def house_hours(rules: Jurisdiction) -> int | None:
    """Return the hours that the house asks of itself: a waiver of the law does not lift them."""
    return rules.wait.hours if "wait.hours" in dict(rules.tightened) else None


def grounds_known(case: Case) -> list[str]:
    """Return the grounds on which the law of this case may lift the wait."""
    return [waiver.ground for waiver in case.law.wait.waivers if waiver.is_enforced]


def wait_end(case: Case) -> deadlines.Due:
    """When the wait of this case is over, by its law and by what is on record."""
    wait, on_file = case.law.wait, kinds_on_file(case)
    starts = wait.starts if wait.is_enforced else None
    if waiver := _standing_waiver(case):
        # Before all else: what is waived needs no moment from which to count.
        return deadlines.no_limit(f"The wait is waived: {GROUNDS[waiver.ground]}.")
    if problem := _open_question(case, starts, on_file):
        return deadlines.unknown(problem)
    found = case.discovered_at
    return clocks.wait_ends(
        wait,
        case.death,
        discovery=deadlines.exactly(found) if found else None,
        certified=case.death if starts == "certificate" else None,
        is_provisional="final_death_certificate" not in on_file,
    )


def _standing_waiver(case: Case) -> Waiver | None:
    """Return the waiver that lifts the wait: its ground claimed, and all of its papers on file."""
    rules = case.law
    if house_hours(rules) is not None:
        return None
    return next((w for w in rules.wait.waivers if w.is_enforced and not _lacks(case, w)), None)


def _lacks(case: Case, waiver: Waiver) -> list[str]:
    """Return what the waiver lacks in this case, in words."""
    claim, on_file = _claims(case).get(waiver.ground), kinds_on_file(case)
    wants = [] if claim else ["the ground stated"]
    wants += [paper_words(kind) for kind in waiver.needs if kind not in on_file]
    if wants_its_paper(waiver):
        paper = claim.document_id if claim else None
        if paper is None or paper in replaced_papers(case):
            wants.append("its paper on file, chosen with the ground")
    return wants


def _open_question(case: Case, starts: str | None, on_file: frozenset[str]) -> str:
    """Say what must be recorded before the wait can be counted; "" where nothing is missing."""
    if starts == "certificate" and not on_file.intersection(_certificates(case)):
        return "The wait is counted from the time of death on the certificate, and none is on file."
    if starts == "death_or_discovery" and case.died_at_latest and case.discovered_at is None:
        return "The wait is counted from death or its discovery: when the person was found is open."
    return ""


def _certificates(case: Case) -> set[str]:
    """The papers that show the time of death, with those that the law takes instead of them."""
    kinds = set(CERTIFICATES)
    for paper in case.law.papers:
        if paper.kind in CERTIFICATES and paper.is_enforced:
            kinds.update(paper.alternatives)
    return kinds


def counted(case: Case) -> str:
    """Return in words how the wait is counted: "24 h from death"."""
    return wait_words(case.law)


def wait_words(rules: Jurisdiction) -> str:
    """Return how a law counts the wait; "no wait" where the authority said so."""
    wait = rules.wait
    if wait.hours == 0:
        return "no wait"
    return f"{wait.hours} h from {FROM[wait.starts or 'death']}"


def waiver_words(case: Case) -> str:
    """Say which waivers this law knows, and what each still lacks here; "" where it knows none."""
    rules = case.law
    lacking = [
        f"{GROUNDS[waiver.ground]} (needs {' and '.join(wants)})"
        if wants
        else GROUNDS[waiver.ground]
        for waiver in rules.wait.waivers
        if waiver.is_enforced
        for wants in [_lacks(case, waiver)]
    ]
    if not lacking:
        return ""
    own = house_hours(rules)
    stays = f" This house asks {own} h of itself; no waiver lifts them." if own else ""
    return f"Waivers by this law: {'; '.join(lacking)}.{stays}"


def waiver_citation(case: Case) -> str:
    """Return where the waiver stands that lifts the wait now; "" where none does."""
    waiver = _standing_waiver(case)
    return f"{waiver.citation}: {GROUNDS[waiver.ground]}" if waiver else ""
