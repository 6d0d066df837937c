"""The person in care, and all that belongs to one case."""

from cases.models.case import NAME_LENGTH, Case, CaseCounter, Delivery, RulesVersion
from cases.models.clearing import (
    HARMLESS,
    STAYS_BY_LAW,
    DeviceAnswer,
    PersonalThing,
    ThingReturned,
    ThingsLookedFor,
)
from cases.models.holds import Hold, HoldNotice
from cases.models.papers import OTHER_PAPER, Document, DocumentSheet
from cases.models.receipts import ThingsReceipt
from cases.models.remains import DiscReplaced, IdDisc, Release, RemainsContainer
from cases.models.right import (
    AuthorityReview,
    AuthorizingAgent,
    HolderFacts,
    RankNamed,
    Recipient,
    RightHolder,
)
from cases.models.waits import AgreedTime, LawAnswer, WaitGround

__all__ = [
    "HARMLESS",
    "NAME_LENGTH",
    "OTHER_PAPER",
    "STAYS_BY_LAW",
    "AgreedTime",
    "AuthorityReview",
    "AuthorizingAgent",
    "Case",
    "CaseCounter",
    "Delivery",
    "DeviceAnswer",
    "DiscReplaced",
    "Document",
    "DocumentSheet",
    "Hold",
    "HoldNotice",
    "HolderFacts",
    "IdDisc",
    "LawAnswer",
    "PersonalThing",
    "RankNamed",
    "Recipient",
    "Release",
    "RemainsContainer",
    "RightHolder",
    "RulesVersion",
    "ThingReturned",
    "ThingsLookedFor",
    "ThingsReceipt",
    "WaitGround",
]
