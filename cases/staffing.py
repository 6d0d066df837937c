"""Acts about the staff: each one is signed with a PIN and is an entry of the trail.

Who the member is is told by the staff code; names and certificates are sealed. A refused act is
an entry too. What a manager gives to a member, the manager knows: it holds only until the member
has chosen an own one.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from cases.acts import need
from cases.errors import ActRefused
from chain_of_custody import trail
from chain_of_custody.models import CustodyEntry
from chain_of_custody.trail import Sealed
from crematory import clock
from crematory.models import Facility, Role, StaffMember
from crematory.signatures import Signature, is_pin, set_pin


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
    with _refusals_recorded("staff.add", signed_by.member):
        need(signed_by.member, Role.MANAGER)
        if not new.roles:
            raise ActRefused("roles_missing", "Choose at least one role.")
        member = _made(signed_by.member.facility, new)
        _save_new(member)
        _record(
            "staff.add",
            signed_by.member,
            member,
            printed_name=Sealed(member.printed_name),
            roles=sorted(new.roles),
            **_certificate(member),
        )
    return member


def _save_new(member: StaffMember) -> None:
    """Save; two managers may have taken the same code at once."""
    try:
        with transaction.atomic():
            member.save()
    except IntegrityError as error:
        taken = f"The staff code {member.staff_code} was taken just now. Choose another one."
        raise ValidationError({"staff_code": taken}) from error


def _made(facility: Facility, new: NewMember) -> StaffMember:
    """Return the member, not saved. Raises ValidationError with all that stands against it."""
    member = StaffMember(
        facility=facility,
        staff_code=new.staff_code.strip().upper(),
        printed_name=new.printed_name.strip(),
        is_front_office=Role.FRONT_OFFICE in new.roles,
        is_operator=Role.OPERATOR in new.roles,
        is_manager=Role.MANAGER in new.roles,
        certificate_number=new.certificate_number.strip(),
        certificate_expires_on=new.certificate_expires_on,
        password_is_given=True,
        pin_is_given=True,
    )
    against: dict[str, list[str]] = {}
    for check in (
        lambda: _set_password(member, new.password),
        lambda: _set_pin(member, new.pin),
        lambda: member.full_clean(exclude=["password", "pin_hash"]),
    ):
        try:
            check()
        except ValidationError as error:
            against.update(error.message_dict)
    if against:
        raise ValidationError(against)
    return member


def stands_against(facility: Facility, new: NewMember) -> dict[str, list[str]]:
    """Return all that stands against a new member, by field; empty if nothing does."""
    try:
        _made(facility, new)
    except ValidationError as error:
        return error.message_dict
    return {}


def activate(signed_by: Signature, member: StaffMember) -> None:
    """Let a member sign in and sign again."""
    _switch("staff.activate", signed_by, member, True)


def deactivate(signed_by: Signature, member: StaffMember) -> None:
    """End a member's right to sign in and to sign. Nobody does so to themselves."""
    _switch("staff.deactivate", signed_by, member, False)


def renew_certificate(
    signed_by: Signature, member: StaffMember, number: str, expires_on: date
) -> None:
    """Record an operator's renewed certificate; the old one stays in the trail."""
    with _refusals_recorded("staff.renew_certificate", signed_by.member, member):
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
        _record("staff.renew_certificate", signed_by.member, locked, **_certificate(locked))


def give_pin(signed_by: Signature, member: StaffMember, pin: str) -> None:
    """A manager gives a member a new signing PIN; a lock after wrong PINs ends."""
    with _refusals_recorded("staff.give_pin", signed_by.member, member):
        locked = _locked(signed_by, member)
        _store_pin(locked, pin, is_given=locked.pk != signed_by.member.pk)
        _record("staff.give_pin", signed_by.member, locked)


def give_password(signed_by: Signature, member: StaffMember, password: str) -> None:
    """A manager gives a member a new password; the member's open sessions end."""
    with _refusals_recorded("staff.give_password", signed_by.member, member):
        locked = _locked(signed_by, member)
        _store_password(locked, password, is_given=locked.pk != signed_by.member.pk)
        _record("staff.give_password", signed_by.member, locked)


