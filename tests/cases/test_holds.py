"""Holds and disputes: who opens them, what lifts them, who is told, and what the trail keeps."""

from datetime import timedelta
from typing import Any

import pytest

from cases import hold_acts, holds, law, right, right_acts
from cases.errors import ActRefused
from cases.hold_acts import Lifting, Raised
from cases.models import AuthorizingAgent, Case, Document, Hold, HoldNotice, RightHolder
from chain_of_custody.models import CustodyEntry
from chain_of_custody.trail import facts_of
from crematory import clock
from crematory.models import Facility, StaffMember
from tests import cast

pytestmark = pytest.mark.django_db


def refused(act: Any) -> str:
    """Return the code with which the act is refused."""
    with pytest.raises(ActRefused) as caught:
        act()
    return caught.value.code


def fresh(case: Case) -> Case:
    return Case.objects.get(pk=case.pk)


def opened(case: Case, who: StaffMember, raised: Raised = hold_acts.NOBODY) -> Hold:
    """Open a hold and return it."""
    hold_acts.open_hold(case, cast.signature(who), cast.token(), "A question", raised)
    return case.holds.latest("pk")


def lift(
    hold: Hold, who: StaffMember, on: str, document: Document | None = None, **more: Any
) -> CustodyEntry:
    lifting = Lifting(on=on, reason=more.pop("reason", "answered"), document=document)
    signed = cast.signature(who)
    return hold_acts.lift_hold(Hold.objects.get(pk=hold.pk), signed, cast.token(), lifting, **more)


@pytest.fixture
def son(case: Case, clerk: StaffMember) -> RightHolder:
    """A son who objects: it holds the case by itself."""
    cast.bring(case, "in_care")
    return cast.says(case, clerk, "Ben Example", "objects")


@pytest.fixture
def dispute(case: Case, son: RightHolder) -> Hold:
    return case.holds.get()


# Opening


@pytest.mark.parametrize("key", [cast.CLERK, cast.OPERATOR, cast.MANAGER])
def test_anybody_opens_a_hold(case: Case, key: str) -> None:
    hold = opened(case, cast.member(case.facility, key), Raised(by="Deputy coroner"))
    assert (hold.kind, hold.raised_by, hold.holder) == ("other", "Deputy coroner", None)


def test_an_objection_holds_the_case_by_itself(dispute: Hold, son: RightHolder) -> None:
    assert (dispute.kind, dispute.holder, dispute.raised_by) == ("dispute", son, "Ben Example")
    entry = CustodyEntry.objects.get(act="open_hold")
    facts = facts_of(entry)
    assert facts["hold_kind"] == "dispute"
    assert facts["raised_by"] == "Ben Example"
    assert "Ben Example" not in entry.payload
    assert "after_charge" not in facts


def test_each_objector_has_a_hold_of_their_own(
    case: Case, dispute: Hold, clerk: StaffMember, manager: StaffMember
) -> None:
    cast.says(case, clerk, "Cleo Example", "objects")
    assert case.holds.count() == 2
    lift(dispute, manager, "order", cast.paper(case, "court_order"))
    assert [hold.raised_by for hold in holds.open_holds(fresh(case))] == ["Cleo Example"]
    assert case.holds.count() == 2  # and no third one


def test_an_objection_said_twice_holds_once(
    case: Case, dispute: Hold, son: RightHolder, clerk: StaffMember
) -> None:
    cast.speaks(son, clerk, "objects")
    assert case.holds.count() == 1


def test_a_lower_ranks_objection_is_noted_and_holds_nothing(case: Case, clerk: StaffMember) -> None:
    cast.bring(case, "in_care")
    cast.says(case, clerk, "Wanda Example", "", rank="spouse", relationship="wife")
    cast.says(case, clerk, "Ben Example", "objects")
    assert not case.holds.exists()
    assert [p.name for p in right.answer_for(fresh(case)).noted] == ["Ben Example"]


