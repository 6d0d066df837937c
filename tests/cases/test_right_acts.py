"""What may be stated of those with a say: every refusal, and what each statement makes of it."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import DatabaseError, transaction

from cases import acts, right, right_acts
from cases.authority import Outcome
from cases.authority.counting import Review
from cases.errors import ActRefused
from cases.models import (
    AuthorityReview,
    AuthorizingAgent,
    Case,
    HolderFacts,
    RankNamed,
    RightHolder,
)
from cases.right_acts import Known, Named, Said
from cases.taking import lock
from chain_of_custody.models import CustodyEntry
from chain_of_custody.trail import facts_of
from crematory import clock
from crematory.models import Facility, StaffMember
from tests import cast

pytestmark = pytest.mark.django_db
EFFORTS = ((date(2024, 3, 3), "registered letter"),)


def refused(act: Any) -> str:
    """Return the code with which the act is refused; nothing else may come of it."""
    tables = (RightHolder, HolderFacts, RankNamed, AuthorizingAgent, AuthorityReview)
    before = [model._default_manager.count() for model in tables]
    with pytest.raises(ActRefused) as caught:
        act()
    assert [model._default_manager.count() for model in tables] == before
    return caught.value.code


def outcome(case: Case) -> Outcome:
    return right.answer_for(Case.objects.get(pk=case.pk)).outcome


def ruled_out(case: Case, clerk: StaffMember, upto: str = "child") -> None:
    """Say of every class down to this one that everybody is named."""
    order = [rank.key for rank in case.law.ranks]
    ranks = dict.fromkeys(order[: order.index(upto) + 1], True)
    right_acts.state_ranks(case, clerk, cast.token(), ranks, "the family")


def said(position: str, **more: Any) -> Said:
    return Said(**{"position": position, "said_at": clock.now(), "how": "letter", **more})


@pytest.fixture
def son(case: Case, clerk: StaffMember) -> RightHolder:
    return cast.says(case, clerk, "Ben Example", "")


# Naming


def test_one_act_names_knows_and_lets_speak(case: Case, clerk: StaffMember) -> None:
    known = Known(informant="his sister", is_living=True)
    who = Named(name=" Ben Example ", rank="child", relationship=" son ")
    entry = right_acts.name_holder(case, clerk, cast.token(), who, known, said("signed"))
    holder = case.right_holders.get()
    assert (holder.name, holder.relationship, holder.person) == ("Ben Example", "son", 1)
    assert right.person_of(holder).has_signed
    facts = facts_of(entry)
    assert (facts["rank"], facts["name"], facts["position"]) == ("child", "Ben Example", "signed")
    assert "Ben Example" not in entry.payload
    assert "his sister" not in entry.payload


def test_a_repeated_token_names_once(case: Case, clerk: StaffMember) -> None:
    token, who = cast.token(), Named(name="Ben Example", rank="child", relationship="son")
    first = right_acts.name_holder(case, clerk, token, who)
    assert right_acts.name_holder(case, clerk, token, who) == first
    assert case.right_holders.count() == 1


def test_nobody_is_counted_twice(case: Case, clerk: StaffMember, son: RightHolder) -> None:
    assert refused(lambda: cast.says(case, clerk, "BEN  example", "signed")) == "named_before"
    cast.says(case, clerk, "Ben Example", "signed", relationship="younger son")
    assert sorted(case.right_holders.values_list("person", flat=True)) == [1, 2]


def test_a_second_class_of_the_same_person(
    case: Case, clerk: StaffMember, son: RightHolder
) -> None:
    agent = cast.also(son, clerk, "designated_agent")
    assert agent.person == son.person

    def also(**changes: Any) -> Any:
        named = {"name": "Ben Example", "rank": "guardian", "relationship": "son", "person": 1}
        who = Named(**{**named, **changes})
        return right_acts.name_holder(case, clerk, cast.token(), who)

    assert refused(lambda: also(person=9)) == "person_unknown"
    assert refused(lambda: also(name="Bert Example")) == "name_differs"
    assert refused(lambda: also(rank="child")) == "named_before"


@pytest.mark.parametrize("field", ["name", "rank", "relationship"])
def test_nobody_is_named_without(case: Case, clerk: StaffMember, field: str) -> None:
    named: dict[str, Any] = {"name": "Ben Example", "rank": "child", "relationship": "son"}
    named[field] = " "
    with pytest.raises(ValidationError):
        right_acts.name_holder(case, clerk, cast.token(), Named(**named))
    assert not case.right_holders.exists()


def test_who_states_and_until_when(
    case: Case, operator: StaffMember, clerk: StaffMember, son: RightHolder
) -> None:
    known = Known(informant="the family")

    def acts(member: StaffMember) -> list[Any]:
        who = Named(name="Cleo Example", rank="child", relationship="daughter")
        return [
            lambda: right_acts.name_holder(case, member, cast.token(), who),
            lambda: right_acts.state_known(son, member, cast.token(), known),
            lambda: right_acts.state_agent(son, member, cast.token(), said("signed")),
            lambda: right_acts.state_ranks(case, member, cast.token(), {"child": True}, "her"),
        ]

    assert {refused(act) for act in acts(operator)} == {"role"}
    case.refresh_from_db()
    cast.bring(case, "returned")
    assert {refused(act) for act in acts(clerk)} == {"stage"}
    assert CustodyEntry.objects.filter(outcome="refused", case=case).count() == 8


# What is known


def test_not_reachable_takes_efforts(case: Case, clerk: StaffMember, son: RightHolder) -> None:
    assert refused(lambda: cast.knows(son, clerk, is_reachable=False)) == "efforts_missing"
    cast.knows(son, clerk, is_reachable=False, efforts=EFFORTS)
    person = right.person_of(RightHolder.objects.get())
    assert person.reachable is False
    assert person.efforts[0].how == "registered letter"


def test_an_effort_lies_not_before_the_death(
    case: Case, clerk: StaffMember, son: RightHolder
) -> None:
    """It lets somebody be passed over: nobody was told of a death that had not come."""
    first = case.days_of_death[0]
    for day, is_refused in ((first - timedelta(days=1), True), (first, False)):
        efforts = ((day, "letter"), (first, "call"))
        if is_refused:
            code = refused(lambda: cast.knows(son, clerk, is_reachable=False, efforts=efforts))  # noqa: B023
            assert code == "effort_too_early"
        else:
            cast.knows(son, clerk, is_reachable=False, efforts=efforts)


def test_an_effort_lies_not_in_the_future(clerk: StaffMember, son: RightHolder) -> None:
    later = ((clock.now().date() + timedelta(days=2), "letter"),)
    code = refused(lambda: cast.knows(son, clerk, is_reachable=False, efforts=later))
    assert code == "time_future"


@pytest.mark.parametrize(
    ("zone", "day", "is_future"),
    [
        ("Australia/Sydney", date(2024, 3, 6), False),
        ("Australia/Sydney", date(2024, 3, 7), True),
        ("America/Denver", date(2024, 3, 5), False),
        ("America/Denver", date(2024, 3, 6), True),
    ],
)
def test_the_day_of_an_effort_is_the_houses(
    case: Case, clerk: StaffMember, zone: str, day: date, is_future: bool
) -> None:
    Facility.objects.update(time_zone=zone)
    cast.says(case, clerk, "Ben Example", "")
    son = RightHolder.objects.get()
    hour = 20 if zone.startswith("Australia") else 3  # UTC: there it is another day
    at = datetime(2024, 3, 5 if hour == 20 else 6, hour, tzinfo=UTC)
    with clock.pinned(at):
        efforts = ((day, "letter"),)
        if is_future:
            code = refused(lambda: cast.knows(son, clerk, is_reachable=False, efforts=efforts))
            assert code == "time_future"
        else:
            cast.knows(son, clerk, is_reachable=False, efforts=efforts)


def test_what_nobody_may_state(
    case: Case, facility: Facility, clerk: StaffMember, son: RightHolder
) -> None:
    elsewhere = cast.make_case(facility)
    stranger = cast.says(elsewhere, clerk, "Cleo Example", "")
    agent = cast.also(son, clerk, "designated_agent")
    now = clock.now()
    for holder, known, code in (
        (son, {"excluded": frozenset({"disliked"})}, "exclusion_unknown"),
        (son, {"has_instrument": True}, "instrument_not_asked"),
        (agent, {"has_instrument": True}, "instrument_missing"),
        (
            agent,
            {"has_instrument": True, "instrument": cast.paper(elsewhere, "other")},
            "document_unknown",
        ),
        (son, {"delegated_to": stranger, "delegated_at": now}, "person_unknown"),
        (son, {"delegated_to": agent, "delegated_at": now}, "delegate_self"),
        (son, {"informant": " "}, "informant_missing"),
    ):
        assert refused(lambda h=holder, k=known: cast.knows(h, clerk, **k)) == code


def test_a_delegation_has_a_day(case: Case, clerk: StaffMember, son: RightHolder) -> None:
    aunt = cast.says(case, clerk, "Cleo Example", "", rank="delegate", relationship="aunt")
    assert refused(lambda: cast.knows(son, clerk, delegated_to=aunt)) == "delegation_undated"
    later = clock.now() + timedelta(minutes=1)
    code = refused(lambda: cast.knows(son, clerk, delegated_to=aunt, delegated_at=later))
    assert code == "time_future"


def test_a_delegate_signs_in_anothers_place(
    case: Case, clerk: StaffMember, son: RightHolder
) -> None:
    ruled_out(case, clerk)
    aunt = cast.says(case, clerk, "Cleo Example", "", rank="delegate", relationship="aunt")
    cast.speaks(son, clerk, "signed", by_delegate=aunt)
    assert outcome(case) is Outcome.INSUFFICIENT  # nothing was delegated
    given = clock.now() - timedelta(hours=1)
    cast.knows(son, clerk, delegated_to=aunt, delegated_at=given)
    assert outcome(case) is Outcome.INSUFFICIENT  # not in writing
    cast.knows(son, clerk, delegated_to=aunt, delegated_at=given, delegated_in_writing=True)
    assert outcome(case) is Outcome.SUFFICIENT


def test_the_newest_statement_counts(case: Case, clerk: StaffMember, son: RightHolder) -> None:
    ruled_out(case, clerk)
    cast.speaks(son, clerk, "signed")
    cast.knows(son, clerk, is_minor=True)
    assert outcome(case) is not Outcome.SUFFICIENT
    cast.knows(son, clerk, is_minor=False)
    assert outcome(case) is Outcome.SUFFICIENT


def test_what_is_stated_last_counts_though_the_clock_was_set_back(
    case: Case, clerk: StaffMember, son: RightHolder
) -> None:
    ruled_out(case, clerk)
    cast.knows(son, clerk, is_minor=False)
    cast.speaks(son, clerk, "signed", said_at=clock.now() - timedelta(hours=2))
    with clock.pinned(clock.now() - timedelta(hours=1)):
        cast.knows(son, clerk, is_minor=True)
        cast.speaks(son, clerk, "withdrawn")
    known = right.newest_facts(son)
    assert known is not None
    assert known.is_minor
    assert right.person_of(RightHolder.objects.get()).opposes


def test_an_act_is_dated_when_it_holds_the_case(
    case: Case, clerk: StaffMember, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = clock.now()
    times = {"now": before}

    def waits_for_the_lock(waiting: Case) -> Case:
        times["now"] = before + timedelta(seconds=3)
        return lock(waiting)

    monkeypatch.setattr(clock, "now", lambda: times["now"])
    monkeypatch.setattr(acts, "lock", waits_for_the_lock)
    entry = right_acts.state_ranks(case, clerk, cast.token(), {"child": True}, "the family")
    assert entry.recorded_at == RankNamed.objects.get().stated_at == times["now"]


def test_an_agents_signature_counts_with_the_paper_on_file(case: Case, clerk: StaffMember) -> None:
    ruled_out(case, clerk)
    agent = cast.says(case, clerk, "Ben Example", "signed", rank="designated_agent")
    assert outcome(case) is Outcome.INSUFFICIENT
    cast.knows(agent, clerk, has_instrument=True, instrument=cast.paper(case, "other"))
    assert outcome(case) is Outcome.SUFFICIENT


# What was said


def test_what_cannot_be_said(
    case: Case, facility: Facility, clerk: StaffMember, manager: StaffMember, son: RightHolder
) -> None:
    elsewhere = cast.make_case(facility)
    stranger = cast.says(elsewhere, clerk, "Cleo Example", "")
    paper = cast.paper(elsewhere, "other")
    later = clock.now() + timedelta(minutes=1)
    for who, position, more, code in (
        (clerk, "signed", {"said_at": later}, "time_future"),
        (clerk, "signed", {"document": paper}, "document_unknown"),
        (clerk, "signed", {"by_delegate": stranger}, "person_unknown"),
        (clerk, "withdrawn", {}, "not_signed"),
        (clerk, "settled", {}, "role"),
        (manager, "settled", {}, "no_objection"),
    ):
        assert refused(lambda w=who, p=position, m=more: cast.speaks(son, w, p, **m)) == code
    with pytest.raises(ValidationError):
        cast.speaks(son, clerk, "signed", how=" ")
    with pytest.raises(ValidationError):
        cast.speaks(son, clerk, "shrugs")


def test_an_objection_is_settled_by_a_manager_with_a_paper(
    clerk: StaffMember, manager: StaffMember, son: RightHolder
) -> None:
    cast.speaks(son, clerk, "objects")
    assert refused(lambda: cast.speaks(son, clerk, "settled")) == "role"
    assert refused(lambda: cast.speaks(son, manager, "settled", document=None)) == "paper_missing"
    assert refused(lambda: cast.speaks(son, clerk, "signed")) == "objection_stands"
    cast.speaks(son, manager, "settled")
    assert not right.person_of(RightHolder.objects.get()).opposes
    cast.speaks(son, clerk, "signed")
    assert right.person_of(RightHolder.objects.get()).has_signed


def test_an_objection_after_what_settled_it_stands_again(
    clerk: StaffMember, manager: StaffMember, son: RightHolder
) -> None:
    cast.speaks(son, clerk, "objects")
    cast.speaks(son, manager, "settled")
    cast.speaks(son, clerk, "objects")
    assert right.person_of(RightHolder.objects.get()).opposes


def test_an_objection_is_the_persons_in_every_class(
    case: Case, clerk: StaffMember, manager: StaffMember, son: RightHolder
) -> None:
    agent = cast.also(son, clerk, "designated_agent")
    cast.knows(agent, clerk, has_instrument=True, instrument=cast.paper(case, "other"))
    cast.speaks(agent, clerk, "signed")
    cast.speaks(son, clerk, "objects")  # said as a son; he decides as the agent
    assert outcome(case) is Outcome.DISPUTED
    assert case.holds.get().holder == agent
    assert refused(lambda: cast.speaks(agent, clerk, "signed")) == "objection_stands"


def test_a_signature_counts_only_in_its_own_class(
    case: Case, clerk: StaffMember, son: RightHolder
) -> None:
    ruled_out(case, clerk)
    agent = cast.also(son, clerk, "designated_agent")
    cast.knows(agent, clerk, has_instrument=True, instrument=cast.paper(case, "other"))
    cast.speaks(son, clerk, "signed")
    assert outcome(case) is Outcome.INSUFFICIENT


def test_a_signature_taken_back_and_given_anew(
    case: Case, clerk: StaffMember, manager: StaffMember, son: RightHolder
) -> None:
    ruled_out(case, clerk)
    cast.speaks(son, clerk, "signed")
    assert outcome(case) is Outcome.SUFFICIENT
    cast.speaks(son, clerk, "withdrawn")
    assert outcome(case) is Outcome.DISPUTED
    cast.speaks(son, clerk, "signed", said_at=clock.now() - timedelta(days=1))
    assert outcome(case) is Outcome.DISPUTED  # that paper is older than the withdrawal
    cast.speaks(son, clerk, "signed")
    assert outcome(case) is Outcome.SUFFICIENT


@pytest.mark.parametrize("days", [0, 1])
def test_a_withdrawal_dated_before_the_recorded_signature_counts(
    case: Case, clerk: StaffMember, son: RightHolder, days: int
) -> None:
    ruled_out(case, clerk)
    signed_at = clock.now() - timedelta(days=1)
    cast.speaks(son, clerk, "signed", said_at=signed_at)
    cast.speaks(son, clerk, "withdrawn", said_at=signed_at - timedelta(days=days))
    assert outcome(case) is Outcome.DISPUTED
    hold = case.holds.get()
    lifted = {"lifted_at": clock.now(), "lifted_on": "order", "lift_reason": "as ordered"}
    with pytest.raises(DatabaseError, match="only when it is settled"), transaction.atomic():
        type(hold).objects.filter(pk=hold.pk).update(
            lift_document=cast.paper(case, "court_order"), **lifted
        )
    cast.speaks(son, clerk, "signed")
    assert outcome(case) is Outcome.SUFFICIENT


def test_somebody_who_was_heard_is_not_passed_over_as_not_reached(
    case: Case, clerk: StaffMember, manager: StaffMember
) -> None:
    wife = cast.says(case, clerk, "Wanda Example", "objects", rank="spouse", relationship="wife")
    cast.knows(wife, clerk, is_reachable=False, efforts=EFFORTS)
    cast.speaks(wife, manager, "settled")
    ruled_out(case, clerk)
    cast.says(case, clerk, "Ben Example", "signed")
    answer = right.answer_for(Case.objects.get(pk=case.pk))
    assert answer.deciding
    assert answer.deciding.key == "spouse"


# Classes, and what the rules leave open


def test_classes_are_said_to_be_complete_by_somebody(case: Case, clerk: StaffMember) -> None:
    def state(ranks: dict[str, bool], informant: str) -> Any:
        return right_acts.state_ranks(case, clerk, cast.token(), ranks, informant)

    assert refused(lambda: state({}, "the family")) == "ranks_missing"
    assert refused(lambda: state({"child": True}, " ")) == "informant_missing"
    with pytest.raises(ValidationError):
        state({"friends": True}, "the family")
    state({"child": True}, "the family")
    assert right.ranks_named(case) == {"child"}
    state({"child": False}, "a neighbour knows of another son")
    assert right.ranks_named(case) == set()


@pytest.fixture
def undecided(case: Case, clerk: StaffMember) -> Case:
    """Nobody of the known order is left; the text does not say who comes next."""
    ruled_out(case, clerk)
    cast.says(case, clerk, "Nora Example", "signed", rank="next_of_kin", relationship="niece")
    assert outcome(case) is Outcome.UNDECIDED
    return case


def review(
    case: Case, who: StaffMember, reason: str = "The coroner says she may", paper: Any = None
) -> CustodyEntry:
    signed = cast.signature(who)
    return right_acts.review_authority(case, signed, cast.token(), reason, paper)


def is_authorized(case: Case) -> bool:
    found = Case.objects.get(pk=case.pk)
    return right.is_authorized(found, right.answer_for(found))


def test_a_manager_reviews_what_the_rules_leave_open(
    undecided: Case, facility: Facility, clerk: StaffMember, manager: StaffMember
) -> None:
    elsewhere = cast.paper(cast.make_case(facility), "other")
    assert refused(lambda: review(undecided, clerk)) == "role"
    assert refused(lambda: review(undecided, manager, " ")) == "reason_missing"
    assert refused(lambda: review(undecided, manager, paper=elsewhere)) == "document_unknown"
    assert not is_authorized(undecided)
    entry = review(undecided, manager, paper=cast.paper(undecided, "other"))
    assert facts_of(entry)["document"] == "other"
    assert is_authorized(undecided)


def test_a_review_is_void_after_the_next_statement(
    undecided: Case, clerk: StaffMember, manager: StaffMember
) -> None:
    review(undecided, manager)
    cast.says(undecided, clerk, "Otto Example", "", rank="next_of_kin", relationship="nephew")
    assert not is_authorized(undecided)
    review(undecided, manager)
    assert is_authorized(undecided)
    right_acts.state_ranks(undecided, clerk, cast.token(), {"parent": True}, "the niece")
    assert not is_authorized(undecided)


def test_a_review_answers_only_what_was_open_then(
    undecided: Case, manager: StaffMember, monkeypatch: pytest.MonkeyPatch
) -> None:
    review(undecided, manager)
    assert is_authorized(undecided)
    open_then = right.answer_for(undecided)
    another = replace(open_then, review=Review.LAPSED)
    assert right.standing_review(undecided, open_then) is not None
    assert right.standing_review(undecided, another) is None
    # The order that left it open became another one: the review is not of it.
    fewer = undecided.law.ranks[:-1]
    monkeypatch.setattr(type(undecided.law), "ranks", property(lambda law: fewer))
    assert right.standing_review(undecided, open_then) is None


def test_no_review_authorizes_what_nobody_signed(
    undecided: Case, clerk: StaffMember, manager: StaffMember
) -> None:
    niece = undecided.right_holders.get()
    cast.knows(niece, clerk, is_minor=True)
    assert refused(lambda: review(undecided, manager)) == "nobody_signed"
    row = {"reason": "by telephone", "reviewed_by": manager, "reviewed_at": clock.now()}
    of_what = right.left_open(undecided, right.answer_for(undecided))
    AuthorityReview.objects.create(case=undecided, of_what=of_what, **row)
    assert not is_authorized(undecided)
    review(undecided, manager, paper=cast.paper(undecided, "court_order"))
    assert is_authorized(undecided)


def test_no_review_settles_a_missing_signature_or_an_objection(
    case: Case, clerk: StaffMember, manager: StaffMember
) -> None:
    ruled_out(case, clerk)
    son = cast.says(case, clerk, "Ben Example", "")
    assert outcome(case) is Outcome.INSUFFICIENT
    assert refused(lambda: review(case, manager)) == "nothing_open"
    cast.speaks(son, clerk, "objects")
    assert outcome(case) is Outcome.DISPUTED
    assert refused(lambda: review(case, manager)) == "nothing_open"
