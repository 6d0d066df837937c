"""Whether the persons named, as they signed and objected, authorize the cremation. Pure.

The highest rank with somebody who may act decides; signatures of lower ranks count nothing. A
rank is ruled out only by what is recorded: that everybody of it is named, and why each of them
does not count.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from cases.authority.counting import Count, Review, count
from cases.authority.persons import (
    BY_THE_DECEDENT,
    DELEGATE,
    DIRECTIONS,
    PUBLIC_OFFICER,
    Person,
)
from cases.authority.standing import PassedOver, Standing, Why, standing
from cases.authority.terms import Quorum, Rank

# Where one may sign alone, nobody who is not named can be missing from the number.
ALONE = frozenset({Quorum.ONE, Quorum.ONE_UNLESS_OBJECTION})


class Outcome(StrEnum):
    """The answer, in the order in which one goes before another where both are true."""

    DISPUTED = "disputed"
    INSUFFICIENT = "insufficient"
    UNDECIDED = "undecided"  # a person must review it
    SUFFICIENT = "sufficient"


@dataclass(frozen=True)
class Answer:
    """The outcome and all that explains it. Persons stand in the order of rank and key.

    - `deciding`: the highest rank with somebody who may act; None if there is none.
    - `count`: its numbers; `more` is how many must still sign, `may_sign` who they can be.
    - `seek`: persons to whom notice efforts, once recorded, would make the signatures enough.
    - `prove`: persons whose paper or order must be on file before their signature counts.
    - `unfounded`: persons for whom another hand signed without a delegation that allows it.
    - `rule_out`: classes of which nobody has said that everybody is named.
    - `objectors`: those whose objection matters. Each calls for a hold by itself.
    - `quorum_stands`: the signatures are enough by the text in spite of the objections.
    - `unplaced`: persons chosen by the decedent who have no rank here, and have not signed.
    - `noted`: objections without a right of their own; `outranked`: signatures that count nothing.
    """

    outcome: Outcome
    deciding: Rank | None = None
    count: Count | None = None
    more: int = 0
    signed: tuple[Person, ...] = ()
    may_sign: tuple[Person, ...] = ()
    seek: tuple[Person, ...] = ()
    prove: tuple[Person, ...] = ()
    unfounded: tuple[Person, ...] = ()
    rule_out: tuple[str, ...] = ()
    objectors: tuple[Person, ...] = ()
    quorum_stands: bool = False
    noted: tuple[Person, ...] = ()
    outranked: tuple[Person, ...] = ()
    passed_over: tuple[PassedOver, ...] = ()
    unplaced: tuple[Person, ...] = ()
    review: Review | None = None


def decide(persons: Sequence[Person], ranks: Sequence[Rank], all_named: Collection[str]) -> Answer:
    """Say whether the authorization is sufficient, insufficient, disputed or to be reviewed.

    `ranks` are the jurisdiction's, highest first; none means that its order is not known.
    `all_named` are the classes of which it is recorded that every living member is named (none
    named: there is none). The order of `persons` does not matter. Raises ValueError if a person
    is named twice in one class, or a class has two ranks.
    """
    _check(persons, ranks)
    people = _in_order(persons, ranks)
    walked = _down_to_the_deciding(people, ranks)
    deciding = walked[-1] if walked and walked[-1].members else None
    objectors = _objectors(people, walked, deciding)
    answer = Answer(
        Outcome.UNDECIDED,
        objectors=objectors,
        noted=tuple(p for p in people if p.opposes and p not in objectors),
        outranked=_outranked(people, walked),
        passed_over=_passed_over(people, walked, ranks),
        rule_out=_not_ruled_out(walked, all_named),
        unplaced=_unplaced(people, ranks),
    )
    return _nobody(answer, people, ranks) if deciding is None else _weighed(answer, deciding)


def _check(persons: Sequence[Person], ranks: Sequence[Rank]) -> None:
    if len({(p.class_key, p.key) for p in persons}) < len(persons):
        raise ValueError("a person is named twice in one class")
    if len({rank.key for rank in ranks}) < len(ranks):
        raise ValueError("a class has two ranks")


def _in_order(persons: Sequence[Person], ranks: Sequence[Rank]) -> list[Person]:
    places = {rank.key: place for place, rank in enumerate(ranks)}
    return sorted(persons, key=lambda p: (places.get(p.class_key, len(ranks)), p.class_key, p.key))


def _down_to_the_deciding(people: Sequence[Person], ranks: Sequence[Rank]) -> list[Standing]:
    """The ranks from the highest down to the first of which somebody may act."""
    walked: list[Standing] = []
    for rank in ranks:
        walked.append(standing(rank, people))
        if walked[-1].members:
            break
    return walked


def _objectors(
    people: Sequence[Person], walked: Sequence[Standing], deciding: Standing | None
) -> tuple[Person, ...]:
    """Whose objection matters: those of the deciding rank, and the decedent's own directions.

    Where no rank decides, the order is unknown or used up: then nobody who is listed outside
    the ranks walked through can be called lower.
    """
    ranked = {at.rank.key for at in walked}
    return tuple(
        p
        for p in people
        if p.opposes
        and (
            (deciding is not None and p in deciding.opposed)
            or (p.class_key == DIRECTIONS and p.instrument_on_file is not False)
            or (deciding is None and p.class_key not in ranked)
        )
    )


def _outranked(people: Sequence[Person], walked: Sequence[Standing]) -> tuple[Person, ...]:
    walked_keys = {at.rank.key for at in walked} | {DELEGATE}
    return tuple(p for p in people if p.has_signed and p.class_key not in walked_keys)


def _passed_over(
    people: Sequence[Person], walked: Sequence[Standing], ranks: Sequence[Rank]
) -> tuple[PassedOver, ...]:
    ranked = {rank.key for rank in ranks} | {DELEGATE}
    outside = [p for p in people if ranks and p.class_key not in ranked]
    return (
        *(passed for at in walked for passed in at.passed_over),
        *(PassedOver(p, Why.NOT_IN_THE_ORDER) for p in outside),
    )


def _unplaced(people: Sequence[Person], ranks: Sequence[Rank]) -> tuple[Person, ...]:
    without = sorted(BY_THE_DECEDENT - {rank.key for rank in ranks})
    stands = [standing(Rank(key, Quorum.ONE), people) for key in without]
    return tuple(person for at in stands for person in at.unsigned)


def _not_ruled_out(walked: Sequence[Standing], all_named: Collection[str]) -> tuple[str, ...]:
    """Classes that may hold somebody unnamed whose word would be needed."""
    open_classes = [at for at in walked if at.rank.key not in all_named]
    return tuple(
        at.rank.key for at in open_classes if not at.members or at.rank.quorum not in ALONE
    )


def _nobody(answer: Answer, people: Sequence[Person], ranks: Sequence[Rank]) -> Answer:
    """The answer where no person named may act."""
    if not ranks:
        answer = replace(answer, review=Review.ORDER_UNKNOWN)
    elif answer.rule_out:
        answer = replace(answer, outcome=Outcome.INSUFFICIENT, more=1)
    else:
        answer = _unclaimed(answer, people)
    return replace(answer, outcome=Outcome.DISPUTED) if answer.objectors else answer


def _unclaimed(answer: Answer, people: Sequence[Person]) -> Answer:
    """The answer where nobody of the order is left: an officer by written order, or nobody yet.

    No order that was read names such an officer, so that a person reviews it in any case.
    """
    officers = standing(Rank(PUBLIC_OFFICER, Quorum.ONE), people)
    if officers.signed:
        return replace(answer, review=Review.PUBLIC_OFFICER, signed=officers.signed)
    signed = [p for p in people if p.has_signed and not p.opposes]
    if signed and all(p in officers.unproved for p in signed):
        return replace(answer, outcome=Outcome.INSUFFICIENT, more=1, prove=tuple(signed))
    return replace(answer, review=Review.ORDER_EXHAUSTED)


def _weighed(answer: Answer, deciding: Standing) -> Answer:
    """The answer where a rank decides, from the count of its signatures."""
    counted = count(deciding)
    met = counted.met and not answer.rule_out and not answer.unplaced
    waiting = () if counted.met else deciding.unsigned
    review = _review(answer, counted, deciding)
    return replace(
        answer,
        outcome=_outcome(answer, counted, review),
        deciding=deciding.rank,
        count=counted,
        more=0 if counted.met else counted.needed - counted.signed,
        signed=deciding.signed,
        may_sign=tuple(p for p in waiting if not p.opposes and not _only_unproved(p, deciding)),
        seek=deciding.unsought if counted.sought_would_do else (),
        prove=tuple(p for p in waiting if p in deciding.unproved),
        unfounded=tuple(p for p in waiting if _by_another_hand(p, deciding)),
        quorum_stands=met and bool(answer.objectors),
        review=None if answer.rule_out else review,
    )


def _only_unproved(person: Person, deciding: Standing) -> bool:
    return person.has_signed and person in deciding.unproved


def _by_another_hand(person: Person, deciding: Standing) -> bool:
    """Whether a signature is there that fails only for want of a delegation."""
    if not person.has_signed or person.opposes or person in deciding.unproved:
        return False
    return person.signed is not None and person.signed.by not in ("", person.key)


def _review(answer: Answer, counted: Count, deciding: Standing) -> Review | None:
    if not counted.met:
        return counted.review
    if answer.unplaced:
        return Review.PLACE_UNKNOWN
    return Review.LAPSED if _rests_on_lapse(answer, deciding) else counted.review


def _rests_on_lapse(answer: Answer, deciding: Standing) -> bool:
    """Whether the signatures are enough only because a term went by, or came after it."""
    is_alone = deciding.rank.quorum in ALONE
    silent = (over.person for over in answer.passed_over if over.why is Why.LAPSED)
    went_before = (p for p in silent if p.class_key != deciding.rank.key or not is_alone)
    late = [p.lapsed for p in deciding.signed]
    return any(went_before) or (all(late) if is_alone else any(late))


def _outcome(answer: Answer, counted: Count, review: Review | None) -> Outcome:
    if answer.objectors:
        return Outcome.DISPUTED
    if answer.rule_out:
        return Outcome.INSUFFICIENT
    if review:
        return Outcome.UNDECIDED
    return Outcome.SUFFICIENT if counted.met else Outcome.INSUFFICIENT