def test_a_noted_objection_holds_once_nobody_goes_before_it(case: Case, clerk: StaffMember) -> None:
    cast.bring(case, "in_care")
    wife = cast.says(case, clerk, "Wanda Example", "", rank="spouse", relationship="wife")
    cast.says(case, clerk, "Ben Example", "objects")
    cast.knows(wife, clerk, is_living=False)
    assert [hold.raised_by for hold in case.holds.all()] == ["Ben Example"]


def test_a_signature_taken_back_holds_with_its_paper(case: Case, clerk: StaffMember) -> None:
    cast.bring(case, "authorized")
    daughter, letter = case.right_holders.get(), cast.paper(case, "other")
    cast.speaks(daughter, clerk, "withdrawn", document=letter)
    hold = case.holds.get()
    assert "takes the signature under the authorization back" in hold.ground
    assert hold.document == letter


def test_an_objection_taken_with_the_hold_is_the_persons_word(
    case: Case, clerk: StaffMember, operator: StaffMember
) -> None:
    cast.bring(case, "in_care")
    son = cast.says(case, clerk, "Ben Example", "")
    opened(case, operator, Raised(is_objection=True, holder=son))
    assert right.person_of(RightHolder.objects.get()).opposes
    assert case.holds.count() == 1
    again = Raised(is_objection=True, holder=son)
    assert refused(lambda: opened(case, operator, again)) == "hold_stands"


def test_what_opens_no_hold(case: Case, other_facility: Facility, clerk: StaffMember) -> None:
    other = cast.make_case(case.facility)
    stranger = cast.says(other, clerk, "Ben Example", "")
    paper = cast.paper(other, "other")
    signed = cast.signature(clerk)
    for raised, code in (
        (Raised(is_objection=True, by="  "), "objector_missing"),
        (Raised(is_objection=True, holder=stranger), "person_unknown"),
        (Raised(document=paper), "document_unknown"),
    ):
        assert refused(lambda raised=raised: opened(case, clerk, raised)) == code
    assert (
        refused(lambda: hold_acts.open_hold(case, signed, cast.token(), " \n")) == "ground_missing"
    )
    cast.bring(case, "returned")
    assert refused(lambda: opened(case, clerk)) == "stage"


# Lifting


@pytest.mark.parametrize(
    ("on", "kind"),
    [("order", "court_order"), ("agreement", "other"), ("withdrawal", "other")],
)
def test_a_paper_lifts_a_dispute_and_settles_the_objection(
    case: Case, dispute: Hold, son: RightHolder, manager: StaffMember, on: str, kind: str
) -> None:
    paper = cast.paper(case, kind)
    entry = lift(dispute, manager, on, paper)
    dispute.refresh_from_db()
    assert (dispute.lifted_on, dispute.lift_document) == (on, paper)
    assert facts_of(entry)["is_objection_settled"] is True
    assert facts_of(entry)["lifted_on"] == on
    said = AuthorizingAgent.objects.filter(holder=son).last()
    assert said is not None
    assert (said.position, said.document) == ("settled", paper)
    assert not right.answer_for(fresh(case)).objectors


def test_what_was_settled_before_is_not_settled_twice(
    dispute: Hold, son: RightHolder, manager: StaffMember
) -> None:
    cast.speaks(son, manager, "settled")
    lift(dispute, manager, "order", dispute.case.documents.latest("pk"))
    assert AuthorizingAgent.objects.filter(position="settled").count() == 1


def test_a_settled_objection_lifts_no_hold_without_the_paper(
    dispute: Hold, son: RightHolder, manager: StaffMember
) -> None:
    cast.speaks(son, manager, "settled")
    assert refused(lambda: lift(dispute, manager, "cleared")) == "dispute_stands"
    assert refused(lambda: lift(dispute, manager, "order")) == "paper_missing"


def test_a_withdrawal_is_settled_by_an_order_and_counts_no_more(
    case: Case, clerk: StaffMember, manager: StaffMember
) -> None:
    cast.bring(case, "authorized")
    cast.speaks(case.right_holders.get(), clerk, "withdrawn")
    lift(case.holds.get(), manager, "order", cast.paper(case, "court_order"))
    person = right.person_of(case.right_holders.get())
    assert not person.opposes
    assert not person.has_signed
    assert case.holds.filter(lifted_at=None).count() == 0


