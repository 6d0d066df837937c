"""Gates that ask for papers: at the door, at the authorization and at the charge."""

from cases.gates.base import Answer, Situation, by_law, gate, passed, refused
from cases.law import PaperDue, paper_words
from cases.waits import kinds_on_file

OFFICE = "front office"


def _answer(s: Situation, step: str) -> Answer:
    """Answer for the papers that the law asks before a step; a doubtful one is asked about."""
    on_file = kinds_on_file(s.case)
    due = s.case.law.papers_before(step)
    missing = [p for p in due if not on_file.intersection({p.kind, *p.instead})]
    needed = [paper for paper in missing if not paper.is_conditional]
    questions = [paper for paper in missing if paper.is_conditional]
    cited = [paper.citation for paper in needed or questions or due]
    citation = by_law("; ".join(dict.fromkeys(cited))) if cited else ""
    asks = f"Asked in some cases only: is it here? {_names(questions)}." if questions else ""
    if not needed:
        return passed(asks, citation)
    return refused(
        " ".join(part for part in (f"Not on file: {_names(needed)}.", asks) if part),
        f"{OFFICE}, from {s.case.sender}",
        citation=citation,
        since=s.case.announced_at,
    )


def _names(papers: list[PaperDue]) -> str:
    return "; ".join(" or ".join(map(paper_words, (p.kind, *p.instead))) for p in papers)


@gate("Papers due before the receipt on file")
def papers_at_receipt(s: Situation) -> Answer:
    return _answer(s, "receive")


@gate("Every required paper on file")
def documents_on_file(s: Situation) -> Answer:
    return _answer(s, "authorize")


@gate("Papers due before the charge on file")
def papers_at_charge(s: Situation) -> Answer:
    return _answer(s, "charge")
