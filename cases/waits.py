"""From what is recorded of a case to the end of its wait: which bound counted, why, by what law."""

from cases import deadlines
from cases.law import Jurisdiction, clocks
from cases.law.rules import Waiver
from cases.law.words import GROUNDS, paper_words
from cases.models import Case

# What the end of a wait is read from, so that a page may fetch it once for many persons.
FETCHED = ("documents", "wait_grounds")
CERTIFICATES = ("death_record", "final_death_certificate")
FROM = {
    "death": "death",
    "death_or_discovery": "death or its discovery",
    "certificate": "the time of death on the certificate",
}


def kinds_on_file(case: Case) -> frozenset[str]:
    """Return the kinds of paper on file; of a paper that was replaced only its newest version."""
    papers = list(case.documents.all())
    replaced = {paper.replaces_id for paper in papers}
    return frozenset(paper.kind for paper in papers if paper.pk not in replaced)


def grounds_claimed(case: Case) -> list[str]:
    """Return the grounds for a waiver that stand: the newest statement on each counts."""
    newest = {row.ground: row.is_claimed for row in case.wait_grounds.all()}
    return [ground for ground, is_claimed in newest.items() if is_claimed]


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
    claimed, on_file = grounds_claimed(case), kinds_on_file(case)
    for waiver in case.law.wait.waivers:
        if waiver.is_enforced and waiver.ground in claimed and on_file.issuperset(waiver.needs):
            return waiver
    return None


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
    claimed, on_file = grounds_claimed(case), kinds_on_file(case)
    lacking = []
    for waiver in case.law.wait.waivers:
        if not waiver.is_enforced:
            continue
        missing = [kind for kind in waiver.needs if kind not in on_file]
        wants = [] if waiver.ground in claimed else ["the ground stated"]
        wants += [paper_words(kind) for kind in missing]
        lacking.append(f"{GROUNDS[waiver.ground]} (needs {' and '.join(wants)})")
    return f"Waivers by this law: {'; '.join(lacking)}." if lacking else ""


def waiver_citation(case: Case) -> str:
    """Return where the waiver stands that lifts the wait now; "" where none does."""
    waiver = _standing_waiver(case)
    return f"{waiver.citation}: {GROUNDS[waiver.ground]}" if waiver else ""
