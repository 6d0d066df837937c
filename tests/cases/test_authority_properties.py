"""What holds of every answer, whoever is named and whatever the order of ranks."""

from dataclasses import replace
from typing import Any

from hypothesis import assume, given
from hypothesis import strategies as st

from cases.authority import (
    Lesser,
    Objection,
    Outcome,
    Person,
    Quorum,
    Rank,
    Review,
    decide,
    explain,
)
from tests.cases.orders import AT, EFFORTS, LATER, asked, delegation, several, signing

SUFFICIENT = Outcome.SUFFICIENT
KEYS = ("designated_agent", "spouse", "child", "parent", "decedent_directions", "guardian")
FACTS = ("separated_by_order", "divorce_pending")
# From lax to strict; what the text leaves open is as strict as ALL where it says "sufficient".
STRICTER = (Quorum.ONE, Quorum.ONE_UNLESS_OBJECTION, Quorum.MAJORITY, Quorum.ALL)

# What is recorded of a person, in every kind that changes an answer; most sign or do nothing.
SIGNS: dict[str, Any] = {"signed": signing()}
RECORDED: tuple[dict[str, Any], ...] = (
    *[{}] * 4,
    *[SIGNS] * 6,
    {"efforts": EFFORTS},
    {"efforts": EFFORTS, "reachable": False},
    {"reachable": False},
    {"living": True, "reachable": True, "minor": False, "sound_mind": True},
    {"living": False},
    {"minor": True, **SIGNS},
    {"sound_mind": False},
    {"objection": Objection(LATER, "letter")},
    {"objection": Objection(LATER, "letter"), **SIGNS},
    {"objection": Objection(AT, "letter", LATER, "agreement"), **SIGNS},
    {"withdrew_at": LATER, **SIGNS},
    {"withdrew_at": AT, **SIGNS},
    {"signed": signing(by="0")},
    {"signed": signing(by="0"), "delegation": delegation("0")},
    {"delegation": delegation("1"), "reachable": False, "efforts": EFFORTS},
    {"facts": frozenset({"separated_by_order"})},
    {"facts": frozenset({"divorce_pending"}), **SIGNS},
)
PERSONS = st.builds(
    lambda class_key, recorded, instrument: Person(
        "", "", class_key, instrument_on_file=instrument, **recorded
    ),
    st.sampled_from((*KEYS, *["child"] * 4, "delegate")),
    st.sampled_from(RECORDED),
    st.sampled_from([True, True, None, False]),
)


def _named(persons: list[Person]) -> list[Person]:
    return [replace(p, key=str(n), name=f"N. {n}") for n, p in enumerate(persons)]


def people(at_least: int = 0) -> st.SearchStrategy[list[Person]]:
    return st.lists(PERSONS, min_size=at_least, max_size=7).map(_named)


RANKS = st.builds(
    Rank,
    st.sampled_from(KEYS[:5]),
    st.sampled_from(Quorum),
    st.sampled_from(Lesser),
    st.sampled_from([frozenset(), frozenset(FACTS[:1]), frozenset(FACTS)]),
)


def orders(at_least: int = 0) -> st.SearchStrategy[tuple[Rank, ...]]:
    ranks = st.lists(RANKS, unique_by=lambda rank: rank.key, min_size=at_least, max_size=5)
    return ranks.map(tuple)


NAMED = st.sampled_from([frozenset(KEYS)] * 3 + [frozenset(KEYS) - {key} for key in KEYS])


def one_of(persons: list[Person], data: st.DataObject) -> int:
    return data.draw(st.integers(0, len(persons) - 1))


@given(people(1), orders(1), NAMED, st.data())
def test_one_more_signature_takes_no_sufficiency_away(
    persons: list[Person], ranks: tuple[Rank, ...], named: frozenset[str], data: st.DataObject
) -> None:
    """Two exceptions lie in the texts, and have their own tests below."""
    before = decide(persons, ranks, named)
    # Somebody recorded as out of reach who signs is back, and their rank with them; and who has
    # signed already, or took it back, does not sign a first time.
    passed = [over.person for over in before.passed_over]
    free = [p for p in persons if p not in passed and not p.signed and not p.withdrew_at]
    assume(free)
    signer = data.draw(st.sampled_from(free))
    after = decide(
        [replace(p, signed=signing()) if p is signer else p for p in persons], ranks, named
    )
    if before.outcome is SUFFICIENT and after.review is not Review.GAP_IN_THE_TEXT:
        assert after.outcome is SUFFICIENT


