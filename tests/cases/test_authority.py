"""Who may authorize: worked examples of the texts, each with its source."""

from datetime import date, timedelta
from typing import Any

import pytest

from cases.authority import (
    DELEGATE,
    EXCLUSIONS,
    Lesser,
    NoticeEffort,
    Objection,
    Outcome,
    Person,
    Quorum,
    Rank,
    Review,
    Why,
    majority,
)
from tests.cases import orders
from tests.cases.orders import (
    CA,
    CO,
    EFFORTS,
    EVERYONE,
    FL,
    IL,
    LATER,
    MT,
    OH,
    SC,
    SD,
    TN,
    TX,
    WA,
    asked,
    delegation,
    person,
    several,
    signing,
)

DISPUTED, INSUFFICIENT = Outcome.DISPUTED, Outcome.INSUFFICIENT
SUFFICIENT, UNDECIDED = Outcome.SUFFICIENT, Outcome.UNDECIDED
BY_INSTRUMENT: dict[str, Any] = {"instrument_on_file": True}


def keys(persons: tuple[Person, ...]) -> list[str]:
    return [p.key for p in persons]


def test_majority_is_more_than_half() -> None:
    assert [majority(n) for n in range(1, 9)] == [1, 2, 2, 3, 3, 4, 4, 5]


@pytest.mark.parametrize(
    ("ranks", "children", "expected", "source"),
    [
        # Five adult children under a majority: 3 needed.
        (CO, several("child", 5, signed=2), INSUFFICIENT, "15-19-106(1)"),
        (CO, several("child", 5, signed=3), SUFFICIENT, "15-19-106(1)"),
        (CA, several("child", 5, signed=2), INSUFFICIENT, "HSC 7100"),
        (CA, several("child", 5, signed=3), SUFFICIENT, "HSC 7100"),
        (CO, several("child", 5, signed=3, objecting=1), DISPUTED, "15-19-106(1), (3)"),
        (CO, several("child", 5, signed=2, objecting=1), DISPUTED, "15-19-106(1), (3)"),
        # Two of four is no majority.
        (CO, several("child", 4, signed=2), INSUFFICIENT, "15-19-106(1)"),
        (CO, several("child", 4, signed=3), SUFFICIENT, "15-19-106(1)"),
        (SD, several("child", 4, signed=2), INSUFFICIENT, "34-26-75: no efforts recorded"),
        (SD, several("child", 4, signed=2, efforts=EFFORTS), SUFFICIENT, "34-26-75"),
        (CA, several("child", 4, signed=2, efforts=EFFORTS), SUFFICIENT, "HSC 7100"),
        (CO, several("child", 4, signed=2, efforts=EFFORTS), INSUFFICIENT, "no such relief"),
        # Exactly half in Illinois: neither a majority nor "less than one-half".
        (IL, several("child", 4, signed=2, efforts=EFFORTS), UNDECIDED, "65/5"),
        (IL, several("child", 4, signed=2), UNDECIDED, "65/5"),
        (IL, several("child", 4, signed=1, efforts=EFFORTS), SUFFICIENT, "65/5"),
        (IL, several("child", 4, signed=1), INSUFFICIENT, "65/5"),
        (IL, several("child", 4, signed=3), SUFFICIENT, "65/5"),
        # Two children, one signs, the other not reached with efforts recorded.
        (SD, several("child", 2, signed=1, efforts=EFFORTS, reachable=False), SUFFICIENT, ""),
        (CA, several("child", 2, signed=1, efforts=EFFORTS, reachable=False), SUFFICIENT, ""),
        (TX, several("child", 2, signed=1, efforts=EFFORTS, reachable=False), SUFFICIENT, ""),
        (CO, several("child", 2, signed=1, efforts=EFFORTS, reachable=False), INSUFFICIENT, ""),
        (IL, several("child", 2, signed=1, efforts=EFFORTS, reachable=False), UNDECIDED, ""),
        (MT, several("child", 3, signed=1, efforts=EFFORTS), SUFFICIENT, "37-19-904, secondary"),
        (TN, several("child", 3, signed=1, efforts=EFFORTS), SUFFICIENT, "62-5-703, secondary"),
        # Washington: a majority of three.
        (WA, several("child", 3, signed=1), INSUFFICIENT, "68.50.160, secondary"),
        (WA, several("child", 3, signed=2), SUFFICIENT, "68.50.160, secondary"),
        # Florida and Texas: any one child.
        (FL, several("child", 3, signed=1), SUFFICIENT, "497.005(43) as quoted"),
        (TX, several("child", 3, signed=1), SUFFICIENT, "711.002(a)"),
        (FL, several("child", 3, signed=1, objecting=1), DISPUTED, "497.005(43) as quoted"),
        # South Carolina: one may sign unless aware of an objection.
        (SC, several("child", 3, signed=1), SUFFICIENT, "32-8-320(B)"),
        (SC, several("child", 3, signed=1, objecting=1), DISPUTED, "32-8-320(B)"),
        # Ohio: "all children collectively".
        (OH, several("child", 1, signed=1), SUFFICIENT, "2108.81(B)"),
        (OH, several("child", 3, signed=3), SUFFICIENT, "2108.81(B)"),
        (OH, several("child", 3, signed=2), UNDECIDED, "2108.81(B); 2108.79 unread"),
        (OH, several("child", 3), INSUFFICIENT, "2108.81(B)"),
    ],
)
def test_it_counts_children_as_the_text_does(
    ranks: tuple[Rank, ...], children: list[Person], expected: Outcome, source: str
) -> None:
    assert asked(ranks, *children).outcome is expected, source


