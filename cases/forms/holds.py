"""Forms of holds: open one, lift it, and record who was told."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django import forms

from cases import holds
from cases.forms.base import SignedForm, WitnessedForm, WritingForm
from cases.forms.fields import LocalMomentField
from cases.forms.steps import lines, text
from cases.hold_acts import Lifting, Raised
from cases.models import NAME_LENGTH, Case, Document, Hold, RightHolder
from crematory import clock

NOBODY_OBJECTS, SOMEBODY_ELSE = "", "else"
WAYS = ("by telephone", "in person", "by letter", "by e-mail")


class PaperField(forms.ModelChoiceField):
    """A paper on file, shown with its number and who issued it; and with what speaks against it."""

    notes: Mapping[int, str] = {}  # by the number of the paper

    def label_from_instance(self, obj: Document) -> str:
        words = f"{obj.get_kind_display().capitalize()}, {obj.reference}, {obj.issued_by}"
        note = self.notes.get(obj.pk)
        return f"{words} ({note})" if note else words


class HoldForm(SignedForm):
    """Why the case is put on hold; and who objects, where somebody does."""

    ground = lines("Why the case is put on hold")
    objector = forms.ChoiceField(label="Does somebody object to the cremation?", required=False)
    raised_by = text(
        "Who raised it",
        NAME_LENGTH,
        required=False,
        help_text="Name, and office or relationship. Not needed for a person chosen above.",
    )
    document = PaperField(
        Document.objects.none(), label="Paper on which it rests", required=False,
        empty_label="No paper, or not on file yet",
    )  # fmt: skip

    def __init__(self, *args: Any, case: Case, **kwargs: Any) -> None:
        super().__init__(*args, facility=case.facility, **kwargs)
        people = {holder.person: holder for holder in reversed(case.right_holders.all())}
        self.holders = {str(holder.pk): holder for holder in people.values()}
        objector, document = self.fields["objector"], self.fields["document"]
        assert isinstance(objector, forms.ChoiceField)
        assert isinstance(document, PaperField)
        objector.choices = [
            (NOBODY_OBJECTS, "No: there is another ground"),
            *((key, _named(holder)) for key, holder in reversed(self.holders.items())),
            (SOMEBODY_ELSE, "Yes: somebody not named in this case"),
        ]
        document.queryset = case.documents.filter(replaced_by__isnull=True)
        if not document.queryset:
            del self.fields["document"]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("objector") == SOMEBODY_ELSE and not data.get("raised_by"):
            self.add_error("raised_by", "Say who objects: the name and the relationship.")
        return data

    def raised(self) -> Raised:
        """Return who raised it; the form must be valid."""
        data = self.cleaned_data
        return Raised(
            is_objection=data["objector"] != NOBODY_OBJECTS,
            holder=self.holders.get(data["objector"]),
            by=data["raised_by"],
            document=data.get("document"),
        )


def _named(holder: RightHolder) -> str:
    return f"Yes: {holder.name} ({holder.relationship})"


class LiftForm(WitnessedForm):
    """What lifts the hold; a second person only where an objection was recorded by mistake."""

    on = forms.ChoiceField(label="What lifts the hold", widget=forms.RadioSelect)
    document = PaperField(
        Document.objects.none(), label="Its paper on file", required=False,
        empty_label="No paper",
    )  # fmt: skip
    reason = lines("Why the hold is lifted")

    def __init__(self, *args: Any, hold: Hold, **kwargs: Any) -> None:
        super().__init__(*args, facility=hold.case.facility, **kwargs)
        self.hold = hold
        on, document = self.fields["on"], self.fields["document"]
        assert isinstance(on, forms.ChoiceField)
        assert isinstance(document, PaperField)
        on.choices = [
            (way.key, f"{way.label[0].upper()}{way.label[1:]}: {way.demand}")
            for way in holds.ways(hold)
        ]
        usable = [paper.pk for paper in holds.usable_papers(hold)]
        document.queryset = Document.objects.filter(pk__in=usable)
        if hold.kind != Hold.Kind.DISPUTE:
            del self.fields["witness_code"], self.fields["witness_pin"]
            return
        for part in ("code", "pin"):
            self.fields[f"witness_{part}"].required = False
        self.fields["witness_code"].help_text = "Only where the objection was recorded by mistake."

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("on") in holds.ON_PAPER and not data.get("document"):
            self.add_error("document", "Choose its paper. If it is not on file yet, file it first.")
        is_mistaken_dispute = data.get("on") == Hold.LiftedBy.MISTAKE and self.is_dispute
        if is_mistaken_dispute and not data.get("witness_pin"):
            self.add_error("witness_pin", "A second person signs that it was a mistake.")
        return data

    @property
    def is_dispute(self) -> bool:
        """Whether somebody's objection holds the case."""
        return self.hold.kind == Hold.Kind.DISPUTE

    def lifting(self) -> Lifting:
        """Return what lifts the hold; the form must be valid."""
        data = self.cleaned_data
        return Lifting(on=data["on"], reason=data["reason"], document=data["document"])


class TellForm(WritingForm):
    """Who was told, all in one way at one time; those who should be told are offered."""

    told = forms.MultipleChoiceField(
        label="Told now", required=False, widget=forms.CheckboxSelectMultiple
    )
    others = forms.CharField(
        label="Others who were told",
        required=False,
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="One name a line.",
    )
    how = text("How", 200, widget=forms.TextInput(attrs={"list": "ways-of-telling"}))
    told_at = LocalMomentField(label="When")

    def __init__(self, *args: Any, hold: Hold, **kwargs: Any) -> None:
        super().__init__(*args, facility=hold.case.facility, **kwargs)
        told = self.fields["told"]
        assert isinstance(told, forms.MultipleChoiceField)
        told.choices = [(name, name) for name in holds.not_told(hold)]
        if not told.choices:
            del self.fields["told"]
        self.initial.setdefault("how", WAYS[0])
        self.initial.setdefault("told_at", clock.now())

    def clean_others(self) -> list[str]:
        names = [line.strip() for line in self.cleaned_data["others"].splitlines() if line.strip()]
        if any(len(name) > NAME_LENGTH for name in names):
            raise forms.ValidationError(f"A name is at most {NAME_LENGTH} letters long.")
        return names

    def clean_told_at(self) -> datetime:
        told_at: datetime = self.cleaned_data["told_at"]
        if told_at > clock.now():
            raise forms.ValidationError("The time lies in the future. Correct it.")
        return told_at

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if not self.errors and not self.names():
            self.add_error("others", "Say who was told.")
        return data

    def names(self) -> list[str]:
        """Return everybody who was told."""
        return [*self.cleaned_data.get("told", []), *self.cleaned_data.get("others", [])]
