"""The words in which the right to authorize a cremation is put. Pure: no Django, no database.

A jurisdiction gives an order of ranks, highest first; each rank says how many of its members must
sign. Where the figures of a rank come from stands in its `citation` and `mark`.
"""

from dataclasses import dataclass
from enum import StrEnum


class Quorum(StrEnum):
    """How many living, reachable, competent adult members of a rank must sign."""

    ONE = "one"
    ALL = "all"
    MAJORITY = "majority"  # more than half: floor(n / 2) + 1
    COLLECTIVELY = "collectively"  # the text does not say how a body of persons decides
    ONE_UNLESS_OBJECTION = "one_unless_objection"  # with a known objection: a majority
    UNKNOWN = "unknown"


class Lesser(StrEnum):
    """What smaller number suffices after recorded notice efforts, without known opposition."""

    NONE = "none"
    LESS_THAN_MAJORITY = "less_than_majority"
    LESS_THAN_HALF = "less_than_half"
    ANY = "any"


@dataclass(frozen=True)
class Rank:
    """One rank of a jurisdiction's order: a class of persons who hold the right together.

    `excluded_when` names facts about a person that take the right away, by the law's text.
    """

    key: str
    quorum: Quorum
    lesser: Lesser = Lesser.NONE
    excluded_when: frozenset[str] = frozenset()
    citation: str = ""
    mark: str = "found"


# Every class a rank can be made of, with the words for one of its members.
CLASSES: dict[str, str] = {
    "decedent_directions": "the decedent's own written directions",
    "designated_agent": "agent named in writing by the decedent",
    "dd93": "person named on DD Form 93",
    "health_care_agent": "agent under a power of attorney for health care",
    "personal_representative": "personal representative or executor",
    "spouse": "spouse",
    "child": "adult child",
    "parent": "parent",
    "sibling": "brother or sister",
    "grandchild": "grandchild",
    "grandparent": "grandparent",
    "guardian": "guardian",
    "next_of_kin": "next of kin",
    "public_administrator": "public officer by written order",
    "other_willing": "other person willing to act",
}

# Facts that a text may name as taking a person's right away: words that follow the name.
EXCLUSIONS: dict[str, str] = {
    "separated_by_order": "is separated from the decedent by court order",
    "divorce_pending": "has divorce proceedings with the decedent pending",
    "estranged_by_order": "was found by a court to be estranged from the decedent",
    "arrested_for_the_death": "was arrested in connection with the death",
}
