"""Acts beside the steps: announce, file, hold, correct, move. Each is one entry of the trail.

They share the shape of `take`: one transaction, the case locked, the token answered, the entry
appended together with the rows.
"""

from collections.abc import Callable
from datetime import datetime
from typing import Any

from django.db import transaction

from cases import numbering
from cases.effects import move
from cases.errors import ActRefused
from cases.models import AuthorizingAgent, Case, DeviceAnswer, Document, Hold, Recipient
from cases.names import fold
from cases.steps import BEFORE_CHARGE
from cases.taking import check_member, lock, record_refusal, repeated
from chain_of_custody import trail
from chain_of_custody.models import CustodyEntry, Place, open_placement
from chain_of_custody.trail import Sealed
from crematory import clock
from crematory.models import Facility, Role, StaffMember
from crematory.signatures import Signature

Write = Callable[[Case, datetime], dict[str, Any]]


def do_act(
    name: str,
    case: Case,
    member: StaffMember,
    token: str,
    write: Write,
    *,
    signature: str = "session",
    after: Callable[[CustodyEntry], None] | None = None,
) -> CustodyEntry:
    """Do one act: `write` changes the rows and returns the facts; a refusal is recorded.

    `after` runs in the same transaction, with the entry.
    """
    now = clock.now()
    try:
        with transaction.atomic():
            locked = lock(case)
            if earlier := repeated(locked, name, token):
                return earlier
            check_member(locked, member)
            facts = write(locked, now)
            places = {key: facts.pop(key) for key in ("place_from", "place_to") if key in facts}
            entry = trail.append(
                trail.Act(
                    facility=locked.facility,
                    name=name,
                    happened_at=now,
                    recorded_at=now,
                    case=locked,
                    signed_by=member,
                    signature=signature,
                    token=token,
                    facts=facts,
                    **places,
                )
            )
            if after:
                after(entry)
            return entry
    except ActRefused as refusal:
        record_refusal(case, name, refusal, member)
        raise


def need(member: StaffMember, *roles: Role) -> None:
    if not member.roles & set(roles):
        needed = " or ".join(role.label for role in roles)
        raise ActRefused("role", f"This needs the role {needed}.")


def _need_open(case: Case) -> None:
    if not case.is_open:
        raise ActRefused("stage", "This case is closed; nothing more can be filed on it.")


def announce(facility: Facility, member: StaffMember, token: str, **fields: Any) -> Case:
    """Create the case of a person who is expected. A repeated token gives the first case."""
    try:
        return _announce(facility, member, token, fields)
    except ActRefused as refusal:
        trail.record_refusal(facility, "announce", refusal.codes, member)
        raise


def _announce(facility: Facility, member: StaffMember, token: str, fields: dict[str, Any]) -> Case:
    need(member, Role.FRONT_OFFICE)
    now = clock.now()
    if fields["died_at"] > now:
        raise ActRefused("time_future", "The time of death lies in the future. Correct it.")
    with transaction.atomic():
        counter = numbering.lock_counter(facility, now)
        earlier = CustodyEntry.objects.filter(
            facility=facility, act="announce", token=token
        ).first()
        if earlier and earlier.case:
            return earlier.case
        case = Case(
            facility=facility,
            number=numbering.next_number(counter),
            announced_at=now,
            stage_since=now,
            jurisdiction=facility.jurisdiction,
            **fields,
        )
        case.full_clean(exclude=["stage_entry"])
        case.save()
        trail.append(
            trail.Act(
                facility=facility,
                name="announce",
                happened_at=now,
                recorded_at=now,
                case=case,
                signed_by=member,
                signature="session",
                token=token,
                facts={
                    "decedent_name": Sealed(case.decedent_name),
                    "born_on": Sealed(str(case.born_on or "")),
                    "died_at": case.died_at,
                    "sender": Sealed(case.sender),
                    "jurisdiction": case.jurisdiction,
                },
            )
        )
    return case


def file_document(case: Case, member: StaffMember, token: str, **fields: Any) -> CustodyEntry:
    """File a paper that was seen."""

    def write(locked: Case, now: datetime) -> dict[str, Any]:
        need(member, Role.FRONT_OFFICE, Role.MANAGER)
        _need_open(locked)
        document = Document(case=locked, filed_at=now, **fields)
        document.full_clean()
        document.save()
        return {
            "kind": document.kind,
            "reference": Sealed(document.reference),
            "issued_by": Sealed(document.issued_by),
            "issued_on": document.issued_on,
        }

    return do_act("file_document", case, member, token, write)


def _objects(case: Case, name: str) -> bool:
    """True while the newest statement under this name is an objection."""
    said = [agent for agent in case.agents.all() if fold(agent.name) == fold(name)]
    return bool(said) and said[-1].position == AuthorizingAgent.Position.OBJECTS


def state_agent(case: Case, member: StaffMember, token: str, **fields: Any) -> CustodyEntry:
    """Record that a person signed the authorization, objects, or withdraws an objection.

    Only a manager records that somebody who objected no longer does.
    """

    def write(locked: Case, now: datetime) -> dict[str, Any]:
        need(member, Role.FRONT_OFFICE, Role.MANAGER)
        _need_open(locked)
        agent = AuthorizingAgent(case=locked, stated_at=now, **fields)
        agent.full_clean()
        if _objects(locked, agent.name) and agent.position != AuthorizingAgent.Position.OBJECTS:
            need(member, Role.MANAGER)
        agent.save()
        return {
            "name": Sealed(agent.name),
            "relationship": Sealed(agent.relationship),
            "position": agent.position,
        }

    return do_act("state_agent", case, member, token, write)


