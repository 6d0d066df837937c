"""What all forms that write share: the one-time token, and signing by code and PIN."""

import secrets
from collections.abc import Iterator
from typing import Any

from django import forms
from django.forms.boundfield import BoundField
from django.utils.datastructures import MultiValueDict

from cases.forms.fields import PinField, ScanField
from crematory.fields import QuantityField
from crematory.models import Facility
from crematory.signatures import Signature, SignatureRefused, sign

SIGNING = ("signer", "witness", "manager")


def new_token() -> str:
    """Return a token that nobody can guess; it serves for one act."""
    return secrets.token_urlsafe(24)


def typed_in(form: forms.Form, data: MultiValueDict[str, str]) -> dict[str, Any]:
    """Return what `data` holds for the form's fields, to be shown in an unbound form."""
    return {
        name: field.widget.value_from_datadict(data, MultiValueDict(), form.add_prefix(name))
        for name, field in form.fields.items()
        if not isinstance(field, PinField)
    }


class WritingForm(forms.Form):
    """A form that writes once. `facility` gives the units in which people type."""

    token = forms.CharField(max_length=43, widget=forms.HiddenInput)
    is_kept = False  # True while it shows what was typed before and was never sent

    def __init__(self, *args: Any, facility: Facility, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.facility = facility
        self.initial.setdefault("token", new_token())
        self.use_units()

    def use_units(self) -> None:
        """Take quantities in the facility's units."""
        for field in self.fields.values():
            if isinstance(field, QuantityField):
                field.use_units(self.facility.units)  # type: ignore[arg-type]

    def keep(self, data: MultiValueDict[str, str]) -> None:
        """Show, unbound, what was typed before."""
        kept = typed_in(self, data)
        kept["token"] = kept.get("token") or new_token()
        self.initial.update(kept)

    def focus_on_error(self) -> None:
        """Let the cursor land in the first field that has an error."""
        wrong = next((name for name in self.fields if name in self.errors), None)
        if wrong:
            for name, field in self.fields.items():
                field.widget.attrs.pop("autofocus", None)
                if name == wrong:
                    field.widget.attrs["autofocus"] = True

    @property
    def token_sent(self) -> str:
        """The token that came with the form."""
        return str(self.cleaned_data["token"])

    def stated(self) -> dict[str, Any]:
        """Return the cleaned values without token and signatures."""
        return {
            name: value
            for name, value in self.cleaned_data.items()
            if name != "token" and not is_signing(name)
        }

    def stated_fields(self) -> Iterator[BoundField]:
        """The visible fields that state something."""
        return (field for field in self.visible_fields() if not is_signing(field.name))

    def signing_fields(self) -> Iterator[BoundField]:
        """The visible fields that sign."""
        return (field for field in self.visible_fields() if is_signing(field.name))


def is_signing(name: str) -> bool:
    """True for the code or the PIN of somebody who signs."""
    return name in {f"{who}_{part}" for who in SIGNING for part in ("code", "pin")}


class SignedForm(WritingForm):
    """A form that is signed by staff code and PIN; `refused_at` is the field of a bad signature."""

    signer_code = ScanField(label="Your staff code")
    signer_pin = PinField(label="Your PIN")
    refused_at: str | None = None

    def signature(self, who: str = "signer") -> Signature | None:
        """Check code and PIN; None where neither was asked for or typed.

        Raises SignatureRefused when they do not hold.
        """
        code = self.cleaned_data.get(f"{who}_code", "")
        pin = self.cleaned_data.get(f"{who}_pin", "")
        if not code and not pin:
            return None
        try:
            return sign(self.facility, code, pin)
        except SignatureRefused:
            self.refused_at = f"{who}_pin"
            raise

    def signer(self) -> Signature:
        """The signature of who sends the form."""
        signature = self.signature()
        assert signature is not None  # both fields are required
        return signature


class WitnessedForm(SignedForm):
    """A form that a second person signs as witness."""

    witness_code = ScanField(label="Staff code of the second person")
    witness_pin = PinField(label="PIN of the second person")
