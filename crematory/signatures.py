"""Signing by staff code and PIN, so that a shared tablet never signs for the wrong person."""

import hashlib
import hmac
import re
from dataclasses import dataclass
from datetime import datetime

from django.conf import settings
from django.contrib.auth.hashers import check_password, make_password

from crematory import clock, tries
from crematory.models import Facility, StaffMember

PIN_FORM = re.compile(r"^\d{6,12}$", re.ASCII)


class SignatureRefused(Exception):
    """A signature that does not hold: `code` for programs, the text for people."""

    def __init__(self, code: str, text: str, member: StaffMember | None = None) -> None:
        super().__init__(text)
        self.code = code
        self.text = text
        self.member = member


@dataclass(frozen=True)
class Signature:
    """A member's PIN was seen to be right at this time. Made only by `sign`."""

    member: StaffMember
    signed_at: datetime


def _peppered(pin: str) -> str:
    return hmac.new(settings.SIGNING_PEPPER.encode(), pin.encode(), hashlib.sha256).hexdigest()


def set_pin(member: StaffMember, pin: str) -> None:
    """Set the member's signing PIN (not saved). Raises ValueError unless 6 to 12 digits."""
    if not PIN_FORM.match(pin):
        raise ValueError("A signing PIN has 6 to 12 digits.")
    if len(set(pin)) < 3:
        raise ValueError("Choose a PIN with at least three different digits.")
    member.pin_hash = make_password(_peppered(pin))


def is_pin(member: StaffMember, pin: str) -> bool:
    """True if this is the member's PIN. Counts nothing: only for a PIN that is being set."""
    return check_password(_peppered(pin), member.pin_hash)


def sign(
    facility: Facility, staff_code: str, pin: str, *, to_choose_own: bool = False
) -> Signature:
    """Check code and PIN of a member of this facility; raise SignatureRefused if they do not hold.

    A PIN that a manager gave signs nothing but the choice of the own one (`to_choose_own`).
    Must not run inside a transaction that a refusal rolls back: the count of failures stays.
    """
    code = staff_code.strip().upper()
    if not code or not pin:
        raise SignatureRefused("signature_missing", "Enter staff code and PIN to sign.")
    rows = StaffMember.objects.filter(facility=facility, staff_code=code)
    member = rows.first()
    if member is None:
        make_password(_peppered(pin))  # the same work as for a known code
        raise SignatureRefused("signature_wrong", "Staff code and PIN do not match. Try again.")
    if not tries.spend(rows, "pin_"):
        raise SignatureRefused(
            "signature_locked",
            f"Signing as {code} is locked for up to 15 minutes after {tries.MAX_FAILURES} wrong "
            "PINs. Wait, or ask another member to sign.",
            member,
        )
    if not is_pin(member, pin):
        raise SignatureRefused(
            "signature_wrong", "Staff code and PIN do not match. Try again.", member
        )
    tries.forgive(rows, "pin_")
    if not member.is_active:
        raise SignatureRefused(
            "signature_inactive", f"{code} is not active. A manager can change that.", member
        )
    if member.pin_is_given and not to_choose_own:
        raise SignatureRefused(
            "pin_given",
            "This PIN was given to you by a manager, who knows it. Choose your own first: "
            "sign in yourself, open House, then “Change my PIN”.",
            member,
        )
    return Signature(member, clock.now())
