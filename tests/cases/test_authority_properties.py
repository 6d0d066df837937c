"""What holds of every answer, whoever is named and whatever the order of ranks."""

from dataclasses import replace

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

ANSWERED = st.sampled_from([None, True, False])
OBJECTIONS = st.sampled_from(
    [None, None, None, Objection(LATER, "letter"), Objection(AT, "letter", LATER, "agreement")]
)
SIGNED = st.sampled_from([None, signing(), signing(), signing(by="0")])


@st.composite
def people(draw: st.DrawFn) -> list[Person]:
    number = draw(st.integers(0, 7))
    return [_person(draw, str(place)) for place in range(number)]


def _person(draw: st.DrawFn, key: str) -> Person:
    return Person(
        key,
        f"N. {key}",
        draw(st.sampled_from((*KEYS, "child", "child", "delegate"))),
        living=draw(ANSWERED),
        reachable=draw(ANSWERED),
        efforts=draw(st.sampled_from([(), EFFORTS])),
        minor=draw(st.sampled_from([None, False, False, True])),
        sound_mind=draw(st.sampled_from([None, True, True, False])),
        signed=draw(SIGNED),
        withdrew_at=draw(st.sampled_from([None, None, None, AT, LATER])),
        objection=draw(OBJECTIONS),
        delegation=draw(st.sampled_from([None, None, delegation("0"), delegation("1")])),
        facts=draw(st.frozensets(st.sampled_from(FACTS), max_size=1)),
        instrument_on_file=draw(st.sampled_from([None, True, True, False])),
    )


@st.composite
def orders(draw: st.DrawFn) -> tuple[Rank, ...]:
    keys = draw(st.lists(st.sampled_from(KEYS[:5]), unique=True, max_size=5))
    return tuple(
        Rank(
            key,
            draw(st.sampled_from(Quorum)),
            draw(st.sampled_from(Lesser)),
            draw(st.frozensets(st.sampled_from(FACTS), max_size=1)),
        )
        for key in keys
    )


NAMED = st.one_of(st.just(frozenset(KEYS)), st.frozensets(st.sampled_from(KEYS)))


def one_of(persons: list[Person], data: st.DataObject) -> int:
    assume(persons)
    return data.draw(st.integers(0, len(persons) - 1))


@given(people(), orders(), NAMED, st.data())
def test_one_more_signature_takes_no_sufficiency_away(
    persons: list[Person], ranks: tuple[Rank, ...], named: frozenset[str], data: st.DataObject
) -> None:
    """Two exceptions lie in the texts, and have their own tests below."""
    before = decide(persons, ranks, named)
    place = one_of(persons, data)
    chosen = persons[place]
    # A signature by somebody recorded as out of reach brings them, and their rank, back.
    assume(chosen not in [over.person for over in before.passed_over])
    # One who has signed already, or took it back, does not sign a first time.
    assume(chosen.signed is None and chosen.withdrew_at is None)
    persons[place] = replace(chosen, signed=signing())
    after = decide(persons, ranks, named)
    assume(after.review is not Review.GAP_IN_THE_TEXT)
    if before.outcome is SUFFICIENT:
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


@given(people(), orders(), NAMED, st.data())
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


@given(people(), orders(), NAMED, st.data())
def test_a_stricter_quorum_never_makes_it_sufficient(
    persons: list[Person], ranks: tuple[Rank, ...], named: frozenset[str], data: st.DataObject
) -> None:
    assume(ranks)
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


@given(people(), orders(), NAMED, st.data())
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
