"""Questions on which the law makes something depend: asked of a case, and answered by its rows."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime

from cases import deadlines
from cases.law import Jurisdiction, paper_words
from cases.law.rules import HoldingLimit
from cases.law.words import CONDITIONS, WITHOUT_FORM, WITHOUT_FORM_PAPERS
from cases.models import AgreedTime, Case, LawAnswer
from cases.waits import replaced_papers
from crematory.templatetags.crematory import when

REQUEST = "cremation_authorization"


@dataclass(frozen=True)
class Question:
    """One question, with where it stands, and the paper that a yes asks for ("" for none)."""

    key: str
    words: str
    citation: str
    paper: str = ""


def of_papers(law: Jurisdiction) -> list[Question]:
    """Return the questions on which papers depend, in the order of the file."""
    due = (*law.papers_before("charge"), *law.papers_after())
    return [
        Question(p.condition, CONDITIONS[p.condition], p.citation, p.kind)
        for p in due
        if p.condition
    ]


def of_no_form(law: Jurisdiction) -> list[Question]:
    """Return what is asked where nobody signs the authorization form; empty where no law tells."""
    rule = law.without_form
    if not rule.is_enforced:
        return []
    cited = law.cited("cremation without a signed form", rule)
    return [Question(key, WITHOUT_FORM[key], cited) for key in rule.needs if key in WITHOUT_FORM]


def asked(law: Jurisdiction) -> list[Question]:
    """Return every question that may be answered under this law."""
    return [*of_papers(law), *of_no_form(law)]


def answers(case: Case) -> dict[str, LawAnswer]:
    """Return the answer that counts for each question: the newest one, while its paper stands."""
    return standing(case, case.law_answers.all())


def standing(case: Case, rows: Iterable[LawAnswer]) -> dict[str, LawAnswer]:
    """Return of these answers, oldest first, those that count.

    One whose paper was replaced leaves its question open: the newer paper may say otherwise.
    """
    newest = {row.question: row for row in rows}
    resting = {row.document_id for row in newest.values()} - {None}
    replaced = replaced_papers(case) if resting else frozenset()
    return {key: row for key, row in newest.items() if row.document_id not in replaced}


def lacks_without_form(case: Case, on_file: Collection[str]) -> list[str] | None:
    """Return what is missing to cremate without a signed form; None where no law provides it."""
    rule = case.law.without_form
    if not rule.is_enforced:
        return None
    said = answers(case)
    lacks = [
        paper_words(kind)
        for need, kind in WITHOUT_FORM_PAPERS.items()
        if need in rule.needs and kind not in on_file
    ]
    lacks += [
        f"“{question.words}” answered with yes"
        for question in of_no_form(case.law)
        if question.key not in said or not said[question.key].is_so
    ]
    return lacks


def agreed_limit(law: Jurisdiction) -> HoldingLimit | None:
    """Return the term that counts from a time agreed in writing, or None."""
    return next(
        (
            rule
            for rule in law.holding_limits
            if rule.is_enforced and rule.starts == "agreed_time" and rule.within_hours
        ),
        None,
    )


def agreed_time(case: Case) -> AgreedTime | None:
    """Return the time of cremation that was agreed last; None where its paper was replaced."""
    agreed = list(case.agreed_times.all())
    stands = bool(agreed) and agreed[-1].document_id not in replaced_papers(case)
    return agreed[-1] if stands else None


def agreed_moment(case: Case) -> deadlines.Moment | None:
    """Return the agreed time as clocks count from it."""
    agreed = agreed_time(case)
    return deadlines.exactly(agreed.agreed_at) if agreed else None


def agreed_end(case: Case, rule: HoldingLimit) -> datetime | None:
    """Return when the term after the agreed time ends; None while no time is recorded."""
    return deadlines.within(agreed_moment(case), rule.within_hours or 0).at


@dataclass(frozen=True)
class Shown:
    """A question as a page shows it; `answer` is empty while it is open."""

    words: str
    citation: str
    answer: str


def shown(case: Case) -> list[Shown]:
    """Return what the law of the case asks, with the answers that stand."""
    if not has_any(case.law):
        return []
    said = answers(case)
    found = [
        Shown(question.words, question.citation, _words(said.get(question.key)))
        for question in asked(case.law)
    ]
    if rule := agreed_limit(case.law):
        agreed = agreed_time(case)
        at = when(agreed.agreed_at) if agreed else ""
        found.append(Shown("Which time of cremation is agreed in writing?", rule.citation, at))
    return found


def _words(answer: LawAnswer | None) -> str:
    return f"{'Yes' if answer.is_so else 'No'}: {answer.informant}" if answer else ""


def has_any(law: Jurisdiction) -> bool:
    """Whether this law leaves anything to be answered for a case."""
    return bool(asked(law)) or agreed_limit(law) is not None
