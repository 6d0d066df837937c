"""Readings at the machine: entering one, and putting one right."""

from decimal import Decimal
from typing import Any

from django import forms
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _

from cases.forms.base import SignedForm
from cases.forms.fields import LocalMomentField
from cases.forms.marked import Marked
from cases.forms.stated import StatedMoment
from crematory.fields import QuantityField
from crematory.units import UnitSystem, default_unit, unit_symbol
from retort_log.acts import ReadingDoubted, ReadingRefused
from retort_log.corrections import WHY_LENGTH, RightValues
from retort_log.selectors import Standing

# Where a refusal is shown: beside the field that can settle it.
FIELD_OF = {
    "time_future": "at",
    "reading_minute": "at",
    "reading_withdrawn": "at",
    "reason_missing": "why",
    "unchanged": "secondary",
    "reading_doubted": "is_confirmed",
}


class Questioned(Marked):
    """Two temperatures that are asked again when they look wrong.

    What is confirmed are the values that were questioned: other values are questioned anew.
    """

    secondary = QuantityField(kind="temperature", label=_("Secondary chamber"))
    primary = QuantityField(kind="temperature", label=_("Primary chamber"))
    is_confirmed = forms.BooleanField(
        label=_("Yes. I looked again, and it is right"), required=False
    )
    questioned = forms.CharField(required=False, max_length=100, widget=forms.HiddenInput)
    is_asking = False
    is_kept = False  # True while it shows what was typed before and was never sent

    def values_text(self) -> str:
        """What was read from the two fields, to be compared with what was questioned."""
        return "/".join(str(self.cleaned_data.get(name)) for name in ("secondary", "primary"))

    def has_confirmed(self) -> bool:
        """True where these very values were questioned, and the box was ticked."""
        stated = self.cleaned_data
        return bool(stated["is_confirmed"]) and stated["questioned"] == self.values_text()

    def ask(self, question: str) -> None:
        """Show the question with its box, not ticked; what was typed stays."""
        typed = {name: value for name, value in self.data.items() if name != "is_confirmed"}
        self.data = {**typed, "questioned": self.values_text()}
        self.is_asking = True
        self.add_error("is_confirmed", question)

    def refuse(self, refusal: ReadingRefused, question: str = "") -> None:
        """Show a refusal beside the field that can settle it; a doubt as its question."""
        if isinstance(refusal, ReadingDoubted):
            self.ask(question)
            return
        name = FIELD_OF.get(refusal.code)
        self.add_error(name if name in self.fields else None, refusal.text)


class ReadingForm(Questioned, StatedMoment):
    """A reading of both chambers, taken now or at a stated time."""

    at = LocalMomentField(
        label=_("Time of the reading"), required=False, help_text=_("Left empty, it means now.")
    )
    field_order = ("secondary", "primary", "at", "is_confirmed")

    def __init__(self, units: UnitSystem, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("primary", "secondary"):
            field = self.fields[name]
            assert isinstance(field, QuantityField)
            field.use_units(units)
            # The long help of other pages would push the button off a tablet's screen.
            unit = unit_symbol(default_unit("temperature", units))
            field.help_text = format_lazy(_("A plain number is in {unit}."), unit=unit)

    def values_text(self) -> str:
        """The time belongs to what is questioned: a jump is one beside its neighbours."""
        return f"{super().values_text()}/{self.cleaned_data.get('at')}"

    def confirmation(self) -> dict[str, str] | None:
        """Return what says that these values are right; None where nothing is asked."""
        if not self.is_asking:
            return None
        return {"is_confirmed": "on", "questioned": self.values_text()}

    def reasons(self) -> str:
        """Return all that stands against it, in words."""
        return " ".join(str(text) for errors in self.errors.values() for text in errors)


class CorrectReadingForm(Questioned, SignedForm):
    """The right values of a reading, or that it never belonged here; signed."""

    act = forms.ChoiceField(
        label=_("What is wrong"),
        choices=[
            ("correct", _("The values: here are the right ones")),
            ("withdraw", _("It does not belong here: withdraw it")),
        ],
    )
    why = forms.CharField(label=_("Why"), max_length=WHY_LENGTH, strip=True)
    field_order = (
        "act", "secondary", "primary", "is_confirmed", "why", "signer_code", "signer_pin",
    )  # fmt: skip

    def __init__(self, *args: Any, stands: Standing, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["secondary"].required = self.fields["primary"].required = False
        self.initial.setdefault("secondary", stands.secondary_c)
        self.initial.setdefault("primary", stands.primary_c)
        self.fields["act"].widget.attrs["autofocus"] = True

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("act") == "correct":
            for name in ("secondary", "primary"):
                if name in data and data[name] is None:
                    self.add_error(name, _("Write the temperature that was meant."))
        return data

    def right(self) -> RightValues | None:
        """The right values, None where the reading is withdrawn; the form must be valid."""
        stated = self.cleaned_data
        if stated["act"] == "withdraw":
            return None
        primary: Decimal = stated["primary"]
        secondary: Decimal = stated["secondary"]
        return RightValues(primary, secondary, self.has_confirmed())
