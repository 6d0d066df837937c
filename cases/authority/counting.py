"""How many of a rank must sign, and whether those who did are enough. Pure.

"Majority" is more than half of the living, competent, adult members: floor(n / 2) + 1. Two who
disagree have none.
"""

from dataclasses import dataclass
from enum import StrEnum

from cases.authority.standing import Standing
from cases.authority.terms import Lesser, Quorum, Rank


class Review(StrEnum):
    """What the record and the text leave open, so that a person must decide it."""

    GAP_IN_THE_TEXT = "gap_in_the_text"  # neither the quorum nor the smaller number it allows
    COLLECTIVELY = "collectively"
    QUORUM_UNKNOWN = "quorum_unknown"
    PLACE_UNKNOWN = "place_unknown"  # somebody named by the decedent has no rank in the order
    ORDER_UNKNOWN = "order_unknown"
    LAPSED = "lapsed"  # a term went by, in which somebody may have arranged something
    PUBLIC_OFFICER = "public_officer"  # nobody of the order is left, and an officer signed
    ORDER_EXHAUSTED = "order_exhausted"  # nobody of the known order is left


@dataclass(frozen=True)
class Count:
    """What the signatures of one rank amount to.

    `met` says that they are enough, `by_lesser` that they are so only as a smaller number after
    notice efforts; `sought_would_do` that recorded notice efforts would make them enough.
    """

    members: int
    needed: int
    signed: int
    met: bool
    by_lesser: bool = False
    sought_would_do: bool = False
    review: Review | None = None


def majority(members: int) -> int:
    """More than half: 1, 2, 2, 3, 3, 4 for one to six members."""
    return members // 2 + 1


def needed(quorum: Quorum, members: int, *, opposed: bool) -> int:
    """How many of `members` must sign. What the text leaves open takes all: that fits any reading.

    One who may sign alone unless an objection is known needs a majority once it is (for South
    Carolina's § 32-8-320(B) the majority is from memory).
    """
    match quorum:
        case Quorum.ONE:
            return 1
        case Quorum.MAJORITY:
            return majority(members)
        case Quorum.ONE_UNLESS_OBJECTION:
            return majority(members) if opposed else 1
        case Quorum.ALL | Quorum.COLLECTIVELY | Quorum.UNKNOWN:
            return members


def count(at: Standing) -> Count:
    """Count the signatures of a rank that has at least one member."""
    members, signed, opposed = len(at.members), len(at.signed), len(at.opposed)
    need = needed(at.rank.quorum, members, opposed=opposed > 0)
    if signed >= need:
        return Count(members, need, signed, met=True)
    allowed = signed > 0 and _lesser_allows(at.rank.lesser, signed, members)
    if allowed and not _opposition_defeats(at.rank.quorum, opposed, members):
        sought = not at.unsought
        return Count(members, need, signed, sought, by_lesser=sought, sought_would_do=not sought)
    review = None if signed == 0 or allowed else _review(at.rank)
    return Count(members, need, signed, met=False, review=review)


def _lesser_allows(lesser: Lesser, signed: int, members: int) -> bool:
    """Whether the text admits this smaller number at all, notice efforts left aside."""
    match lesser:
        case Lesser.LESS_THAN_MAJORITY:
            return signed < majority(members)
        case Lesser.LESS_THAN_HALF:
            return 2 * signed < members
        case Lesser.ANY:
            return True
        case Lesser.NONE:
            return False


def _opposition_defeats(quorum: Quorum, opposed: int, members: int) -> bool:
    """Whether known opposition takes the smaller number's right away.

    The texts speak of opposition by a majority or by more than half. Half is taken as enough
    here, an engineering choice, since two who disagree must not outvote one another; and where
    all must sign, one is enough.
    """
    return opposed > 0 if quorum is Quorum.ALL else opposed > 0 and 2 * opposed >= members


def _review(rank: Rank) -> Review | None:
    """Why a number of signatures that is not enough cannot be called too small either."""
    if rank.lesser is not Lesser.NONE:
        return Review.GAP_IN_THE_TEXT
    if rank.quorum is Quorum.COLLECTIVELY:
        return Review.COLLECTIVELY
    return Review.QUORUM_UNKNOWN if rank.quorum is Quorum.UNKNOWN else None
