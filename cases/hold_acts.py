"""Acts about holds: open one, tell somebody of it, lift it.

Anybody may stop a case, and anybody may record an objection with it, for an objection only ever
closes. An objection after the charge is recorded and holds like any other: it cannot stop the
cremation any more, but nothing further is done to the remains before a manager has decided.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from django.utils.text import Truncator

from cases import holds, right, settling
from cases.acts import do_act, need, need_open, of_this_case, paper_as_it_is
from cases.errors import ActRefused
from cases.models import AuthorizingAgent, Case, Document, Hold, HoldNotice, RightHolder
from cases.roles import WHO
from cases.taking import check_witness
from chain_of_custody import trail
from chain_of_custody.models import CustodyEntry
from chain_of_custody.trail import Sealed
from crematory.models import StaffMember
from crematory.signatures import Signature

LiftedBy, Position = Hold.LiftedBy, AuthorizingAgent.Position
HOW_LENGTH = 200


@dataclass(frozen=True, kw_only=True)
class Raised:
    """Who raised what a case is held for. An objection makes the hold a dispute.

    `holder` is the objector where the case names them; `by` is a name typed in.
    """

    is_objection: bool = False
    holder: RightHolder | None = None
    by: str = ""
    document: Document | None = None


@dataclass(frozen=True, kw_only=True)
class Lifting:
    """What lifts a hold: one of `Hold.LiftedBy`, the reason, and the paper where one is asked."""

    on: str
    reason: str
    document: Document | None = None


NOBODY = Raised()


def open_hold(
    case: Case, signed_by: Signature, token: str, ground: str, raised: Raised = NOBODY
) -> CustodyEntry:
    """Open a hold. Anybody may, at any stage; it blocks every step until a manager lifts it.

    An objection by somebody with a say is recorded as their word in the same act.
    """

    def write(locked: Case, now: datetime) -> dict[str, Any]:
        need_open(locked)
        _check_raised(locked, ground, raised)
        objector = locked.right_holders.get(pk=raised.holder.pk) if raised.holder else None
        if raised.is_objection and objector and not right.person_of(objector).opposes:
            _word(objector, Position.OBJECTS, ground, now, raised.document)
        hold = Hold.objects.create(
            case=locked,
            kind=Hold.Kind.DISPUTE if raised.is_objection else Hold.Kind.OTHER,
            raised_by=raised.holder.name if raised.holder else raised.by.strip(),
            holder=raised.holder,
            document=raised.document,
            ground=ground.strip(),
            opened_at=now,
            opened_by=signed_by.member,
        )
        return _facts(hold)

    return do_act(
        "open_hold",
        case,
        signed_by.member,
        token,
        write,
        signature="pin",
        after=hold_if_disputed(case, signed_by.member),
    )


def _check_raised(case: Case, ground: str, raised: Raised) -> None:
    if not ground.strip():
        raise ActRefused("ground_missing", "Say why the case is put on hold.")
    of_this_case(case, raised.document)
    if raised.holder is not None and raised.holder.case_id != case.pk:
        raise ActRefused("person_unknown", "This person is not named in this case.")
    if raised.is_objection and raised.holder is None and not raised.by.strip():
        raise ActRefused("objector_missing", "Say who objects.")
    if raised.is_objection and raised.holder and raised.holder.person in held_persons(case):
        raise ActRefused("hold_stands", "The case is on hold for this person's objection already.")


def held_persons(case: Case) -> set[int]:
    """Return the numbers of the persons for whose objection the case is on hold."""
    disputes = [hold for hold in holds.open_holds(case) if hold.kind == Hold.Kind.DISPUTE]
    return {hold.holder.person for hold in disputes if hold.holder}


def _word(
    holder: RightHolder, position: str, how: str, now: datetime, document: Document | None
) -> None:
    AuthorizingAgent.objects.create(
        case=holder.case,
        holder=holder,
        position=position,
        form=AuthorizingAgent.Form.PAPER,
        document=document,
        how=Truncator(how.strip()).chars(HOW_LENGTH),
        said_at=now,
        stated_at=now,
    )


def _facts(hold: Hold) -> dict[str, Any]:
    """Return what the entry of an opened hold says."""
    late = holds.late(hold)
    return {
        "hold_kind": hold.kind,
        "ground": Sealed(hold.ground),
        "raised_by": Sealed(hold.raised_by),
        "document": hold.document.kind if hold.document else None,
        **({"after_charge": True, "said_before_charge": late.said_before} if late else {}),
    }


def lift_hold(
    hold: Hold,
    signed_by: Signature,
    token: str,
    lifting: Lifting,
    witness: Signature | None = None,
) -> CustodyEntry:
    """Lift a hold. Only a manager may, with a reason, by one of the ways that the hold allows.

    Lifting a dispute also records that the objection, or the signature taken back, is settled.
    """

    def write(locked: Case, now: datetime) -> dict[str, Any]:
        need(signed_by.member, *WHO["lift_hold"])
        found = Hold.objects.filter(pk=hold.pk, case=locked, lifted_at__isnull=True).first()
        if found is None:
            raise ActRefused("hold_lifted", "This hold was already lifted.")
        found.case = locked
        paper = paper_as_it_is(locked, lifting.document)
        _check_lifting(found, replace(lifting, document=paper))
        is_dispute = found.kind == Hold.Kind.DISPUTE
        if witness is not None or (is_dispute and lifting.on == LiftedBy.MISTAKE):
            check_witness(locked, signed_by.member, witness)
        if is_dispute and lifting.on != LiftedBy.CLEARED:
            _settle(found, lifting, now)
        Hold.objects.filter(pk=found.pk).update(
            lifted_at=now,
            lifted_by=signed_by.member,
            lift_reason=lifting.reason.strip(),
            lifted_on=lifting.on,
            lift_document=lifting.document,
        )
        return {
            "hold_kind": found.kind,
            "hold_opened_at": found.opened_at,
            "raised_by": Sealed(found.raised_by),
            "lifted_on": lifting.on,
            "reason": Sealed(lifting.reason.strip()),
            "document": lifting.document.kind if lifting.document else None,
            **_settled(found),
        }

    return do_act(
        "lift_hold",
        hold.case,
        signed_by.member,
        token,
        write,
        signature="pin",
        witness=witness,
        after=hold_if_disputed(hold.case, signed_by.member),
    )


def _check_lifting(hold: Hold, lifting: Lifting) -> None:
    if not lifting.reason.strip():
        raise ActRefused("reason_missing", "Say why the hold is lifted.")
    if lifting.on not in LiftedBy.values:
        raise ActRefused("lifted_on_missing", "Say what lifts the hold.")
    if lifting.on not in {way.key for way in holds.ways(hold)}:
        raise ActRefused(
            "dispute_stands",
            f"{hold.raised_by} objected: an order of a court, a signed agreement or a written "
            "withdrawal lifts this hold, with its paper.",
        )
    _check_paper(hold, lifting)


def _check_paper(hold: Hold, lifting: Lifting) -> None:
    document = lifting.document
    if document is None:
        if lifting.on in holds.ON_PAPER:
            raise ActRefused(
                "paper_missing",
                "An order, an agreement or a withdrawal lifts a hold only with its paper. File "
                "the paper, then choose it here.",
            )
        return
    if hold.kind == Hold.Kind.DISPUTE and (
        refusal := settling.why_not(document, settling.since_of_hold(hold))
    ):
        raise refusal
    if document not in holds.usable_papers(hold):
        raise ActRefused(
            "paper_unfit",
            "This paper is the ground of the hold itself, or a later version has replaced it. "
            "Choose the paper that lifts the hold.",
        )
    if lifting.on == LiftedBy.ORDER and document.kind != "court_order":
        raise ActRefused("paper_kind", "This paper is no court order. Choose the court's order.")


def _settle(hold: Hold, lifting: Lifting, now: datetime) -> None:
    """Record that the objection is settled, unless somebody did so before."""
    if hold.holder is not None and right.person_of(hold.holder).opposes:
        how = f"{LiftedBy(lifting.on).label}: {lifting.reason.strip()}"
        _word(hold.holder, Position.SETTLED, how, now, lifting.document)


def _settled(hold: Hold) -> dict[str, Any]:
    """Return whether the objection of somebody with a say is settled now."""
    if hold.kind != Hold.Kind.DISPUTE or hold.holder is None:
        return {}
    holder = RightHolder.objects.get(pk=hold.holder.pk)
    return {"is_objection_settled": not right.person_of(holder).opposes}


def tell(
    hold: Hold,
    member: StaffMember,
    token: str,
    told: Sequence[str],
    how: str,
    told_at: datetime,
) -> CustodyEntry:
    """Record that persons were told of a hold, or that it is lifted: all in one way at one time.

    Of a closed case too: who objected is told when the person has left the house.
    """

    def write(locked: Case, now: datetime) -> dict[str, Any]:
        names = list(dict.fromkeys(name.strip() for name in told if name.strip()))
        if not names:
            raise ActRefused("nobody_told", "Say who was told.")
        if not how.strip():
            raise ActRefused("way_missing", "Say how they were told.")
        if told_at > now:
            raise ActRefused("time_future", "The time lies in the future. Correct it.")
        at = _settled_minute(Hold.objects.get(pk=hold.pk), told_at)
        for name in names:
            row = HoldNotice(hold=hold, told=name, how=how.strip(), told_at=at)
            row.full_clean()
            row.save()
        return {
            "hold_opened_at": hold.opened_at,
            "told": Sealed("; ".join(names)),
            "how": Sealed(how.strip()),
            "told_at": at,
        }

    return do_act("tell_of_hold", hold.case, member, token, write)


def _settled_minute(hold: Hold, told_at: datetime) -> datetime:
    """Forms state the minute: what was told in the minute of the lifting is told of the lifting."""
    at = hold.lifted_at
    return at if at and at.replace(second=0, microsecond=0) <= told_at < at else told_at


def hold_if_disputed(case: Case, member: StaffMember) -> Callable[[CustodyEntry], None]:
    """Return what opens a hold by itself, in the same transaction, once a dispute is there.

    Each objector has a hold of their own, so that lifting one leaves the others standing.
    """

    def after(entry: CustodyEntry) -> None:
        fresh = Case.objects.get(pk=case.pk)
        held = held_persons(fresh)
        for objector in right.answer_for(fresh).objectors:
            if int(objector.key) not in held:
                held.add(int(objector.key))
                holder = fresh.right_holders.get(person=int(objector.key), rank=objector.class_key)
                _open_by_itself(holder, member, entry.recorded_at)

    return after


def _open_by_itself(holder: RightHolder, member: StaffMember, now: datetime) -> None:
    case, objection = holder.case, right.person_of(holder).objection
    does = "objects to the cremation"
    if objection is None or not objection.stands:
        does = "takes the signature under the authorization back"
    late = " It came after the charge." if holds.is_after_charge(case) else ""
    hold = Hold.objects.create(
        case=case,
        kind=Hold.Kind.DISPUTE,
        raised_by=holder.name,
        holder=holder,
        document=right.newest_paper_against(holder),
        ground=f"{holder.name} ({holder.relationship}) {does}.{late}",
        opened_at=now,
        opened_by=member,
    )
    trail.append(
        trail.Act(
            facility=case.facility,
            name="open_hold",
            happened_at=now,
            recorded_at=now,
            case=case,
            signed_by=member,
            signature="session",
            facts=_facts(hold),
        )
    )
