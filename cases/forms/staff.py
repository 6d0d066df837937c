"""Forms about the staff. Each one that changes something asks for the signer's own PIN."""

from dataclasses import fields
from datetime import date
from typing import Any

from django import forms

from cases import staffing
from crematory.models import Facility, Role

PIN_HELP = "6 to 12 digits, at least three different ones."
STATED = [field.name for field in fields(staffing.NewMember)]


def _secret(label: str, autocomplete: str, **kwargs: Any) -> forms.CharField:
    """A field whose text is never sent back to the page."""
    attrs = {"autocomplete": autocomplete}
    if "pin" in autocomplete or label.endswith("PIN"):
        attrs = {"autocomplete": "off", "inputmode": "numeric"}
    return forms.CharField(
        label=label, strip=False, max_length=128, widget=forms.PasswordInput(attrs=attrs), **kwargs
    )


def day_field(label: str, *, required: bool) -> forms.DateField:
    """A field for a day."""
    return forms.DateField(
        label=label, required=required, widget=forms.DateInput(attrs={"type": "date"})
    )


class Signed(forms.Form):
    """Base: signed with the PIN of the manager who is signed in."""

    own_pin = _secret("Your own PIN", "off")
    field_order: list[str] | None = None

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.order_fields([*(name for name in self.fields if name != "own_pin"), "own_pin"])


class SwitchForm(Signed):
    """Activate or deactivate: nothing but the signature."""


class CertificateForm(Signed):
    """A renewed certificate."""

    number = forms.CharField(label="Certificate number", max_length=60)
    expires_on = day_field("Valid until", required=True)


class PinForm(Signed):
    """A new signing PIN for a member."""

    pin = _secret("New PIN", "off", help_text=PIN_HELP)
    pin_again = _secret("New PIN again", "off")

    def clean(self) -> dict[str, Any]:
        """Both readings of the new PIN must agree."""
        return _same(super().clean() or {}, self, "pin", "pin_again")


class OwnPinForm(PinForm):
    """A member changes the own PIN."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["own_pin"].label = "Current PIN"
        self.order_fields(["own_pin", "pin", "pin_again"])


class PasswordForm(Signed):
    """A new password for a member."""

    password = _secret("New password", "new-password", help_text="At least 12 characters.")
    password_again = _secret("New password again", "new-password")

    def clean(self) -> dict[str, Any]:
        """Both readings of the new password must agree."""
        return _same(super().clean() or {}, self, "password", "password_again")


class OwnPasswordForm(forms.Form):
    """A member changes the own password; where the PIN was given by a manager, the PIN too."""

    current = _secret("Current password", "current-password")
    password = _secret("New password", "new-password", help_text="At least 12 characters.")
    password_again = _secret("New password again", "new-password")
    own_pin = _secret("PIN that was given to you", "off")
    pin = _secret("PIN of your own", "off", help_text=PIN_HELP)
    pin_again = _secret("PIN of your own, again", "off")

    def __init__(self, *args: Any, with_pin: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not with_pin:
            for name in ("own_pin", "pin", "pin_again"):
                del self.fields[name]

    def clean(self) -> dict[str, Any]:
        """Both readings of each new secret must agree."""
        cleaned = _same(super().clean() or {}, self, "password", "password_again")
        return _same(cleaned, self, "pin", "pin_again")


class MemberForm(Signed):
    """A new member of this facility."""

    staff_code = forms.CharField(
        label="Staff code", max_length=12, help_text="2 to 12 letters or digits; never given again."
    )
    printed_name = forms.CharField(label="Name as printed on papers", max_length=200)
    roles = forms.MultipleChoiceField(
        label="May sign as", choices=Role.choices, widget=forms.CheckboxSelectMultiple
    )
    certificate_number = forms.CharField(
        label="Operator's certificate number", max_length=60, required=False
    )
    certificate_expires_on = day_field("Certificate valid until", required=False)
    password = _secret("First password", "new-password", help_text="At least 12 characters.")
    pin = _secret("First PIN", "off", help_text=PIN_HELP)

    def __init__(self, *args: Any, facility: Facility, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.facility = facility

    def clean(self) -> dict[str, Any]:
        """Say at once all that stands against the member, also where a field is missing."""
        cleaned = super().clean() or {}
        for name, texts in staffing.stands_against(self.facility, self.new_member()).items():
            if name not in self.errors:
                self.add_error(name if name in self.fields else None, texts)
        return cleaned

    def new_member(self) -> staffing.NewMember:
        """Return what is stated, empty where a field is not valid."""
        stated = {name: self.cleaned_data.get(name) for name in STATED}
        roles = frozenset(Role(role) for role in stated.pop("roles") or ())
        expires_on = stated.pop("certificate_expires_on")
        texts = {name: value or "" for name, value in stated.items()}
        return staffing.NewMember(**texts, roles=roles, certificate_expires_on=expires_on)


def _same(cleaned: dict[str, Any], form: forms.Form, first: str, second: str) -> dict[str, Any]:
    if cleaned.get(first) != cleaned.get(second):
        form.add_error(second, "The two do not agree. Type both again.")
    return cleaned


def is_expired(day: date | None, today: date) -> bool:
    """True for a last day of validity that lies in the past."""
    return day is not None and day < today
