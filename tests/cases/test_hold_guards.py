"""The database keeps holds as they were opened, and lifts them only as their kind demands."""

from datetime import timedelta
from typing import Any

import pytest

from cases import acts, hold_acts
from cases.hold_acts import Lifting, Raised
from cases.models import Case, Document, Hold
from crematory import clock
from crematory.models import StaffMember
from tests import cast, raw

pytestmark = pytest.mark.django_db
TABLE = "cases_hold"


@pytest.fixture
def dispute(case: Case, clerk: StaffMember) -> Hold:
    """A son objects; a court order is on file."""
    cast.bring(case, "in_care")
    cast.says(case, clerk, "Ben Example", "objects")
    cast.paper(case, "court_order")
    return case.holds.get()


@pytest.fixture
def stranger(case: Case, clerk: StaffMember) -> Hold:
    """Somebody whom the case does not name objects, in a letter."""
    letter = cast.paper(case, "other")
    raised = Raised(is_objection=True, by="A man who gave no name", document=letter)
    hold_acts.open_hold(case, cast.signature(clerk), cast.token(), "He telephoned", raised)
    return case.holds.get()


def lift(hold: Hold, **columns: Any) -> None:
    """Lift past the acts, as somebody with a database shell would."""
    values = {
        "lifted_at": hold.opened_at + timedelta(hours=1),
        "lifted_by_id": cast.member(hold.case.facility, cast.MANAGER).pk,
        "lift_reason": "I say so",
        "lifted_on": "order",
        **columns,
    }
    names = ", ".join(f"{name} = %s" for name in values)
    raw.run(f"UPDATE {TABLE} SET {names} WHERE id = %s", *map(raw._plain, values.values()), hold.pk)


CHANGES = [
    "ground = 'none'",
    "kind = 'other'",
    "raised_by = 'Nobody'",
    "holder_id = NULL",
    "document_id = NULL",
    "opened_at = '2020-01-01 00:00:00+00:00'",
]


def test_what_a_hold_was_opened_with_stays(case: Case, clerk: StaffMember) -> None:
    cast.bring(case, "in_care")
    son, letter = cast.says(case, clerk, "Ben Example", ""), cast.paper(case, "other")
    raised = Raised(is_objection=True, holder=son, document=letter)
    hold_acts.open_hold(case, cast.signature(clerk), cast.token(), "He telephoned", raised)
    other = cast.member(case.facility, cast.MANAGER).pk
    for change in (*CHANGES, f"opened_by_id = {other}"):
        with raw.refuses("only lifted, once"):
            raw.run(f"UPDATE {TABLE} SET {change}")


def test_a_hold_begins_open_and_whole(dispute: Hold, facility: Any) -> None:
    other = cast.make_case(facility)
    paper = cast.paper(other, "other")
    whole = {
        "case_id": dispute.case_id, "kind": "dispute", "raised_by": "Ben Example",
        "holder_id": dispute.holder_id, "document_id": None, "ground": "He telephoned",
        "opened_at": clock.now(), "opened_by_id": dispute.opened_by_id, "lift_reason": "",
        "lifted_on": "",
    }  # fmt: skip
    for change in (
        {"ground": " "},
        {"raised_by": ""},
        {"case_id": other.pk},
        {"document_id": paper.pk},
        {"lifted_on": "mistake"},
        {"lifted_at": clock.now(), "lifted_by_id": dispute.opened_by_id, "lift_reason": "x"},
    ):
        with raw.refuses("a hold begins open"):
            raw.insert(TABLE, **{**whole, **change})
    raw.insert(TABLE, **whole)


@pytest.mark.parametrize("on", ["order", "agreement", "withdrawal", "mistake"])
def test_no_dispute_is_lifted_while_the_objection_stands(dispute: Hold, on: str) -> None:
    order = dispute.case.documents.latest("pk")
    with raw.refuses("only when it is settled"):
        lift(dispute, lifted_on=on, lift_document_id=order.pk)


def test_a_settled_dispute_is_lifted(dispute: Hold, manager: StaffMember) -> None:
    assert dispute.holder
    order = dispute.case.documents.latest("pk")
    cast.speaks(dispute.holder, manager, "settled", document=order)
    with raw.refuses("only with its own paper"):
        lift(dispute)
    lift(dispute, lift_document_id=order.pk)


def test_nobody_clears_the_objection_of_a_stranger(stranger: Hold) -> None:
    with raw.refuses("only when it is settled"):
        lift(stranger, lifted_on="cleared")


def test_a_paper_lifts_only_its_own_case_and_not_the_hold_that_rests_on_it(
    stranger: Hold, facility: Any
) -> None:
    elsewhere = cast.paper(cast.make_case(facility), "court_order")
    for paper in (None, elsewhere.pk, stranger.document_id):
        with raw.refuses("only with its own paper|does not lift this hold"):
            lift(stranger, lift_document_id=paper)
    lift(stranger, lift_document_id=cast.paper(stranger.case, "court_order").pk)


def newer(case: Case, old: Document, kind: str = "court_order") -> Document:
    """File a later version, as of now."""
    today = clock.now().date()
    acts.file_document(
        case, cast.member(case.facility, cast.CLERK), cast.token(), kind=kind, reference="R-2",
        issued_by="Court", issued_on=today, replaces=old,
    )  # fmt: skip
    return case.documents.latest("pk")