def test_the_gap_between_less_than_half_and_a_majority_is_the_texts_own() -> None:
    ranks = (Rank("child", Quorum.MAJORITY, Lesser.LESS_THAN_HALF),)
    outcomes = [
        asked(ranks, *several("child", 4, signed=n, efforts=EFFORTS)).outcome for n in range(5)
    ]
    assert outcomes == [
        Outcome.INSUFFICIENT,
        SUFFICIENT,
        Outcome.UNDECIDED,
        SUFFICIENT,
        SUFFICIENT,
    ]


def test_somebody_lost_who_signs_after_all_brings_their_rank_back() -> None:
    ranks = (Rank("child", Quorum.MAJORITY), Rank("parent", Quorum.ONE))
    lost = several("child", 2, reachable=False, efforts=EFFORTS)
    parent = several("parent", 1, signed=1)
    assert asked(ranks, *lost, *parent).outcome is SUFFICIENT
    back = [replace(lost[0], signed=signing()), lost[1]]
    assert asked(ranks, *back, *parent).outcome is Outcome.INSUFFICIENT


@given(people(1), orders(), NAMED, st.data())
def test_one_more_objection_never_makes_it_sufficient(
    persons: list[Person], ranks: tuple[Rank, ...], named: frozenset[str], data: st.DataObject
) -> None:
    before = decide(persons, ranks, named)
    place = one_of(persons, data)
    persons[place] = replace(persons[place], objection=Objection(LATER, "letter"))
    if before.outcome is not SUFFICIENT:
        assert decide(persons, ranks, named).outcome is not SUFFICIENT


@given(people(), orders(), NAMED, st.data())
def test_the_order_of_the_persons_does_not_matter(
    persons: list[Person], ranks: tuple[Rank, ...], named: frozenset[str], data: st.DataObject
) -> None:
    mixed = data.draw(st.permutations(persons))
    assert decide(mixed, ranks, named) == decide(persons, ranks, named)


@given(people(1), orders(1), NAMED, st.data())
def test_a_stricter_quorum_never_makes_it_sufficient(
    persons: list[Person], ranks: tuple[Rank, ...], named: frozenset[str], data: st.DataObject
) -> None:
    place = data.draw(st.integers(0, len(ranks) - 1))
    rank = ranks[place]
    assume(rank.quorum in STRICTER)
    stricter = data.draw(st.sampled_from(STRICTER[STRICTER.index(rank.quorum) :]))
    lesser = data.draw(st.sampled_from([rank.lesser, Lesser.NONE]))
    tightened = (
        *ranks[:place],
        replace(rank, quorum=stricter, lesser=lesser),
        *ranks[place + 1 :],
    )
    if decide(persons, ranks, named).outcome is not SUFFICIENT:
        assert decide(persons, tightened, named).outcome is not SUFFICIENT


@given(people(1), orders(2), NAMED, st.data())
def test_a_living_person_above_who_did_not_sign_never_makes_it_sufficient(
    persons: list[Person], ranks: tuple[Rank, ...], named: frozenset[str], data: st.DataObject
) -> None:
    before = decide(persons, ranks, named)
    assume(before.deciding is not None)
    places = [rank.key for rank in ranks]
    above = places[: places.index(before.deciding.key)] if before.deciding else []
    assume(above)
    higher = Person("higher", "N. Higher", data.draw(st.sampled_from(above)), living=True)
    after = decide([*persons, higher], ranks, named)
    assert after.outcome is not SUFFICIENT


@given(people(), orders(), NAMED)
def test_every_answer_is_explained(
    persons: list[Person], ranks: tuple[Rank, ...], named: frozenset[str]
) -> None:
    answer = decide(persons, ranks, named)
    lines = explain(answer)
    assert all(line.endswith(".") for line in lines)
    for over in answer.passed_over:
        assert sum(line.startswith(over.person.name) for line in lines) >= 1
    if answer.outcome is not SUFFICIENT:
        assert len(lines) > 1
    if answer.outcome is SUFFICIENT:
        assert answer.count is not None
        assert answer.count.met
        assert not answer.objectors
        assert not answer.rule_out
