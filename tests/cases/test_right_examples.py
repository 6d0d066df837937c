"""Who may authorize, through rows, acts and the page: worked examples of the texts."""

from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest

from cases import paper_facts, right, right_acts
from cases.authority import Outcome
from cases.gates import GATES, Situation
from cases.models import Case, Hold
from cases.steps import STEPS
from crematory import clock
from crematory.models import Facility
from tests import cast
from tests.cases import families as f
from tests.cases.pages import browser, url

DISPUTED, INSUFFICIENT = Outcome.DISPUTED, Outcome.INSUFFICIENT
SUFFICIENT, UNDECIDED = Outcome.SUFFICIENT, Outcome.UNDECIDED
HEADLINES = {
    SUFFICIENT: "The authorization is sufficient.",
    INSUFFICIENT: "The authorization is not sufficient yet.",
    DISPUTED: "The cremation is disputed: it is held until the dispute is settled.",
    UNDECIDED: "The rules do not settle this: a manager must review it.",
}
pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def within_days() -> Iterator[None]:
    """Everybody speaks within days of the death: no right has lapsed by time."""
    with clock.pinned(cast.START + timedelta(days=3)):
        yield


def check(case: Case, outcome: Outcome) -> str:
    """The rules, the page and the gate give this answer; return the page's text."""
    assert f.answer(case).outcome is outcome
    client = browser(f.clerk_of(case))
    page = client.get(url("agents", case)).content.decode()
    assert HEADLINES[outcome] in page
    gate = GATES["authorizing_agent"](
        Situation(case=Case.objects.get(pk=case.pk), step=STEPS["authorize"], now=clock.now())
    )
    assert gate.state == ("passed" if outcome is SUFFICIENT else "refused")
    assert gate.calls_for == {DISPUTED: "dispute", UNDECIDED: "review"}.get(outcome, "")
    return page


@pytest.mark.parametrize(
    ("code", "signed", "objecting", "expected"),
    [
        ("us-co", 2, 0, INSUFFICIENT),
        ("us-co", 3, 0, SUFFICIENT),
        ("us-co", 3, 1, DISPUTED),
        ("us-co", 2, 1, DISPUTED),
        ("us-ca", 3, 0, SUFFICIENT),
        ("us-mt", 3, 0, SUFFICIENT),
        ("us-wa", 2, 0, INSUFFICIENT),
        ("us-wa", 3, 0, SUFFICIENT),
        ("us-fl", 1, 0, SUFFICIENT),
        ("us-fl", 1, 1, DISPUTED),
        ("us-tx", 1, 0, SUFFICIENT),
        ("us-sc", 1, 0, SUFFICIENT),
        ("us-sc", 1, 1, DISPUTED),
        ("us-il", 3, 0, SUFFICIENT),
        ("us-oh", 4, 0, UNDECIDED),
        ("us-oh", 5, 0, SUFFICIENT),
    ],
)
def test_five_adult_children(code: str, signed: int, objecting: int, expected: Outcome) -> None:
    case = f.case_in(f.house(code))
    f.nobody_missing(case)
    f.children(case, 5, signed, objecting)
    check(case, expected)
    assert Hold.objects.filter(case=case, kind="dispute").count() == objecting


def test_half_of_four_children_is_left_open_in_illinois() -> None:
    case = f.case_in(f.house("us-il"))
    f.nobody_missing(case)
    f.children(case, 4, signed=2)
    check(case, UNDECIDED)


def test_a_living_spouse_goes_before_all_children(facility: Facility) -> None:
    case = f.case_in(facility)
    f.nobody_missing(case)
    f.children(case, 3, signed=3)
    check(case, SUFFICIENT)
    wife = f.name(case, "Wanda Wife", **f.SPOUSE)
    page = check(case, INSUFFICIENT)
    assert "Signed, but counts nothing beside a higher rank" in page
    cast.speaks(wife, f.clerk_of(case), "signed")
    check(case, SUFFICIENT)


@pytest.mark.parametrize(
    ("code", "fact", "expected"),
    [
        ("us-co", "separated_by_order", SUFFICIENT),
        ("us-mt", "separated_by_order", INSUFFICIENT),  # no such exclusion was read there
    ],
)
def test_a_spouse_separated_by_order(code: str, fact: str, expected: Outcome) -> None:
    case = f.case_in(f.house(code))
    f.nobody_missing(case)
    f.name(case, "Wanda Wife", known=f.known(excluded=frozenset({fact})), **f.SPOUSE)
    f.children(case, 1, signed=1)
    check(case, expected)


def test_nobody_counts_as_missing_before_it_is_said(facility: Facility) -> None:
    case = f.case_in(facility)
    f.children(case, 1, signed=1)
    page = check(case, INSUFFICIENT)
    assert "Record whether every spouse is named" in page
    f.nobody_missing(case)
    check(case, SUFFICIENT)


