"""Who may authorize a cremation: ranks, numbers, objections. Pure: no Django, no database."""

from cases.authority.counting import Count, Review, majority
from cases.authority.deciding import Answer, Outcome, decide
from cases.authority.persons import (
    BY_INSTRUMENT,
    DELEGATE,
    Delegation,
    NoticeEffort,
    Objection,
    Person,
    Signing,
)
from cases.authority.standing import PassedOver, Why
from cases.authority.terms import CLASSES, EXCLUSIONS, Lesser, Quorum, Rank
from cases.authority.words import explain

__all__ = [
    "BY_INSTRUMENT",
    "CLASSES",
    "DELEGATE",
    "EXCLUSIONS",
    "Answer",
    "Count",
    "Delegation",
    "Lesser",
    "NoticeEffort",
    "Objection",
    "Outcome",
    "PassedOver",
    "Person",
    "Quorum",
    "Rank",
    "Review",
    "Signing",
    "Why",
    "decide",
    "explain",
    "majority",
]
