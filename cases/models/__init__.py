"""The person in care, and all that belongs to one case."""

from cases.models.case import NAME_LENGTH, Case, CaseCounter, Delivery, RulesVersion
from cases.models.clearing import DeviceAnswer, PersonalThing, ThingReturned
from cases.models.holds import Hold, HoldNotice
from cases.models.papers import OTHER_PAPER, Document
from cases.models.remains import IdDisc, Release, RemainsContainer
from cases.models.right import (
    AuthorityReview,
    AuthorizingAgent,
    HolderFacts,
    RankNamed,
    Recipient,
    RightHolder,
)

__all__ = [
    "NAME_LENGTH",
    "OTHER_PAPER",
    "AuthorityReview",
    "AuthorizingAgent",
    "Case",
    "CaseCounter",
    "Delivery",
    "DeviceAnswer",
    "Document",
    "Hold",
    "HoldNotice",
    "HolderFacts",
    "IdDisc",
    "PersonalThing",
    "RankNamed",
    "Recipient",
    "Release",
    "RemainsContainer",
    "RightHolder",
    "RulesVersion",
    "ThingReturned",
]