def test_no_paper_lifts_a_dispute_that_settles_nothing(case: Case, clerk: StaffMember) -> None:
    """Each alone: of another kind, there before the objection, replaced, or the letter anew."""
    before = cast.paper(case, "court_order")
    with clock.pinned(clock.now() + timedelta(minutes=1)):
        letter = cast.paper(case, "other")
        raised = Raised(is_objection=True, by="A man who gave no name", document=letter)
        hold_acts.open_hold(case, cast.signature(clerk), cast.token(), "He telephoned", raised)
    hold = case.holds.get()
    with clock.pinned(clock.now() + timedelta(minutes=2)):
        replaced = cast.paper(case, "court_order")
        order = newer(case, replaced)
        unfit = {
            "order": [
                before, newer(case, before), replaced, newer(case, letter),
                cast.paper(case, "other"),
            ],
            "agreement": [cast.paper(case, "medical_clearance")],
            "mistake": [before],
        }  # fmt: skip
        for on, papers in unfit.items():
            for paper in papers:
                with raw.refuses("the paper does not lift this hold"):
                    lift(hold, lifted_on=on, lift_document_id=paper.pk)
        lift(hold, lift_document_id=order.pk)


def test_a_paper_that_came_before_the_objection_was_said_again(
    case: Case, clerk: StaffMember, manager: StaffMember
) -> None:
    """The objector writes once more: what came before that letter settles it no longer."""
    cast.bring(case, "in_care")
    son = cast.says(case, clerk, "Ben Example", "objects")
    hold, at = case.holds.get(), clock.now()
    with clock.pinned(at + timedelta(minutes=1)):
        between = cast.paper(case, "court_order")
    with clock.pinned(at + timedelta(minutes=2)):
        cast.speaks(son, clerk, "objects")
    with clock.pinned(at + timedelta(minutes=3)):
        after = cast.paper(case, "court_order")
        raw.insert("cases_authorizingagent", **{
            "case_id": case.pk, "holder_id": son.pk, "position": "settled", "form": "paper",
            "document_id": between.pk, "meaning": "", "how": "so I say", "said_at": clock.now(),
            "stated_at": clock.now(),
        })  # fmt: skip
        with raw.refuses("the paper does not lift this hold"):
            lift(hold, lift_document_id=between.pk)
        lift(hold, lift_document_id=after.pk)


def test_another_hold_is_lifted_on_any_paper_that_counts(case: Case, clerk: StaffMember) -> None:
    early = cast.paper(case, "medical_clearance")
    with clock.pinned(clock.now() + timedelta(minutes=1)):
        hold_acts.open_hold(case, cast.signature(clerk), cast.token(), "No clearance")
        hold, later = case.holds.get(), newer(case, early, "medical_clearance")
        with raw.refuses("the paper does not lift this hold"):
            lift(hold, lifted_on="cleared", lift_document_id=early.pk)
        with raw.refuses("the paper does not lift this hold"):
            lift(hold, lifted_on="order", lift_document_id=later.pk)
        lift(hold, lifted_on="cleared", lift_document_id=later.pk)


def test_a_hold_is_lifted_by_one_of_the_ways(stranger: Hold) -> None:
    paper = cast.paper(stranger.case, "court_order").pk
    for change in ({"lifted_on": ""}, {"lifted_on": "because"}, {"lift_reason": " "}):
        with raw.refuses("by one of the ways"):
            lift(stranger, **{"lift_document_id": paper, **change})
    with raw.refuses("by one of the ways"):
        raw.run(f"UPDATE {TABLE} SET lifted_on = 'mistake'")


def test_who_was_told_stays_written(
    dispute: Hold, clerk: StaffMember, manager: StaffMember
) -> None:
    hold_acts.tell(dispute, clerk, cast.token(), ["Ben Example"], "letter", clock.now())
    for change in ("SET told = 'Nobody'", "SET told_at = '2020-01-01 00:00:00+00:00'"):
        with raw.refuses("written once"):
            raw.run(f"UPDATE cases_holdnotice {change}")
    with raw.refuses("written once"):
        raw.run("DELETE FROM cases_holdnotice")


@pytest.mark.parametrize("way", ["signed anew", "settled in another class"])
def test_what_the_acts_let_through_the_database_does_too(
    case: Case, clerk: StaffMember, manager: StaffMember, way: str
) -> None:
    """The two read the same words: no lifting that the pages allow ends in an error."""
    cast.bring(case, "authorized")
    daughter = case.right_holders.get()
    cast.speaks(daughter, clerk, "withdrawn", said_at=clock.now() - timedelta(hours=2))
    order = cast.paper(case, "court_order")
    if way == "signed anew":
        cast.speaks(daughter, clerk, "signed", said_at=clock.now() - timedelta(hours=1))
    else:
        again = cast.also(daughter, clerk, "guardian")
        cast.speaks(again, manager, "settled", document=order)
    lifting = Lifting(on="order", reason="decided", document=order)
    hold_acts.lift_hold(case.holds.get(), cast.signature(manager), cast.token(), lifting)
    assert case.holds.get().lifted_at
