"""Which paper proves a right, settles an objection or carries a review, once a newer one came."""

from datetime import timedelta
from typing import Any

import pytest

from cases import acts, right, right_acts, right_page
from cases.authority import Outcome
from cases.errors import ActRefused
from cases.models import Case, Document, RightHolder
from crematory import clock
from crematory.models import Facility, StaffMember
from tests import cast
from tests.cases import families as f
from tests.cases.pages import browser, text_of, url

pytestmark = pytest.mark.django_db


@pytest.fixture
def case(facility: Facility) -> Case:
    return f.case_in(facility)


@pytest.fixture
def agent(case: Case, clerk: StaffMember) -> RightHolder:
    """The person whom the decedent designated in writing signs, and nobody is missing."""
    f.nobody_missing(case)
    named = f.name(case, "Vera Example", "signed", rank="designated_agent", relationship="agent")
    cast.knows(named, clerk, has_instrument=True, instrument=f.paper(case))
    assert f.answer(case).outcome is Outcome.SUFFICIENT
    return named


def newer(old: Document, kind: str = "other") -> Document:
    """File a later version of a paper, as of now."""
    clerk, today = cast.member(old.case.facility, cast.CLERK), clock.now().date()
    acts.file_document(
        old.case, clerk, cast.token(), kind=kind, reference="R-2", issued_by="Registrar",
        issued_on=today, replaces=old,
    )  # fmt: skip
    return old.case.documents.latest("pk")


def test_a_replaced_instrument_proves_nothing_until_the_newer_one_is_judged(
    case: Case, agent: RightHolder, clerk: StaffMember
) -> None:
    """The newer one may be a better scan, and it may be a revocation: somebody reads it."""
    old = case.documents.latest("pk")
    scan = newer(old)
    answer = f.answer(case)
    assert answer.outcome is not Outcome.SUFFICIENT
    assert [person.name for person in answer.prove] == ["Vera Example"]
    page = text_of(browser(clerk), url("agents", case))
    assert "a later version has replaced this paper" in page
    with pytest.raises(ActRefused) as refused:
        cast.knows(agent, clerk, has_instrument=True, instrument=old)
    assert refused.value.code == "paper_replaced"
    cast.knows(agent, clerk, has_instrument=True, instrument=scan)
    assert f.answer(case).outcome is Outcome.SUFFICIENT
    assert "has replaced this paper" not in text_of(browser(clerk), url("agents", case))


def test_an_instrument_that_was_revoked_proves_no_longer(
    case: Case, agent: RightHolder, clerk: StaffMember
) -> None:
    newer(newer(case.documents.latest("pk")))
    cast.knows(agent, clerk, has_instrument=False)
    assert f.answer(case).outcome is not Outcome.SUFFICIENT


def test_an_instrument_of_which_no_paper_is_named_proves_nothing(
    case: Case, agent: RightHolder
) -> None:
    """The act refuses it; a row written past it gives no right."""
    agent.facts.create(has_instrument=True, informant="somebody", stated_at=clock.now())
    assert f.answer(case).outcome is not Outcome.SUFFICIENT


def test_the_instruments_cost_no_query_each(
    case: Case, clerk: StaffMember, django_assert_num_queries: Any
) -> None:
    for n in range(4):
        named = f.name(case, f"Agent {n}", "signed", rank="designated_agent", relationship="agent")
        paper = f.paper(case)
        cast.knows(named, clerk, has_instrument=True, instrument=paper)
        newer(paper)
    fresh = Case.objects.select_related("facility").get(pk=case.pk)
    right_page.fetch(fresh)
    with django_assert_num_queries(0):
        right_page.groups(fresh, right.answer_for(fresh))


@pytest.fixture
def undecided(case: Case) -> Case:
    """Nobody of the known order is there; the text does not say who comes next."""
    f.nobody_missing(case)
    assert f.answer(case).outcome is Outcome.UNDECIDED
    return case


def review(case: Case, paper: Document | None = None) -> None:
    manager = cast.signature(cast.member(case.facility, cast.MANAGER))
    right_acts.review_authority(case, manager, cast.token(), "The county says so.", paper)