def test_what_lifts_no_dispute(
    case: Case, dispute: Hold, clerk: StaffMember, operator: StaffMember, manager: StaffMember
) -> None:
    order, letter = cast.paper(case, "court_order"), cast.paper(case, "other")
    other = cast.paper(cast.make_case(case.facility), "court_order")
    for who, on, document, code in (
        (clerk, "order", order, "role"),
        (operator, "order", order, "role"),
        (manager, "", None, "lifted_on_missing"),
        (manager, "because", order, "lifted_on_missing"),
        (manager, "order", None, "paper_missing"),
        (manager, "agreement", None, "paper_missing"),
        (manager, "withdrawal", None, "paper_missing"),
        (manager, "order", letter, "paper_kind"),
        (manager, "order", other, "document_unknown"),
        (manager, "cleared", order, "dispute_stands"),
        (manager, "mistake", None, "witness_missing"),
    ):
        assert refused(lambda w=who, o=on, d=document: lift(dispute, w, o, d)) == code
    assert refused(lambda: lift(dispute, manager, "order", order, reason=" ")) == "reason_missing"
    same = cast.signature(manager)
    assert refused(lambda: lift(dispute, manager, "mistake", witness=same)) == "witness_same"
    dispute.refresh_from_db()
    assert dispute.lifted_at is None
    assert not AuthorizingAgent.objects.filter(position="settled").exists()


def test_the_paper_of_the_ground_and_a_replaced_one_lift_nothing(
    case: Case, clerk: StaffMember, manager: StaffMember
) -> None:
    cast.bring(case, "in_care")
    letter, draft = cast.paper(case, "other"), cast.paper(case, "other")
    Document.objects.create(
        case=case, kind="other", reference="R-2", issued_by="Registrar", replaces=draft,
        issued_on=draft.issued_on, filed_at=draft.filed_at,
    )  # fmt: skip
    raised = Raised(is_objection=True, by="A man who gave no name", document=letter)
    hold = opened(case, clerk, raised)
    for paper in (letter, draft):
        code = refused(lambda p=paper: lift(hold, manager, "agreement", p))
        assert code == "paper_unfit"


def test_no_version_of_an_objection_and_nothing_from_before_it_settles_a_dispute(
    case: Case, clerk: StaffMember, manager: StaffMember
) -> None:
    cast.bring(case, "in_care")
    start = clock.now()
    with clock.pinned(start):
        letter, before = cast.paper(case, "other"), cast.paper(case, "court_order")
    with clock.pinned(start + timedelta(hours=1)):
        son = cast.says(case, clerk, "Ben Example", "")
        cast.speaks(son, clerk, "objects", document=letter)
        hold = case.holds.get()
    with clock.pinned(start + timedelta(hours=2)):
        rescan = Document.objects.create(
            case=case, kind="other", reference="R-1", issued_by="the son", replaces=letter,
            issued_on=letter.issued_on, filed_at=clock.now(),
        )  # fmt: skip
        permit = cast.paper(case, "disposition_permit")
        for paper, code in (
            (rescan, "paper_unfit"),
            (permit, "paper_settles_nothing"),
            (before, "paper_before"),
        ):
            assert refused(lambda p=paper: lift(hold, manager, "agreement", p)) == code
            assert refused(lambda p=paper: cast.speaks(son, manager, "settled", document=p)) == code
        offered = holds.usable_papers(Hold.objects.get())
        assert not {rescan, permit, before}.intersection(offered)
        lift(hold, manager, "withdrawal", cast.paper(case, "other"))


def test_two_persons_sign_that_an_objection_was_a_mistake(
    dispute: Hold, manager: StaffMember, clerk: StaffMember
) -> None:
    entry = lift(dispute, manager, "mistake", witness=cast.signature(clerk))
    assert entry.witness == clerk
    assert facts_of(entry)["is_objection_settled"] is True