def name_recipient(case: Case, member: StaffMember, token: str, **fields: Any) -> CustodyEntry:
    """Record a person whom the authorization names to receive the remains.

    After the authorization only a manager names another one.
    """

    def write(locked: Case, now: datetime) -> dict[str, Any]:
        need(member, Role.FRONT_OFFICE, Role.MANAGER)
        _need_open(locked)
        if locked.stage not in ("expected", "in_care"):
            need(member, Role.MANAGER)
        recipient = Recipient(case=locked, **fields)
        recipient.full_clean()
        recipient.save()
        return {"name": Sealed(recipient.name), "relationship": Sealed(recipient.relationship)}

    return do_act("name_recipient", case, member, token, write)


SETTLED = ("is_death_reportable", "disposition", "jewellery")


def settle(case: Case, member: StaffMember, token: str, **fields: Any) -> CustodyEntry:
    """Answer the open questions of the authorization: reportable death, disposition, jewellery."""
    if set(fields) - set(SETTLED):
        raise TypeError(f"Only {', '.join(SETTLED)} are settled here.")

    def write(locked: Case, now: datetime) -> dict[str, Any]:
        need(member, Role.FRONT_OFFICE, *([Role.OPERATOR] if {*fields} == {"jewellery"} else []))
        if locked.stage not in BEFORE_CHARGE:
            raise ActRefused("stage", "After the charge only a correction can change this.")
        for name, value in fields.items():
            setattr(locked, name, value)
        locked.full_clean(exclude=["stage_entry"])
        locked.save(update_fields=[*fields])
        return dict(fields)

    return do_act("settle", case, member, token, write)


def answer_device(case: Case, member: StaffMember, token: str, **fields: Any) -> CustodyEntry:
    """Record the answer to a device question; the newest answer counts."""

    def write(locked: Case, now: datetime) -> dict[str, Any]:
        need(member, Role.FRONT_OFFICE, Role.OPERATOR)
        if locked.stage not in BEFORE_CHARGE:
            raise ActRefused("stage", "After the charge device answers stay as they are.")
        answer = DeviceAnswer(case=locked, answered_at=now, **fields)
        answer.full_clean()
        if answer.removed_at and answer.removed_at > now:
            raise ActRefused("time_future", "The removal lies in the future. Correct it.")
        answer.save()
        return {
            "device": answer.device,
            "answer": answer.answer,
            "informant": Sealed(answer.informant),
            "removed_by": Sealed(answer.removed_by),
            "removed_at": answer.removed_at,
            "went_to": Sealed(answer.went_to),
            "safe_from": answer.safe_from,
        }

    return do_act("answer_device", case, member, token, write)


def open_hold(case: Case, signed_by: Signature, token: str, ground: str) -> CustodyEntry:
    """Open a hold. Anybody may, at any stage; it blocks every step until a manager lifts it."""

    def write(locked: Case, now: datetime) -> dict[str, Any]:
        _need_open(locked)
        if not ground.strip():
            raise ActRefused("ground_missing", "Say why the case is put on hold.")
        Hold.objects.create(
            case=locked, ground=ground.strip(), opened_at=now, opened_by=signed_by.member
        )
        return {"ground": Sealed(ground.strip())}

    return do_act("open_hold", case, signed_by.member, token, write, signature="pin")


def lift_hold(hold: Hold, signed_by: Signature, token: str, reason: str) -> CustodyEntry:
    """Lift a hold. Only a manager may, with a reason."""

    def write(locked: Case, now: datetime) -> dict[str, Any]:
        need(signed_by.member, Role.MANAGER)
        if not reason.strip():
            raise ActRefused("reason_missing", "Say why the hold is lifted.")
        lifted = Hold.objects.filter(pk=hold.pk, lifted_at__isnull=True).update(
            lifted_at=now, lifted_by=signed_by.member, lift_reason=reason.strip()
        )
        if not lifted:
            raise ActRefused("hold_lifted", "This hold was already lifted.")
        return {"hold_opened_at": hold.opened_at, "reason": Sealed(reason.strip())}

    return do_act("lift_hold", hold.case, signed_by.member, token, write, signature="pin")


def move_person(case: Case, signed_by: Signature, token: str, place: Place) -> CustodyEntry:
    """Move the person to another free place of the same kind."""

    def write(locked: Case, now: datetime) -> dict[str, Any]:
        current = open_placement(locked)
        if current is None or current.place.kind == Place.Kind.RETORT:
            raise ActRefused("not_movable", "This person is in no place from which to move.")
        if place.facility_id != locked.facility_id or place.kind != current.place.kind:
            raise ActRefused("place_kind", f"Choose a {current.place.get_kind_display()}.")
        if place == current.place:
            raise ActRefused("place_same", "The person is already there.")
        if not place.is_in_use or place.placements.filter(until__isnull=True).exists():
            raise ActRefused("place_taken", f"{place} is not free.")
        moved = move(locked, place, now)
        return {"place_from": moved.origin, "place_to": moved.goal}

    return do_act("move", case, signed_by.member, token, write, signature="pin")
