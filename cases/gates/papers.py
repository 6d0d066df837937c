"""Gates that ask for papers: at the door, at the authorization and at the charge."""

from django.utils import timezone

from cases import law_questions
from cases.gates.base import Answer, Situation, by_law, gate, passed, refused
from cases.law import CHECK_LOCALLY, PaperDue, paper_words
from cases.law.shape import REQUESTS
from cases.law.words import CONDITIONS
from cases.models import LawAnswer
from cases.waits import kinds_on_file

OFFICE = "front office"


def _answer(s: Situation, step: str) -> Answer:
    """Answer for the papers that the law asks before a step, and for those it may ask."""
    on_file = kinds_on_file(s.case)
    due = s.case.law.papers_before(step)
    missing = [p for p in due if not on_file.intersection({p.kind, *p.instead})]
    said = law_questions.answers(s.case) if any(p.condition for p in missing) else {}
    questions = [p for p in missing if p.condition and p.condition not in said]
    needed = [p for p in missing if not p.condition or _is_so(said, p)]
    lacking = _without_form(s, needed, on_file)
    if lacking == []:
        needed = [paper for paper in needed if not _is_request(paper)]
    refusals = [
        f"Not on file: {_names(needed)}." if needed else "",
        f"Not answered: {_asked(questions)}" if questions else "",
        _instead_of_form(s, lacking, needed),
    ]
    told = [_told(s, said[p.condition], p) for p in missing if p.condition in said]
    cited = [paper.citation for paper in (*needed, *questions) or due]
    if lacking is not None:
        cited.append(s.case.law.cited("cremation without a signed form", s.case.law.without_form))
    citation = by_law("; ".join(dict.fromkeys(cited))) if cited else ""
    if not needed and not questions:
        return passed(" ".join(filter(None, (*refusals, *told))), citation)
    return refused(
        " ".join(filter(None, refusals)),
        f"{OFFICE}, from {s.case.sender}",
        citation=citation,
        since=s.case.announced_at,
    )


def _is_so(said: dict[str, LawAnswer], paper: PaperDue) -> bool:
    return paper.condition in said and said[paper.condition].is_so


def _is_request(paper: PaperDue) -> bool:
    return paper.kind in REQUESTS


def _without_form(
    s: Situation, needed: list[PaperDue], on_file: frozenset[str]
) -> list[str] | None:
    """What is missing to do without the signed form; None where it is there or no law provides."""
    if not any(_is_request(paper) for paper in needed):
        return None
    return law_questions.lacks_without_form(s.case, on_file)


def _instead_of_form(s: Situation, lacking: list[str] | None, needed: list[PaperDue]) -> str:
    if lacking == []:
        return "Without a signed form: what the law asks in its place stands together."
    if not lacking:
        return ""
    return f"Without the signed form the law asks: {'; '.join(lacking)}."


def _told(s: Situation, answer: LawAnswer, paper: PaperDue) -> str:
    """Who said that a paper is not asked here; a yes is told by the paper that is missing."""
    if answer.is_so:
        return ""
    at = timezone.localtime(answer.answered_at, s.case.facility.zone)
    return (
        f"Not asked here: {paper_words(paper.kind)}. {answer.informant} answered no, "
        f"{at.day} {at:%b %Y %H:%M %Z}."
    )


def _names(papers: list[PaperDue]) -> str:
    return "; ".join(" or ".join(map(paper_words, (p.kind, *p.instead))) for p in papers)


def _asked(papers: list[PaperDue]) -> str:
    return " ".join(
        f"{CONDITIONS[p.condition]} If so, the law asks for: {paper_words(p.kind)}." for p in papers
    )


@gate("Papers due before the receipt on file")
def papers_at_receipt(s: Situation) -> Answer:
    return _answer(s, "receive")


@gate("Every required paper on file")
def documents_on_file(s: Situation) -> Answer:
    return _answer(s, "authorize")


@gate("Papers due before the charge on file")
def papers_at_charge(s: Situation) -> Answer:
    answer = _answer(s, "charge")
    rule = law_questions.agreed_limit(s.case.law)
    problem = _agreed_problem(s) if rule else ""
    if not rule or not problem:
        return answer
    too = [answer.reason, answer.citation] if answer.state == "refused" else ["", ""]
    agreed = s.case.law.cited("time agreed in writing", rule)
    cited = [too[1].removesuffix(CHECK_LOCALLY).rstrip(" .")]
    cited += [agreed] if agreed not in cited[0] else []
    return refused(
        " ".join(filter(None, (too[0], problem))),
        f"{OFFICE}, with the authorizing agent",
        citation=by_law("; ".join(filter(None, cited))),
        since=s.case.announced_at,
    )


def _agreed_problem(s: Situation) -> str:
    """What stands against the charge of a term that counts from a time agreed in writing."""
    rule = law_questions.agreed_limit(s.case.law)
    assert rule is not None
    end = law_questions.agreed_end(s.case, rule)
    if end is None:
        return (
            f"The law asks for the cremation within {rule.within_hours} h after a time agreed in "
            "writing, and none is recorded."
        )
    if s.now <= end:
        return ""
    at = timezone.localtime(end, s.case.facility.zone)
    return (
        f"The {rule.within_hours} h after the time agreed in writing ended "
        f"{at.day} {at:%b %Y %H:%M %Z}. Another time is agreed in writing."
    )