def test_it_says_who_must_still_sign_and_how_many() -> None:
    answer = asked(CO, *several("child", 5, signed=2))
    assert answer.deciding is not None
    assert (answer.deciding.key, answer.more) == ("child", 1)
    assert keys(answer.may_sign) == ["child-2", "child-3", "child-4"]


def test_two_children_who_disagree_have_no_majority() -> None:
    for ranks in (CO, CA, SD, IL):
        answer = asked(ranks, *several("child", 2, signed=1, objecting=1))
        assert (answer.outcome, answer.quorum_stands) == (DISPUTED, False)


@pytest.mark.parametrize(
    ("ranks", "children", "stands"),
    [
        (CO, several("child", 5, signed=3, objecting=1), True),
        (CO, several("child", 5, signed=3, objecting=2), True),
        (CO, several("child", 5, signed=2, objecting=1), False),
        (SC, several("child", 3, signed=1, objecting=1), False),  # then a majority: from memory
        (SC, several("child", 3, signed=2, objecting=1), True),
        (FL, several("child", 3, signed=1, objecting=1), True),
        (CA, several("child", 4, signed=1, objecting=1, efforts=EFFORTS), True),
        (CA, several("child", 4, signed=1, objecting=2, efforts=EFFORTS), False),
        (CA, several("parent", 2, signed=1, objecting=1), False),
    ],
)
def test_a_dispute_says_whether_the_number_stands(
    ranks: tuple[Rank, ...], children: list[Person], stands: bool
) -> None:
    answer = asked(ranks, *children)
    assert (answer.outcome, answer.quorum_stands) == (DISPUTED, stands)
    assert keys(answer.objectors) == [p.key for p in children if p.objection]


def test_no_number_stands_while_a_class_is_not_ruled_out_or_somebody_has_no_place() -> None:
    children = several("child", 5, signed=3, objecting=1)
    assert not asked(CO, *children, all_named=EVERYONE - {"spouse"}).quorum_stands
    assert not asked(CO, *children, person("dd93", **BY_INSTRUMENT)).quorum_stands


def test_who_objects_or_only_lacks_a_paper_is_not_asked_to_sign() -> None:
    children = several("child", 5, signed=2, objecting=1)
    assert keys(asked(CO, *children).may_sign) == ["child-2", "child-3"]
    unproved = asked(CA, person("health_care_agent", signs=True))
    assert (unproved.may_sign, keys(unproved.prove)) == ((), ["health_care_agent"])


