"""The person in care, and all that belongs to one case."""

from cases.models.case import NAME_LENGTH, Case, CaseCounter, Delivery, RulesVersion
from cases.models.clearing import (
    HARMLESS,
    DeviceAnswer,
    PersonalThing,
    ThingReturned,
    ThingsLookedFor,
)
from cases.models.holds import Hold, HoldNotice
from cases.models.papers import OTHER_PAPER, Document, DocumentSheet
from cases.models.remains import IdDisc, Release, RemainsContainer
from cases.models.right import (
    AuthorityReview,
    AuthorizingAgent,
    HolderFacts,
    RankNamed,
    Recipient,
    RightHolder,
)
from cases.models.waits import WaitGround

__all__ = [
    "HARMLESS",
    "NAME_LENGTH",
    "OTHER_PAPER",
    "AuthorityReview",
    "AuthorizingAgent",
    "Case",
    "CaseCounter",
    "Delivery",
    "DeviceAnswer",
    "Document",
    "DocumentSheet",
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
    "ThingsLookedFor",
    "WaitGround",
]