def test_a_dispute_clears_when_the_rules_give_the_objector_no_say(
    case: Case, dispute: Hold, clerk: StaffMember, manager: StaffMember
) -> None:
    cast.says(case, clerk, "Wanda Example", "", rank="spouse", relationship="wife")
    assert "cleared" in {way.key for way in holds.ways(Hold.objects.get())}
    entry = lift(dispute, manager, "cleared", reason="His mother is found; she decides.")
    assert facts_of(entry)["is_objection_settled"] is False
    assert [p.name for p in right.answer_for(fresh(case)).noted] == ["Ben Example"]


def test_nobody_says_that_a_stranger_has_no_say(
    case: Case, clerk: StaffMember, manager: StaffMember
) -> None:
    hold = opened(case, clerk, Raised(is_objection=True, by="A man who gave no name"))
    assert refused(lambda: lift(hold, manager, "cleared")) == "dispute_stands"
    entry = lift(hold, manager, "withdrawal", cast.paper(case, "other"))
    assert "is_objection_settled" not in facts_of(entry)


def test_another_ground_clears_by_its_reason(
    case: Case, clerk: StaffMember, manager: StaffMember
) -> None:
    hold = opened(case, clerk)
    assert refused(lambda: lift(hold, manager, "agreement")) == "paper_missing"
    lift(hold, manager, "cleared")
    assert refused(lambda: lift(hold, manager, "cleared")) == "hold_lifted"


def test_a_repeated_token_lifts_once(dispute: Hold, manager: StaffMember) -> None:
    signed, token = cast.signature(manager), cast.token()
    lifting = Lifting(
        on="order", reason="decided", document=cast.paper(dispute.case, "court_order")
    )
    first = hold_acts.lift_hold(dispute, signed, token, lifting)
    assert hold_acts.lift_hold(dispute, signed, token, lifting) == first


# After the charge


def test_an_objection_after_the_charge_holds_the_remains_and_says_so(
    case: Case, clerk: StaffMember
) -> None:
    cast.bring(case, "in_retort")
    cast.says(case, clerk, "Ben Example", "objects")
    hold = case.holds.get()
    late = holds.late(hold)
    assert late is not None
    assert not late.said_before
    assert "It came after the charge" in hold.ground
    facts = facts_of(CustodyEntry.objects.get(act="open_hold"))
    assert (facts["after_charge"], facts["said_before_charge"]) == (True, False)


def test_what_was_said_before_the_charge_and_recorded_after_it_is_marked(
    case: Case, clerk: StaffMember
) -> None:
    cast.bring(case, "in_retort")
    son = cast.says(case, clerk, "Ben Example", "")
    said_at = case.run.charged_at - timedelta(hours=1)
    cast.speaks(son, clerk, "objects", said_at=said_at)
    late = holds.late(case.holds.get())
    assert late is not None
    assert (late.said_at, late.said_before) == (said_at, True)
    facts = facts_of(CustodyEntry.objects.get(act="open_hold"))
    assert facts["said_before_charge"] is True


def test_what_was_said_in_another_class_before_the_charge_is_marked_too(
    case: Case, clerk: StaffMember
) -> None:
    cast.bring(case, "in_retort")
    son = cast.says(case, clerk, "Ben Example", "")
    friend = right_acts.Named(
        name="Ben Example", rank="other_willing", relationship="friend", person=son.person
    )
    right_acts.name_holder(case, clerk, cast.token(), friend)
    said_at = case.run.charged_at - timedelta(hours=1)
    cast.speaks(case.right_holders.get(rank="other_willing"), clerk, "objects", said_at=said_at)
    hold = case.holds.get()
    assert hold.holder == son
    late = holds.late(hold)
    assert late is not None
    assert (late.said_at, late.said_before) == (said_at, True)