@pytest.mark.parametrize("ranks", [SC, IL, CA, OH, SD, FL, MT, TN, TX, CO, WA])
def test_the_children_cannot_sign_past_a_living_spouse(ranks: tuple[Rank, ...]) -> None:
    answer = asked(ranks, person("spouse"), *several("child", 3, signed=3))
    assert answer.outcome is INSUFFICIENT
    assert keys(answer.may_sign) == ["spouse"]
    assert keys(answer.outranked) == ["child-0", "child-1", "child-2"]


@pytest.mark.parametrize("ranks", [CO, SC])
def test_a_spouse_separated_by_order_is_passed_over(ranks: tuple[Rank, ...]) -> None:
    # Colorado "not legally separated"; S.C. 32-8-320(A) "unless separated by listed order".
    spouse = person("spouse", facts=frozenset({"separated_by_order"}))
    answer = asked(ranks, spouse, *several("child", 3, signed=3))
    assert answer.outcome is SUFFICIENT
    (passed,) = answer.passed_over
    assert (passed.person, passed.why) == (spouse, Why.EXCLUDED)
    assert passed.facts == ("separated_by_order",)


def test_living_apart_without_an_order_takes_nothing_away() -> None:
    spouse = person("spouse", facts=frozenset({"living_apart"}))
    assert asked(CO, spouse, *several("child", 3, signed=3)).outcome is INSUFFICIENT


def test_a_fact_counts_only_where_the_text_names_it() -> None:
    spouse = person("spouse", facts=frozenset({"separated_by_order"}))
    assert asked(CA, spouse, *several("child", 1, signed=1)).outcome is INSUFFICIENT


def test_a_spouse_arrested_for_the_death_is_passed_over_in_florida() -> None:
    spouse = person("spouse", facts=frozenset({"arrested_for_the_death"}))
    assert asked(FL, spouse, person("child", signs=True)).outcome is SUFFICIENT


def test_the_personal_representative_comes_before_the_spouse_in_colorado() -> None:
    executor = person("personal_representative", **BY_INSTRUMENT)
    spouse = person("spouse", signs=True)
    assert asked(CO, executor, spouse).outcome is INSUFFICIENT
    executor = person("personal_representative", signs=True, **BY_INSTRUMENT)
    assert asked(CO, executor, person("spouse")).outcome is SUFFICIENT


def test_the_spouse_comes_before_the_executor_in_texas() -> None:
    executor = person("personal_representative", signs=True, **BY_INSTRUMENT)
    assert asked(TX, executor, person("spouse")).outcome is INSUFFICIENT
    executor = person("personal_representative", **BY_INSTRUMENT)
    assert asked(TX, executor, person("spouse", signs=True)).outcome is SUFFICIENT


def test_the_personal_representative_overrides_nobody_in_tennessee() -> None:
    # 62-5-706: payer and personal representative gain no priority.
    executor = person("personal_representative", signs=True, **BY_INSTRUMENT)
    answer = asked(TN, executor, person("spouse"))
    assert answer.outcome is INSUFFICIENT
    assert keys(answer.outranked) == ["personal_representative"]
    assert answer.passed_over[0].why is Why.NOT_IN_THE_ORDER


@pytest.mark.parametrize(
    ("given", "why"),
    [
        ({"living": False}, Why.DEAD),
        ({"minor": True}, Why.MINOR),
        ({"sound_mind": False}, Why.NOT_OF_SOUND_MIND),
        ({"reachable": False, "efforts": EFFORTS}, Why.NOT_REACHED),
    ],
)
def test_everybody_passed_over_is_explained(given: dict[str, Any], why: Why) -> None:
    answer = asked(CA, person("spouse", **given), person("child", signs=True))
    assert answer.outcome is SUFFICIENT
    assert [(over.person.key, over.why) for over in answer.passed_over] == [("spouse", why)]


def test_the_days_of_the_efforts_are_kept() -> None:
    efforts = (NoticeEffort(date(2026, 3, 4), "letter"), NoticeEffort(date(2026, 3, 3), "call"))
    spouse = person("spouse", reachable=False, efforts=efforts)
    (passed,) = asked(CA, spouse, person("child", signs=True)).passed_over
    assert passed.efforts_on == (date(2026, 3, 3), date(2026, 3, 4))


