"""Acts about the staff: each one is signed with a PIN and is an entry of the trail.

Who the member is is told by the staff code; names and certificates are sealed.
"""

from dataclasses import dataclass
from datetime import date
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction

from cases.acts import need
from cases.errors import ActRefused
from chain_of_custody import trail
from chain_of_custody.models import CustodyEntry
from chain_of_custody.trail import Sealed
from crematory import clock
from crematory.models import Role, StaffMember
from crematory.signatures import Signature, set_pin


@dataclass(frozen=True, kw_only=True)
class NewMember:
    """What a manager states about a new member."""

    staff_code: str
    printed_name: str
    roles: frozenset[Role]
    password: str
    pin: str
    certificate_number: str = ""
    certificate_expires_on: date | None = None


def add(signed_by: Signature, new: NewMember) -> StaffMember:
    """Add a member to the manager's facility. Raises ActRefused or ValidationError."""
    need(signed_by.member, Role.MANAGER)
    if not new.roles:
        raise ActRefused("roles_missing", "Choose at least one role.")
    member = StaffMember(
        facility=signed_by.member.facility,
        staff_code=new.staff_code.strip().upper(),
        printed_name=new.printed_name.strip(),
        is_front_office=Role.FRONT_OFFICE in new.roles,
        is_operator=Role.OPERATOR in new.roles,
        is_manager=Role.MANAGER in new.roles,
        certificate_number=new.certificate_number.strip(),
        certificate_expires_on=new.certificate_expires_on,
    )
    _give_password(member, new.password)
    _give_pin(member, new.pin)
    member.full_clean()
    with transaction.atomic():
        member.save()
        _record(
            "staff.add",
            signed_by,
            member,
            printed_name=Sealed(member.printed_name),
            roles=sorted(new.roles),
            **_certificate(member),
        )
    return member


def activate(signed_by: Signature, member: StaffMember) -> None:
    """Let a member sign in and sign again."""
    _switch("staff.activate", signed_by, member, True)


def deactivate(signed_by: Signature, member: StaffMember) -> None:
    """End a member's right to sign in and to sign. Nobody does so to themselves."""
    if member.pk == signed_by.member.pk:
        raise ActRefused("own_account", "Another manager must deactivate you.")
    _switch("staff.deactivate", signed_by, member, False)


def renew_certificate(
    signed_by: Signature, member: StaffMember, number: str, expires_on: date
) -> None:
    """Record an operator's renewed certificate; the old one stays in the trail."""
    with transaction.atomic():
        locked = _locked(signed_by, member)
        if not number.strip():
            raise ActRefused("number_missing", "Write the number of the certificate.")
        if (locked.certificate_number, locked.certificate_expires_on) == (
            number.strip(),
            expires_on,
        ):
            raise ActRefused("unchanged", "This certificate is already on file.")
        locked.certificate_number, locked.certificate_expires_on = number.strip(), expires_on
        locked.save(update_fields=["certificate_number", "certificate_expires_on"])
        _record("staff.renew_certificate", signed_by, locked, **_certificate(locked))


def give_pin(signed_by: Signature, member: StaffMember, pin: str) -> None:
    """A manager gives a member a new signing PIN; a lock after wrong PINs ends."""
    with transaction.atomic():
        locked = _locked(signed_by, member)
        _store_pin(locked, pin)
        _record("staff.give_pin", signed_by, locked)


def give_password(signed_by: Signature, member: StaffMember, password: str) -> None:
    """A manager gives a member a new password; the member's open sessions end."""
    with transaction.atomic():
        locked = _locked(signed_by, member)
        _give_password(locked, password)
        locked.save(update_fields=["password"])
        _record("staff.give_password", signed_by, locked)


def change_own_pin(signed_by: Signature, pin: str) -> None:
    """A member changes the own PIN; the signature shows that the old one was known."""
    with transaction.atomic():
        member = StaffMember.objects.select_for_update(no_key=True).get(pk=signed_by.member.pk)
        _store_pin(member, pin)
        _record("staff.change_own_pin", signed_by, member)


def _locked(signed_by: Signature, member: StaffMember) -> StaffMember:
    """Lock a member of the manager's own facility; refuse who is no manager."""
    need(signed_by.member, Role.MANAGER)
    if member.facility_id != signed_by.member.facility_id:
        raise ActRefused("facility", "This member belongs to another facility.")
    return StaffMember.objects.select_for_update(no_key=True).get(pk=member.pk)


def _switch(name: str, signed_by: Signature, member: StaffMember, active: bool) -> None:
    with transaction.atomic():
        locked = _locked(signed_by, member)
        if locked.is_active == active:
            return  # sent twice: the first one holds
        locked.is_active = active
        locked.save(update_fields=["is_active"])
        _record(name, signed_by, locked)


def _give_pin(member: StaffMember, pin: str) -> None:
    try:
        set_pin(member, pin)
    except ValueError as error:
        raise ValidationError({"pin": str(error)}) from error


def _store_pin(member: StaffMember, pin: str) -> None:
    _give_pin(member, pin)
    member.pin_failures, member.pin_locked_until = 0, None
    member.save(update_fields=["pin_hash", "pin_failures", "pin_locked_until"])


def _give_password(member: StaffMember, password: str) -> None:
    try:
        validate_password(password, member)
    except ValidationError as error:
        raise ValidationError({"password": error.messages}) from error
    member.set_password(password)


def _certificate(member: StaffMember) -> dict[str, Any]:
    stated: dict[str, Any] = {}
    if member.certificate_number:
        stated["certificate_number"] = Sealed(member.certificate_number)
    if member.certificate_expires_on:
        stated["certificate_expires_on"] = member.certificate_expires_on
    return stated


def _record(name: str, signed_by: Signature, member: StaffMember, **facts: Any) -> CustodyEntry:
    now = clock.now()
    return trail.append(
        trail.Act(
            facility=member.facility,
            name=name,
            happened_at=now,
            recorded_at=now,
            signed_by=signed_by.member,
            signature="pin",
            facts={"member": member.staff_code, **facts},
        )
    )
