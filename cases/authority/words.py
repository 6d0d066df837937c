"""The answer in words that a clerk can act on: plain text, one sentence or two a line. Pure."""

from collections.abc import Callable, Iterator, Sequence
from datetime import date

from cases.authority.counting import Count, Review
from cases.authority.deciding import Answer, Outcome
from cases.authority.persons import DIRECTIONS, Person
from cases.authority.standing import PassedOver, Why
from cases.authority.terms import CLASSES, EXCLUSIONS, Lesser, Rank

_HEADLINES = {
    Outcome.SUFFICIENT: "The authorization is sufficient.",
    Outcome.INSUFFICIENT: "The authorization is not sufficient yet.",
    Outcome.DISPUTED: "The cremation is disputed: it is held until the dispute is settled.",
    Outcome.UNDECIDED: "The rules do not settle this: a manager must review it.",
}
_REVIEWS = {
    Review.GAP_IN_THE_TEXT: "This number is neither the one that the text asks for nor the "
    "smaller one that it allows after notice. One more signature may settle it; otherwise ask "
    "the local authority or counsel.",
    Review.COLLECTIVELY: "The text says that they act together, and not how they decide. It is "
    "settled when all have signed; otherwise ask the local authority or counsel.",
    Review.QUORUM_UNKNOWN: "How many of them must sign is not known here. It is settled when all "
    "have signed; otherwise look it up in the official text.",
    Review.PLACE_UNKNOWN: "The decedent named somebody whose place in the order is not known here. "
    "It is settled when that person signs too; otherwise ask the local authority.",
    Review.ORDER_UNKNOWN: "Who comes first is not known for this jurisdiction. Look it up in the "
    "official text, or ask the local authority.",
    Review.LAPSED: "By the text the right ends where nothing was arranged within a term, and that "
    "term is over for somebody here. Whether they arranged nothing is not on record: ask them, the "
    "local authority or counsel.",
    Review.PUBLIC_OFFICER: "Nobody of the known order may act, and a public officer signed by a "
    "written order that is on file. The order as it was read here names no such officer. Check "
    "with the local authority whether this one may.",
    Review.ORDER_EXHAUSTED: "Nobody of the known order may act. Ask the local authority who may: "
    "a public administrator, the coroner or a court. A public officer is named here with the "
    "written order.",
}
_PASSED: dict[Why, Callable[[PassedOver], str]] = {
    Why.DEAD: lambda over: "has died",
    Why.MINOR: lambda over: "is under age",
    Why.NOT_OF_SOUND_MIND: lambda over: "is recorded as not of sound mind",
    Why.EXCLUDED: lambda over: " and ".join(_fact(fact) for fact in over.facts),
    Why.NO_INSTRUMENT: lambda over: "has no paper or order on file that gives the right",
    Why.NOT_REACHED: lambda over: f"could not be reached; efforts on {_days(over.efforts_on)}",
    Why.LAPSED: lambda over: "let the term pass by, as far as it is on record",
    Why.NOT_IN_THE_ORDER: lambda over: "is not in the order as it is known here",
}


def explain(answer: Answer) -> tuple[str, ...]:
    """Say what the answer is, why, and what must be done and by whom. The first line is short."""
    return (
        _HEADLINES[answer.outcome],
        *_numbers(answer),
        *_objections(answer),
        *_to_do(answer),
        *_what_does_not_count(answer),
    )


def class_words(key: str) -> str:
    """The words for one member of a class; a key without words is shown as it is."""
    return CLASSES.get(key, key.replace("_", " "))


def _numbers(answer: Answer) -> Iterator[str]:
    if answer.deciding is not None and answer.count is not None:
        yield _numbers_of(answer.deciding, answer.count)
    if answer.count is not None and answer.count.by_lesser:
        yield (
            "They are fewer than the rank asks for, and suffice because the efforts to give "
            "notice to the others are recorded and no opposition is known that defeats them."
        )
    if answer.review is not None:
        yield _REVIEWS[answer.review]


def _numbers_of(rank: Rank, counted: Count) -> str:
    cited = f" ({rank.citation})" if rank.citation else ""
    return (
        f"The right lies with: {class_words(rank.key)}{cited}. {counted.signed} of "
        f"{counted.members} {_has(counted.signed)} signed; {counted.needed} must."
    )


def _objections(answer: Answer) -> Iterator[str]:
    for person in answer.objectors:
        if person.class_key == DIRECTIONS:
            yield "The decedent's own directions are against cremation."
        else:
            yield f"{_named(person)} objects."
    if answer.objectors and answer.count is not None:
        if answer.quorum_stands:
            yield "By the text the signatures are enough all the same; a manager decides."
        else:
            yield "With the objection the signatures are not enough by the text."


def _to_do(answer: Answer) -> Iterator[str]:
    for key in answer.rule_out:
        yield f"Record whether every {class_words(key)} is named, or that there is none."
    for person in answer.prove:
        yield f"Put on file the paper or order on which the right of {_named(person)} rests."
    for person in answer.unfounded:
        yield (
            f"Somebody else signed for {_named(person)}: record the written delegation, made "
            "before the signature to the one who signed."
        )
    if answer.may_sign and answer.more:
        yield f"{answer.more} more must sign, of: {_list(answer.may_sign)}."
    if _fewer_may_do(answer):
        yield "Fewer may be enough once efforts to give notice to all the others are recorded."
    if answer.seek:
        yield f"Or record the efforts to give notice to: {_list(answer.seek)}."
    if answer.outranked and answer.deciding is not None:
        yield _how_to_rule_out(answer.deciding)


def _fewer_may_do(answer: Answer) -> bool:
    """Whether nobody has signed yet where the text is content with a smaller number."""
    if answer.deciding is None or answer.count is None or answer.count.signed:
        return False
    return answer.more > 1 and answer.deciding.lesser is not Lesser.NONE


def _how_to_rule_out(rank: Rank) -> str:
    """What would let a lower rank act: one of these, recorded for each person of the rank."""
    ways = ["has died", "cannot be reached, with the efforts made"]
    ways += [_fact(fact) for fact in sorted(rank.excluded_when)]
    return (
        f"A lower rank may act only if it is recorded of each {class_words(rank.key)} named: "
        f"{'; or '.join(ways)}."
    )


def _what_does_not_count(answer: Answer) -> Iterator[str]:
    for over in answer.passed_over:
        yield f"{_named(over.person)} {_PASSED[over.why](over)}."
    if answer.outranked and answer.deciding is not None:
        yield f"Signed, but counts nothing beside a higher rank: {_list(answer.outranked)}."
    for person in answer.noted:
        yield f"{_named(person)} objects, without a right to decide; noted."


def _named(person: Person) -> str:
    return f"{person.name} ({class_words(person.class_key)})"


def _list(persons: Sequence[Person]) -> str:
    return ", ".join(_named(person) for person in persons)


def _has(number: int) -> str:
    return "has" if number == 1 else "have"


def _fact(key: str) -> str:
    return EXCLUSIONS.get(key, f"is recorded as: {key.replace('_', ' ')}")


def _days(days: Sequence[date]) -> str:
    return ", ".join(day.isoformat() for day in days)