@pytest.mark.parametrize("given", [{}, {"reachable": False}, {"efforts": EFFORTS}])
def test_without_an_answer_and_efforts_a_person_counts_as_living_and_reachable(
    given: dict[str, Any],
) -> None:
    answer = asked(CA, person("spouse", **given), person("child", signs=True))
    assert answer.outcome is INSUFFICIENT


def test_somebody_heard_of_is_not_unreachable() -> None:
    spouse = person("spouse", reachable=False, efforts=EFFORTS, objects=True)
    answer = asked(CA, spouse, person("child", signs=True))
    assert (answer.outcome, keys(answer.objectors)) == (DISPUTED, ["spouse"])


def test_the_dead_do_not_count_in_the_number() -> None:
    children = several("child", 3, signed=2)
    dead = [person("child", f"dead-{n}", living=False) for n in range(4)]
    assert asked(CO, *children, *dead).outcome is SUFFICIENT


def test_a_class_of_which_nobody_is_named_must_be_ruled_out() -> None:
    named = EVERYONE - {"spouse"}
    answer = asked(CA, *several("child", 3, signed=3), all_named=named)
    assert (answer.outcome, answer.rule_out, answer.more) == (INSUFFICIENT, ("spouse",), 0)


def test_a_majority_needs_to_know_that_all_are_named_and_any_one_does_not() -> None:
    named = EVERYONE - {"child"}
    assert asked(CO, *several("child", 3, signed=2), all_named=named).rule_out == ("child",)
    assert asked(TX, *several("child", 3, signed=1), all_named=named).outcome is SUFFICIENT


def test_no_children_named_and_nobody_said_that_there_are_none() -> None:
    answer = asked(CA, all_named=frozenset())
    assert answer.outcome is INSUFFICIENT
    assert answer.rule_out == ("health_care_agent", "spouse", "child", "parent")


def test_an_objection_of_a_lower_rank_is_noted_and_disputes_nothing() -> None:
    answer = asked(CA, person("spouse", signs=True), person("child", objects=True))
    assert (answer.outcome, keys(answer.noted)) == (SUFFICIENT, ["child"])


def test_an_objection_of_somebody_passed_over_is_noted() -> None:
    answer = asked(
        CA, person("spouse", signs=True), person("spouse", "b", minor=True, objects=True)
    )
    assert (answer.outcome, keys(answer.noted)) == (SUFFICIENT, ["b"])


def test_a_settled_objection_no_longer_disputes() -> None:
    settled = Objection(LATER, "letter", LATER + timedelta(days=9), "court order")
    children = [*several("child", 2, signed=2), person("child", "c", objection=settled)]
    assert asked(CO, *children).outcome is SUFFICIENT


def test_a_standing_objection_outweighs_the_same_persons_signature() -> None:
    answer = asked(CA, person("spouse", signs=True, objects=True))
    assert (answer.outcome, answer.signed) == (DISPUTED, ())


def test_a_withdrawn_signature_counts_as_an_objection_until_signed_anew() -> None:
    withdrew = LATER + timedelta(hours=1)
    spouse = person("spouse", signs=True, withdrew_at=withdrew)
    assert asked(CA, spouse).outcome is DISPUTED
    anew = person("spouse", signed=signing(at=withdrew + timedelta(hours=1)), withdrew_at=withdrew)
    assert asked(CA, anew).outcome is SUFFICIENT
    at_once = person("spouse", signed=signing(at=withdrew), withdrew_at=withdrew)
    assert asked(CA, at_once).outcome is DISPUTED


def test_the_decedents_own_directions_are_enough_where_they_rank() -> None:
    # RCW 68.50.160: the decedent's own signed, witnessed writing is enough.
    own = person("decedent_directions", living=False, signs=True, **BY_INSTRUMENT)
    assert asked(WA, own, person("spouse")).outcome is SUFFICIENT


