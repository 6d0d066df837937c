"""What happened at a machine: the short form of an event, and the one that is signed."""

import re
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from cases.forms.base import SignedForm
from cases.forms.fields import LocalMomentField
from cases.forms.marked import Marked
from cases.forms.stated import StatedMoment
from retort_log.events import NOTE_LENGTH, OPACITY_READINGS, EventRefused
from retort_log.models import RunEvent
from retort_log.run_life import EVENTS, NOTE_NEEDED, SIGNED

TOKEN_LENGTH = 43
# What a button says: what was just done, in as few words as there is room for.
BUTTONS = {
    "preheat_begun": _("Preheat begun"),
    "preheat_ended": _("Preheat ended, no charge"),
    "burner_lit": _("Burner lit"),
    "door_opened": _("Door opened"),
    "repositioned": _("Remains repositioned"),
    "visible_emission": _("Visible emission"),
    "fault": _("Fault"),
    "interrupted": _("Interrupted"),
    "resumed": _("Resume"),
    "ended_by_fault": _("End by the fault"),
}
ONE_TAP = ("preheat_begun", "preheat_ended", "burner_lit", "door_opened", "repositioned")
# Where a refusal is shown: beside the field that can settle it.
FIELD_OF = {
    "time_future": "at",
    "event_before": "at",
    "event_order": "at",
    "event_phase": "kind",
    "event_unknown": "kind",
    "reason_missing": "note",
    "event_long": "note",
    "event_opacity": "opacity",
    "event_unsigned": "signer_pin",
}


class OpacityField(forms.CharField):
    """Opacity readings in per cent, one after another; cleaned to a tuple of whole numbers."""

    def clean(self, value: Any) -> tuple[int, ...]:
        text = super().clean(value)
        parts = [part for part in re.split(r"[\s,;%]+", text) if part]
        if not all(re.fullmatch(r"[0-9]{1,3}", part) for part in parts):
            raise ValidationError(_("Write numbers from 0 to 100, with spaces between them."))
        return tuple(int(part) for part in parts)


class EventForm(Marked, StatedMoment):
    """An event that is entered by who is signed in."""

    kind = forms.ChoiceField(label=_("What happened"))
    note = forms.CharField(label=_("What was seen or done"), max_length=NOTE_LENGTH, required=False)
    opacity = OpacityField(
        label=_("Opacity, per cent"),
        required=False,
        help_text=_(
            "Only where somebody qualified read it: up to %(count)s readings, 15 s apart, with "
            "spaces between them."
        )
        % {"count": OPACITY_READINGS},
    )
    at = LocalMomentField(label=_("Time"), required=False, help_text=_("Left empty, it means now."))
    token = forms.CharField(max_length=TOKEN_LENGTH, required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        kinds = [(kind, BUTTONS[kind]) for kind in EVENTS if kind not in SIGNED]
        field = self.fields["kind"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [("", "---------"), *kinds]
        self.fields["kind"].widget.attrs["autofocus"] = True

    def refuse(self, refusal: EventRefused) -> None:
        """Show a refusal beside the field that can settle it."""
        name = FIELD_OF.get(refusal.code)
        self.add_error(name if name in self.fields else None, refusal.text)

    def reasons(self) -> str:
        """Return all that stands against it, in words."""
        return " ".join(str(text) for errors in self.errors.values() for text in errors)


class SignedEventForm(SignedForm):
    """An event that changes what may come next: signed by code and PIN."""

    note = forms.CharField(label=_("What happened, and what was done"), max_length=NOTE_LENGTH)
    at = LocalMomentField(
        label=_("When it happened"), required=False, help_text=_("Left empty, it means now.")
    )
    same_person = forms.BooleanField()
    field_order = ("note", "same_person", "at", "signer_code", "signer_pin")

    def __init__(self, *args: Any, kind: str, person: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["note"].required = kind in NOTE_NEEDED
        self.fields["note"].widget.attrs["autofocus"] = True
        self.fields["same_person"].label = _("The same person is inside: %(person)s") % {
            "person": person
        }
        if kind != RunEvent.Kind.RESUMED:
            del self.fields["same_person"]

    def refuse(self, refusal: EventRefused) -> None:
        """Show a refusal beside the field that can settle it."""
        name = FIELD_OF.get(refusal.code)
        self.add_error(name if name in self.fields else None, refusal.text)
