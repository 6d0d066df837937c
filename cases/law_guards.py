"""The triggers of what the law makes depend on an answer: its paper, and whose it is."""

from cases.law.shape import INCLUDED
from cases.models import AgreedTime, Case, Document, LawAnswer
from chain_of_custody.triggers import Trigger

CASE, ANSWER, AGREED, DOCUMENT = (m._meta.db_table for m in (Case, LawAnswer, AgreedTime, Document))


def _does_for(paper: str) -> str:
    """SQL: the kind of document `d` is the paper, or one that does for it."""
    included = "".join(
        f" OR ({paper} = '{kind}' AND d.kind = '{other}')"
        for kind, others in INCLUDED.items()
        for other in others
    )
    return f"(d.kind = {paper}{included})"


def _elsewhere() -> str:
    """SQL: the document that the row names belongs to another case."""
    return (
        "NEW.document_id IS NOT NULL AND NOT EXISTS "
        f"(SELECT 1 FROM {DOCUMENT} d WHERE d.id = NEW.document_id AND d.case_id = NEW.case_id)"
    )


def law_triggers() -> list[Trigger]:
    """Return what the database refuses of answers and agreed times."""
    on_file = (
        f"SELECT 1 FROM {DOCUMENT} d WHERE d.case_id = w.case_id AND {_does_for('w.paper')} "
        f"AND NOT EXISTS (SELECT 1 FROM {DOCUMENT} n WHERE n.replaces_id = d.id)"
    )
    owed = (
        f"SELECT 1 FROM {ANSWER} w WHERE w.case_id = NEW.id AND w.is_so AND w.paper <> '' "
        f"AND NOT EXISTS (SELECT 1 FROM {ANSWER} n WHERE n.case_id = w.case_id "
        f"AND n.question = w.question AND n.id > w.id) AND NOT EXISTS ({on_file})"
    )
    return [
        Trigger(
            "charge_with_asked_paper",
            CASE,
            "UPDATE",
            f"NEW.stage <> OLD.stage AND NEW.stage = 'in_retort' AND EXISTS ({owed})",
            "a paper that the law asks for by an answer is not on file",
        ),
        Trigger(
            "law_answer_of_its_case",
            ANSWER,
            "INSERT",
            _elsewhere(),
            "an answer rests on a paper of its own case",
        ),
        Trigger(
            "agreed_time_of_its_case",
            AGREED,
            "INSERT",
            _elsewhere(),
            "a time is agreed in a paper of its own case",
        ),
    ]