@pytest.mark.parametrize("ranks", [WA, CA])
def test_directions_against_cremation_dispute_it_also_where_they_do_not_rank(
    ranks: tuple[Rank, ...],
) -> None:
    against = person("decedent_directions", objects=True, **BY_INSTRUMENT)
    assert asked(ranks, against, person("spouse", signs=True)).outcome is DISPUTED


def test_directions_that_were_looked_for_and_do_not_exist_dispute_nothing() -> None:
    rumour = person("decedent_directions", objects=True, instrument_on_file=False)
    answer = asked(CA, rumour, person("spouse", signs=True))
    assert (answer.outcome, keys(answer.noted)) == (SUFFICIENT, ["decedent_directions"])


@pytest.mark.parametrize("class_key", ["designated_agent", "dd93", "health_care_agent"])
def test_a_right_that_rests_on_a_paper_needs_it_on_file(class_key: str) -> None:
    ranks = (Rank(class_key, Quorum.ONE), orders.SPOUSE)
    spouse = person("spouse", signs=True)
    unproved = asked(ranks, person(class_key, signs=True), spouse)
    assert (unproved.outcome, keys(unproved.prove)) == (INSUFFICIENT, [class_key])
    agent = person(class_key, signs=True, **BY_INSTRUMENT)
    assert asked(ranks, agent, person("spouse")).outcome is SUFFICIENT
    none = asked(ranks, person(class_key, instrument_on_file=False), spouse)
    assert (none.outcome, none.passed_over[0].why) == (SUFFICIENT, Why.NO_INSTRUMENT)


def test_dd_form_93_comes_before_the_named_agent_in_montana() -> None:
    agent = person("designated_agent", signs=True, **BY_INSTRUMENT)
    assert asked(MT, agent).outcome is SUFFICIENT
    assert asked(MT, agent, person("dd93", **BY_INSTRUMENT)).outcome is INSUFFICIENT


def test_the_public_administrator_may_sign_for_the_unclaimed() -> None:
    ranks = (orders.SPOUSE, Rank("public_administrator", Quorum.ONE))
    officer = person("public_administrator", signs=True, **BY_INSTRUMENT)
    assert asked(ranks, officer).outcome is SUFFICIENT
    assert asked(ranks, officer, all_named=frozenset()).rule_out == ("spouse",)


def test_a_delegate_signs_in_writing_for_the_one_who_delegated() -> None:
    # SDCL 34-26A-7: an absent right-holder delegates in writing.
    away = person(
        "spouse",
        reachable=False,
        efforts=EFFORTS,
        delegation=delegation("friend"),
        signed=signing(by="friend"),
    )
    friend = person(DELEGATE, "friend")
    assert asked(SD, away, friend, person("child")).outcome is SUFFICIENT


@pytest.mark.parametrize(
    ("given", "friend"),
    [
        ({"delegation": delegation("friend", in_writing=False)}, {}),
        ({"delegation": delegation("other")}, {}),
        ({"delegation": delegation("friend", at=LATER + timedelta(hours=1))}, {}),
        ({}, {}),
        ({"delegation": delegation("friend")}, {"minor": True}),
        ({"delegation": delegation("friend")}, {"living": False}),
    ],
)
def test_anybody_elses_hand_signs_for_nobody(given: dict[str, Any], friend: dict[str, Any]) -> None:
    spouse = person("spouse", signed=signing(by="friend"), **given)
    answer = asked(SD, spouse, person(DELEGATE, "friend", **friend))
    assert (answer.outcome, keys(answer.unfounded)) == (INSUFFICIENT, ["spouse"])


def test_a_delegate_counts_once_for_each_who_delegated_and_passes_nothing_on() -> None:
    two = [person("child", key, delegation=delegation("c"), signed=signing(by="c")) for key in "ab"]
    sister = person("child", "c")
    assert keys(asked(CO, *two, sister).signed) == ["a", "b"]
    handed_on = person("child", "c", delegation=delegation("d"))
    by_fourth = [
        person("child", key, delegation=delegation("c"), signed=signing(by="d")) for key in "ab"
    ]
    answer = asked(CO, *by_fourth, handed_on, person(DELEGATE, "d", signs=True))
    assert (answer.outcome, answer.signed, answer.outranked) == (INSUFFICIENT, (), ())


