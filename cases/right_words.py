"""Words about those who may authorize: relationships, numbers, and what a signature means."""

from cases.authority import CLASSES, DELEGATE, EXCLUSIONS, Lesser, Quorum, Rank
from cases.law import Jurisdiction
from cases.models import Case

# Relationships that are offered, by class; any other one is written in words of its own.
RELATIONSHIPS: dict[str, tuple[str, ...]] = {
    "decedent_directions": ("the decedent's own directions",),
    "designated_agent": ("agent named in writing",),
    "dd93": ("person named on DD Form 93",),
    "health_care_agent": ("agent under a power of attorney",),
    "personal_representative": ("executor", "administrator of the estate"),
    "spouse": ("wife", "husband", "spouse"),
    "child": ("daughter", "son", "child"),
    "parent": ("mother", "father", "parent"),
    "sibling": ("sister", "brother", "sibling"),
    "grandchild": ("granddaughter", "grandson", "grandchild"),
    "grandparent": ("grandmother", "grandfather", "grandparent"),
    "guardian": ("guardian",),
    "next_of_kin": ("niece", "nephew", "aunt", "uncle", "cousin", "other next of kin"),
    "public_administrator": ("public administrator", "coroner", "county"),
    "other_willing": ("friend", "other person willing to act"),
    DELEGATE: ("delegate",),
}
NO_RIGHT = "no right of their own: somebody else delegated it"
_QUORUMS = {
    Quorum.ONE: "one of them may sign",
    Quorum.ALL: "all of them must sign",
    Quorum.MAJORITY: "more than half of them must sign",
    Quorum.COLLECTIVELY: "they act together; the text does not say how they decide",
    Quorum.ONE_UNLESS_OBJECTION: "one of them may sign unless an objection is known",
    Quorum.UNKNOWN: "how many must sign is not known here",
}
_LESSERS = {
    Lesser.NONE: "",
    Lesser.LESS_THAN_MAJORITY: "fewer, after notice to the others and without known opposition",
    Lesser.LESS_THAN_HALF: "less than half, after notice to the others and without known "
    "opposition",
    Lesser.ANY: "any number, after notice to the others and without known opposition",
}


def class_title(key: str) -> str:
    """The words for one member of a class, also for somebody without a class of their own."""
    return NO_RIGHT if key == DELEGATE else CLASSES.get(key, key.replace("_", " "))


def in_order(law: Jurisdiction) -> list[str]:
    """All classes: those of the jurisdiction's order, highest first, then those outside it."""
    order = [rank.key for rank in law.ranks]
    return [*order, *(key for key in CLASSES if key not in order), DELEGATE]


def before(law: Jurisdiction, key: str) -> list[str]:
    """The classes that go before this one; all of the order where it does not stand in it."""
    order = [rank.key for rank in law.ranks]
    return order[: order.index(key)] if key in order else order


def quorum_words(rank: Rank) -> str:
    """How many of a class must sign, in one sentence without a full stop."""
    lesser = _LESSERS[rank.lesser]
    return f"{_QUORUMS[rank.quorum]}; or {lesser}" if lesser else _QUORUMS[rank.quorum]


def exclusion_words(rank: Rank) -> list[str]:
    """The facts that take the right from a member of this class: "a person who …"."""
    return [EXCLUSIONS.get(key, key.replace("_", " ")) for key in sorted(rank.excluded_when)]


def meaning(case: Case) -> str:
    """The sentence that somebody signs, shown before they do and stored with the signature."""
    return (
        f"I authorize {case.facility.name} to cremate the body of {case.decedent_name}. I have "
        "the right to do so, and I know of nobody with the same or a higher right who objects."
    )
