"""Signing by staff code and PIN, so that a shared tablet never signs for the wrong person."""

import hashlib
import hmac
import re
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.conf import settings
from django.contrib.auth.hashers import check_password, make_password
from django.db.models import F

from crematory import clock
from crematory.models import Facility, StaffMember

PIN_FORM = re.compile(r"^\d{6,12}$", re.ASCII)
MAX_FAILURES = 5
LOCKED_FOR = timedelta(minutes=15)


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


def sign(facility: Facility, staff_code: str, pin: str) -> Signature:
    """Check code and PIN of a member of this facility; raise SignatureRefused if they do not hold.

    Must not run inside a transaction that a refusal rolls back: the count of failures stays.
    """
    code = staff_code.strip().upper()
    if not code or not pin:
        raise SignatureRefused("signature_missing", "Enter staff code and PIN to sign.")
    member = StaffMember.objects.filter(facility=facility, staff_code=code).first()
    if member is None:
        make_password(_peppered(pin))  # the same work as for a known code
        raise SignatureRefused("signature_wrong", "Staff code and PIN do not match. Try again.")
    if member.pin_locked_until and member.pin_locked_until > clock.now():
        raise SignatureRefused(
            "signature_locked",
            f"Signing as {code} is locked for up to 15 minutes after {MAX_FAILURES} wrong PINs. "
            "Wait, or ask another member to sign.",
            member,
        )
    if not check_password(_peppered(pin), member.pin_hash):
        _count_failure(member)
        raise SignatureRefused(
            "signature_wrong", "Staff code and PIN do not match. Try again.", member
        )
    if not member.is_active:
        raise SignatureRefused(
            "signature_inactive", f"{code} is not active. A manager can change that.", member
        )
    if member.pin_failures or member.pin_locked_until:
        StaffMember.objects.filter(pk=member.pk).update(pin_failures=0, pin_locked_until=None)
    return Signature(member, clock.now())


def _count_failure(member: StaffMember) -> None:
    StaffMember.objects.filter(pk=member.pk).update(pin_failures=F("pin_failures") + 1)
    StaffMember.objects.filter(pk=member.pk, pin_failures__gte=MAX_FAILURES).update(
        pin_failures=0, pin_locked_until=clock.now() + LOCKED_FOR
    )