def is_authorized(case: Case) -> bool:
    fresh = Case.objects.get(pk=case.pk)
    return right.is_authorized(fresh, right.answer_for(fresh))


def test_a_review_rests_on_the_newest_version_of_its_paper(undecided: Case) -> None:
    letter = f.paper(undecided)
    review(undecided, letter)
    assert is_authorized(undecided)
    better = newer(letter)
    assert not is_authorized(undecided)
    with pytest.raises(ActRefused) as refused:
        review(undecided, letter)
    assert refused.value.code == "paper_replaced"
    review(undecided, better)
    assert is_authorized(undecided)


def test_a_review_is_void_once_the_instrument_it_knew_was_replaced(
    case: Case, clerk: StaffMember
) -> None:
    f.nobody_missing(case)
    guardian = f.name(case, "Vera Example", "signed", rank="guardian", relationship="guardian")
    order = f.paper(case, "court_order")
    cast.knows(guardian, clerk, has_instrument=True, instrument=order)
    assert f.answer(case).outcome is Outcome.UNDECIDED
    review(case)
    assert is_authorized(case)
    with clock.pinned(clock.now() + timedelta(minutes=1)):
        newer(order)
    assert not is_authorized(case)


# What a page read before the lock


def test_what_is_said_is_judged_by_what_stands_under_the_lock(
    case: Case, clerk: StaffMember
) -> None:
    son = f.name(case, "Ben Example")
    old_page = Case.objects.select_related("facility").get(pk=case.pk)
    right_page.fetch(old_page)
    as_read = next(h for h in old_page.right_holders.all() if h.pk == son.pk)
    cast.speaks(son, clerk, "objects")
    with pytest.raises(ActRefused) as refused:
        cast.speaks(as_read, clerk, "signed")
    assert refused.value.code == "objection_stands"


def test_a_paper_is_judged_by_what_was_filed_meanwhile(
    case: Case, clerk: StaffMember, manager: StaffMember
) -> None:
    son = f.name(case, "Ben Example", "objects")
    order = cast.paper(case, "court_order")
    old_page = Case.objects.select_related("facility").get(pk=case.pk)
    right_page.fetch(old_page)
    as_read = next(paper for paper in old_page.documents.all() if paper.pk == order.pk)
    newer(order, "court_order")
    with pytest.raises(ActRefused) as refused:
        cast.speaks(son, manager, "settled", document=as_read)
    assert refused.value.code == "paper_unfit"


def test_the_form_says_which_papers_settle_nothing(
    case: Case, clerk: StaffMember, manager: StaffMember
) -> None:
    before = cast.paper(case, "court_order")
    with clock.pinned(clock.now() + timedelta(minutes=1)):
        f.nobody_missing(case)
        f.name(case, "Anna Example", "signed", rank="spouse", relationship="wife")
        brother = f.name(case, "Ben Example", "objects", rank="sibling", relationship="brother")
        assert not case.holds.exists()
        fit = cast.paper(case, "court_order")
        permit = cast.paper(case, "disposition_permit")
    page = browser(manager).get(url("agent", case, brother.pk))
    offered = {
        str(value): label for value, label in page.context["form"].fields["document"].choices
    }
    assert offered[str(before.pk)].endswith("(does not settle it: on file before the objection)")
    assert offered[str(permit.pk)].endswith("no order, agreement or withdrawal)")
    assert "settle" not in offered[str(fit.pk)]
    for_clerk = browser(clerk).get(url("agent", case, brother.pk)).content.decode()
    assert "does not settle it" not in for_clerk


def test_that_form_costs_no_query_for_each_paper(
    case: Case, manager: StaffMember, django_assert_max_num_queries: Any
) -> None:
    f.nobody_missing(case)
    f.name(case, "Anna Example", "signed", rank="spouse", relationship="wife")
    brother = f.name(case, "Ben Example", "objects", rank="sibling", relationship="brother")
    client, address = browser(manager), url("agent", case, brother.pk)
    paper = cast.paper(case, "court_order")
    client.get(address)
    with django_assert_max_num_queries(100) as few:
        client.get(address)
    for _ in range(5):
        paper = newer(paper, "court_order")
        cast.paper(case, "other")
    with django_assert_max_num_queries(len(few)):
        client.get(address)