def change_own_pin(signed_by: Signature, pin: str) -> None:
    """A member changes the own PIN; the signature shows that the old one was known."""
    with _refusals_recorded("staff.change_own_pin", signed_by.member, signed_by.member):
        _choose_pin(signed_by, pin)


def change_own_password(
    member: StaffMember, password: str, signed_by: Signature | None = None, pin: str = ""
) -> None:
    """A member changes the own password, which was just asked for and seen to be right.

    With a signature, the own PIN is changed in the same transaction. The other sessions of the
    member end: a session holds only while the password that began it does.
    """
    with _refusals_recorded("staff.change_own_password", member, member):
        locked = StaffMember.objects.select_for_update(no_key=True).get(pk=member.pk)
        if locked.check_password(password):
            raise ActRefused("unchanged", "This is the password that you have. Choose another.")
        _store_password(locked, password, is_given=False)
        _record("staff.change_own_password", locked, locked, signature="session")
        if signed_by:
            _choose_pin(signed_by, pin)


def _choose_pin(signed_by: Signature, pin: str) -> None:
    locked = StaffMember.objects.select_for_update(no_key=True).get(pk=signed_by.member.pk)
    if is_pin(locked, pin):
        raise ActRefused("unchanged", "This is the PIN that you have. Choose another.")
    _store_pin(locked, pin, is_given=False)
    _record("staff.change_own_pin", locked, locked)


@contextmanager
def _refusals_recorded(
    name: str, by: StaffMember, about: StaffMember | None = None
) -> Iterator[None]:
    """One transaction; an act that is refused in it leaves nothing but an entry that says so."""
    try:
        with transaction.atomic():
            yield
    except ActRefused as refusal:
        known = about is not None and about.facility_id == by.facility_id
        facts = {"member": about.staff_code} if about and known else {}
        trail.record_refusal(by.facility, name, refusal.codes, by, facts=facts)
        raise


def _locked(signed_by: Signature, member: StaffMember) -> StaffMember:
    """Lock a member of the manager's own facility; refuse who is no manager."""
    need(signed_by.member, Role.MANAGER)
    if member.facility_id != signed_by.member.facility_id:
        raise ActRefused("facility", "This member belongs to another facility.")
    return StaffMember.objects.select_for_update(no_key=True).get(pk=member.pk)


def _switch(name: str, signed_by: Signature, member: StaffMember, active: bool) -> None:
    with _refusals_recorded(name, signed_by.member, member):
        if not active and member.pk == signed_by.member.pk:
            raise ActRefused("own_account", "Another manager must deactivate you.")
        locked = _locked(signed_by, member)
        if locked.is_active == active:
            return  # sent twice: the first one holds
        locked.is_active = active
        locked.save(update_fields=["is_active"])
        _record(name, signed_by.member, locked)


def _set_pin(member: StaffMember, pin: str) -> None:
    try:
        set_pin(member, pin)
    except ValueError as error:
        raise ValidationError({"pin": str(error)}) from error


def _store_pin(member: StaffMember, pin: str, *, is_given: bool) -> None:
    _set_pin(member, pin)
    member.pin_failures, member.pin_locked_until, member.pin_is_given = 0, None, is_given
    member.save(update_fields=["pin_hash", "pin_failures", "pin_locked_until", "pin_is_given"])


def _store_password(member: StaffMember, password: str, *, is_given: bool) -> None:
    _set_password(member, password)
    member.password_is_given = is_given
    member.save(update_fields=["password", "password_is_given"])


def _set_password(member: StaffMember, password: str) -> None:
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


def _record(
    name: str, by: StaffMember, member: StaffMember, *, signature: str = "pin", **facts: Any
) -> CustodyEntry:
    trail.lock_log(member.facility)
    now = clock.now()  # under the lock: entries follow one another in time
    return trail.append(
        trail.Act(
            facility=member.facility,
            name=name,
            happened_at=now,
            recorded_at=now,
            signed_by=by,
            signature=signature,
            facts={"member": member.staff_code, **facts},
        )
    )