def test_the_machine_finishes_while_a_case_is_on_hold(case: Case, operator: StaffMember) -> None:
    cast.bring(case, "in_retort")
    opened(case, operator)
    assert "finishes this run" in holds.meanwhile(case.stage)
    with clock.pinned(case.stage_since + timedelta(minutes=10)):
        reading = cast.read(case.run.retort, cast.HOT)
    assert reading.pk  # readings are never blocked
    assert refused(lambda: cast.do("burner_off", case)) == "gates"


# Who was told


def test_who_should_be_told_and_who_not_yet(case: Case, dispute: Hold, clerk: StaffMember) -> None:
    wife = cast.says(case, clerk, "Wanda Example", "", rank="spouse", relationship="wife")
    cast.knows(wife, clerk, is_living=False)
    dispute = Hold.objects.get()
    assert holds.not_told(dispute) == ["Example Funeral Home", "Ben Example"]
    tell(dispute, clerk, ["ben example", "Sheriff Example"])
    assert holds.not_told(Hold.objects.get()) == ["Example Funeral Home"]


def tell(hold: Hold, who: StaffMember, names: list[str], **more: Any) -> CustodyEntry:
    stated = {"how": "by telephone", "told_at": clock.now(), **more}
    return hold_acts.tell(hold, who, cast.token(), names, **stated)


@pytest.mark.parametrize("key", [cast.CLERK, cast.OPERATOR, cast.MANAGER])
def test_anybody_records_who_was_told(dispute: Hold, key: str) -> None:
    who = cast.member(dispute.case.facility, key)
    entry = tell(dispute, who, ["Ben Example", " Ben Example ", "", "Sheriff Example"])
    assert HoldNotice.objects.count() == 2
    assert facts_of(entry)["told"] == "Ben Example; Sheriff Example"
    assert "Example" not in entry.payload


def test_what_is_no_telling(case: Case, dispute: Hold, clerk: StaffMember) -> None:
    assert refused(lambda: tell(dispute, clerk, [" "])) == "nobody_told"
    assert refused(lambda: tell(dispute, clerk, ["Ben"], how=" ")) == "way_missing"
    later = clock.now() + timedelta(minutes=2)
    assert refused(lambda: tell(dispute, clerk, ["Ben"], told_at=later)) == "time_future"
    assert not HoldNotice.objects.exists()


def test_people_are_told_when_the_case_is_closed(
    case: Case, clerk: StaffMember, manager: StaffMember
) -> None:
    hold = opened(case, clerk)
    lift(hold, manager, "cleared")
    cast.bring(case, "returned")
    tell(hold, clerk, ["Example Funeral Home"])
    assert holds.not_told(Hold.objects.get()) == []


def test_after_the_lifting_people_are_told_of_that(
    case: Case, dispute: Hold, clerk: StaffMember, manager: StaffMember
) -> None:
    tell(dispute, clerk, ["Ben Example", "Example Funeral Home"])
    assert holds.not_told(Hold.objects.get()) == []
    lift(dispute, manager, "order", cast.paper(case, "court_order"))
    assert holds.not_told(Hold.objects.get()) == ["Example Funeral Home", "Ben Example"]
    tell(dispute, clerk, ["Ben Example"], told_at=clock.now().replace(second=0, microsecond=0))
    hold = Hold.objects.get()
    assert [n.told for n in holds.told_of_lifting(hold)] == ["Ben Example"]
    assert len(holds.told_of_hold(hold)) == 2


# The law


@pytest.mark.parametrize(
    ("code", "words", "citation"),
    [
        ("us-mt", "a district court decides", "MCA 37-19-907"),
        ("us-co", "a probate court decides", "C.R.S. 15-19-106(3)"),
        ("us-sd", "a court's order or proof that they settled it", "SDCL 34-26A-32"),
        ("us-tn", "must not go on", "T.C.A. 62-5-706; 62-5-705"),
        ("us-il", "within 30 days of filing", "755 ILCS 65/50"),
        ("us-tx", "not known here. The house holds all the same.", ""),
    ],
)
def test_the_laws_rule_on_disputes(code: str, words: str, citation: str) -> None:
    note = holds.dispute_law(law.jurisdiction(code))
    assert words in note.text
    assert note.citation == citation