def test_a_person_with_a_willing_delegate_is_not_out_of_reach() -> None:
    away = person("spouse", reachable=False, efforts=EFFORTS, delegation=delegation("friend"))
    answer = asked(SD, away, person(DELEGATE, "friend"), person("child", signs=True))
    assert answer.outcome is INSUFFICIENT


def test_one_parent_is_enough_when_the_other_cannot_be_found() -> None:
    # SD: "parents, or one if the other cannot be located".
    lost = person("parent", "b", reachable=False, efforts=EFFORTS)
    assert asked(SD, person("parent", "a", signs=True), lost).outcome is SUFFICIENT
    silent = person("parent", "b")
    answer = asked(SD, person("parent", "a", signs=True), silent)
    assert (answer.outcome, keys(answer.seek)) == (INSUFFICIENT, ["b"])


def test_nobody_left_and_no_order_known_are_for_a_person_to_review() -> None:
    assert asked(CA).review is Review.ORDER_EXHAUSTED
    unknown = asked((), person("spouse", signs=True))
    assert (unknown.outcome, unknown.review) == (UNDECIDED, Review.ORDER_UNKNOWN)
    objected = asked((), person("spouse", signs=True), person("child", objects=True))
    assert objected.outcome is DISPUTED


@pytest.mark.parametrize("class_key", ["designated_agent", "dd93", "decedent_directions"])
def test_somebody_the_decedent_chose_whom_the_order_leaves_out_is_for_review(
    class_key: str,
) -> None:
    ranks, spouse = (orders.SPOUSE,), person("spouse", signs=True)
    answer = asked(ranks, spouse, person(class_key, **BY_INSTRUMENT))
    assert (answer.outcome, answer.review) == (UNDECIDED, Review.PLACE_UNKNOWN)
    agreed = asked(ranks, spouse, person(class_key, signs=True, **BY_INSTRUMENT))
    assert agreed.outcome is SUFFICIENT
    none = asked(ranks, spouse, person(class_key, instrument_on_file=False))
    assert none.outcome is SUFFICIENT


def test_an_order_that_was_read_only_in_part_ends_in_a_review() -> None:
    # Georgia 31-21-7: only the first ranks were read.
    ranks = (Rank("health_care_agent", Quorum.ONE),)
    answer = asked(ranks, person("spouse", signs=True))
    assert (answer.outcome, answer.review) == (UNDECIDED, Review.ORDER_EXHAUSTED)


def test_an_unknown_quorum_is_met_only_by_all() -> None:
    ranks = (Rank("child", Quorum.UNKNOWN),)
    assert asked(ranks, *several("child", 2, signed=1)).review is Review.QUORUM_UNKNOWN
    assert asked(ranks, *several("child", 2, signed=2)).outcome is SUFFICIENT


def test_it_refuses_a_person_named_twice_in_a_class_and_a_class_with_two_ranks() -> None:
    with pytest.raises(ValueError, match="twice"):
        asked(CA, person("spouse"), person("spouse"))
    with pytest.raises(ValueError, match="two ranks"):
        asked((orders.SPOUSE, orders.SPOUSE))


def test_somebody_in_two_classes_is_named_in_each() -> None:
    both = [
        person("personal_representative", "p", signs=True, **BY_INSTRUMENT),
        person("spouse", "p"),
    ]
    assert asked(CO, *both).outcome is SUFFICIENT


def test_all_but_a_majority_alone_is_a_gap_where_all_must_sign() -> None:
    ranks = (Rank("child", Quorum.ALL, Lesser.LESS_THAN_MAJORITY),)
    answer = asked(ranks, *several("child", 3, signed=2, efforts=EFFORTS))
    assert (answer.outcome, answer.review) == (UNDECIDED, Review.GAP_IN_THE_TEXT)


def test_every_exclusion_of_the_orders_has_words() -> None:
    named = {fact for ranks in (CO, SC, FL) for rank in ranks for fact in rank.excluded_when}
    assert named <= EXCLUSIONS.keys()