def test_two_children_one_lost_with_efforts() -> None:
    case = f.case_in(f.house("us-ca"))
    f.nobody_missing(case)
    f.children(case, 1, signed=1)
    lost = f.known(is_reachable=False, efforts=f.efforts())
    f.name(case, "Leo Lost", known=lost)
    check(case, SUFFICIENT)


INSTRUMENTS = [
    ("us-tx", "designated_agent", "agent named in writing"),
    ("us-tx", "personal_representative", "executor"),
    ("us-mt", "dd93", "person named on DD Form 93"),
    ("us-tn", "health_care_agent", "agent under a power of attorney"),
]


@pytest.mark.parametrize(("code", "rank", "relationship"), INSTRUMENTS)
def test_a_right_by_paper_counts_once_the_paper_is_on_file(
    code: str, rank: str, relationship: str
) -> None:
    case = f.case_in(f.house(code))
    order = [known.key for known in case.law.ranks]
    assert rank in order
    f.nobody_missing(case)
    more: dict[str, Any] = {"rank": rank, "relationship": relationship}
    named = f.name(case, "Arthur Agent", "signed", **more)
    page = check(case, INSUFFICIENT)
    assert "Put on file the paper or order on which the right of Arthur Agent" in page
    cast.knows(named, f.clerk_of(case), has_instrument=True, instrument=f.paper(case))
    check(case, SUFFICIENT)


def test_the_decedents_own_directions_against_it_are_a_dispute() -> None:
    case = f.case_in(f.house("us-wa"))
    f.nobody_missing(case)
    f.name(case, "Wanda Wife", "signed", **f.SPOUSE)
    check(case, SUFFICIENT)
    own = {"rank": "decedent_directions", "relationship": "the decedent's own directions"}
    paper = f.known(has_instrument=True, instrument=f.paper(case, "decedent_directions"))
    f.name(case, case.decedent_name, "objects", known=paper, **own)
    page = check(case, DISPUTED)
    assert "own directions are against cremation" in page
    assert Hold.objects.filter(case=case, kind="dispute").exists()


def reviewed(case: Case) -> bool:
    fresh = Case.objects.get(pk=case.pk)
    return right.is_authorized(fresh, right.answer_for(fresh))


def test_an_unclaimed_person_is_authorized_by_the_county_and_a_managers_review() -> None:
    case = f.case_in(f.house("us-mt"))
    f.nobody_missing(case)
    county = {"rank": "public_administrator", "relationship": "public administrator"}
    order = f.paper(case, "court_order")
    on_file = f.known(has_instrument=True, instrument=order)
    f.name(case, "Paula Public", "signed", known=on_file, **county)
    page = check(case, UNDECIDED)
    assert "a public officer signed by a written order that is on file" in page
    assert "Check with the local authority whether this one may." in page
    manager = cast.signature(cast.member(case.facility, cast.MANAGER))
    reason = "The county attorney, in writing: the administrator has the right."
    right_acts.review_authority(case, manager, cast.token(), reason, order)
    assert reviewed(case)
    page = browser(manager.member).get(url("agents", case)).content.decode()
    assert "A manager has settled what the rules leave open." in page
    with clock.pinned(clock.now() + timedelta(minutes=1)):
        f.name(case, "Nora Niece", rank="next_of_kin", relationship="niece")
    assert not reviewed(case)


def test_where_the_order_is_unknown_a_manager_reviews() -> None:
    case = f.case_in(f.house("us-ny"))
    f.name(case, "Wanda Wife", "signed", **f.SPOUSE)
    check(case, UNDECIDED)


def names_on_papers(case: Case) -> list[str]:
    certificate: Any = paper_facts._agents(Case.objects.get(pk=case.pk))
    return [agent["name"] for agent in certificate]


def test_papers_name_those_by_whose_signatures_it_is_authorized(facility: Facility) -> None:
    case = f.case_in(facility)
    f.nobody_missing(case)
    wife = f.name(case, "Wanda Wife", "signed", **f.SPOUSE)
    f.children(case, 1, signed=1)
    assert names_on_papers(case) == ["Wanda Wife"]
    cast.knows(wife, f.clerk_of(case), is_living=False)
    assert names_on_papers(case) == ["Child 1"]


def test_papers_name_nobody_who_took_the_signature_back(facility: Facility) -> None:
    case = f.case_in(facility)
    f.nobody_missing(case)
    first, _ = f.children(case, 2, signed=2)
    cast.speaks(first, f.clerk_of(case), "withdrawn")
    assert names_on_papers(case) == ["Child 2"]


def test_after_a_review_papers_name_those_who_signed(facility: Facility) -> None:
    case = f.case_in(facility)
    f.nobody_missing(case)
    f.name(case, "Sam Brother", "signed", rank="sibling", relationship="brother")
    assert names_on_papers(case) == ["Sam Brother"]
