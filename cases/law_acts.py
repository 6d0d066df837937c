"""The act that answers a question of the law, and states a time agreed in writing."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from cases import law_questions, seen
from cases.acts import do_act, need, of_this_case
from cases.errors import ActRefused
from cases.law.words import WITHOUT_FORM
from cases.models import AgreedTime, Case, Document, LawAnswer
from cases.roles import WHO
from cases.steps import BEFORE_CHARGE
from cases.waits import replaced_papers
from chain_of_custody.models import CustodyEntry
from chain_of_custody.trail import Sealed
from crematory.models import Role
from crematory.signatures import Signature

ACT = "answer_law"


@dataclass(frozen=True, kw_only=True)
class Told:
    """What somebody answered: who, on what, by which paper; `agreed_at` is aware."""

    informant: str
    basis: str = ""
    answers: Mapping[str, bool] = field(default_factory=dict)
    agreed_at: datetime | None = None
    document: Document | None = None


def answer_law(
    case: Case, signed_by: Signature, token: str, told: Told, shown: str | None = None
) -> CustodyEntry:
    """Record the answers, all or none, as one entry. Raises ActRefused.

    What stands in the place of a signed form is a manager's to answer, and so is a no after a yes:
    as with a reportable death, what shut the gate is taken back by nobody else. `shown` is the
    mark of the page on which what was stated before stood.
    """

    def write(locked: Case, now: datetime) -> dict[str, Any]:
        need(signed_by.member, *WHO[ACT])
        if locked.stage not in BEFORE_CHARGE:
            raise ActRefused("stage", "After the charge nothing of this is asked any more.")
        seen.check(shown, seen.of_law(locked))
        if not told.informant.strip():
            raise ActRefused("informant_missing", "Say who answered.")
        if not told.answers and told.agreed_at is None:
            raise ActRefused("law_answer_missing", "Answer a question.")
        if set(told.answers) & set(WITHOUT_FORM):
            need(signed_by.member, Role.MANAGER)
        if _takes_back(locked, told) and Role.MANAGER not in signed_by.member.roles:
            raise ActRefused(
                "role", "This was answered with yes. Only a manager records that it is not so."
            )
        of_this_case(locked, told.document)
        if told.document is not None and told.document.pk in replaced_papers(locked):
            raise ActRefused(
                "answer_paper_replaced",
                "A later version has replaced this paper. Choose the paper that counts.",
            )
        return {**_answer(locked, told, now), **_agree(locked, told, now)}

    return do_act(ACT, case, signed_by.member, token, write, signature="pin")


def _takes_back(case: Case, told: Told) -> bool:
    """Whether a question that was last answered with yes, on whatever paper, gets a no."""
    was = {row.question: row.is_so for row in case.law_answers.all()}
    return any(was.get(key) and not is_so for key, is_so in told.answers.items())


def _answer(case: Case, told: Told, now: datetime) -> dict[str, Any]:
    asked = {question.key: question for question in law_questions.asked(case.law)}
    if unknown := set(told.answers) - set(asked):
        raise ActRefused(
            "question_unknown",
            f"{case.law.name}: the law that was read does not ask: {', '.join(sorted(unknown))}.",
        )
    if told.answers and not told.basis.strip():
        raise ActRefused("basis_missing", "Say on what the answer rests.")
    facts: dict[str, Any] = {}
    for key, is_so in told.answers.items():
        row = LawAnswer(
            case=case,
            question=key,
            is_so=is_so,
            paper=asked[key].paper,
            informant=told.informant.strip(),
            basis=told.basis.strip(),
            document=told.document,
            answered_at=now,
        )
        row.full_clean()
        row.save()
        facts[key] = Sealed("yes" if is_so else "no")
    said = {"informant": Sealed(told.informant.strip()), **_paper(told.document)}
    return {**facts, "basis": Sealed(told.basis.strip()), **said} if facts else said


def _agree(case: Case, told: Told, now: datetime) -> dict[str, Any]:
    if told.agreed_at is None:
        return {}
    if law_questions.agreed_limit(case.law) is None:
        raise ActRefused(
            "question_unknown", f"{case.law.name}: no term that was read counts from such a time."
        )
    if told.document is None:
        raise ActRefused(
            "agreement_missing",
            "The time counts only if it is agreed in writing. File the paper, then choose it here.",
        )
    if told.agreed_at < case.died_at:
        raise ActRefused("agreed_too_early", "The agreed time lies before the death. Correct it.")
    row = AgreedTime(
        case=case,
        agreed_at=told.agreed_at,
        informant=told.informant.strip(),
        document=told.document,
        stated_at=now,
    )
    row.full_clean()
    row.save()
    return {"agreed_at": Sealed(told.agreed_at.isoformat())}


def _paper(document: Document | None) -> dict[str, Any]:
    return {"paper": document.kind} if document else {}
