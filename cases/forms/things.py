"""Forms of personal things: the list with what becomes of each, and giving back."""

import re
from collections.abc import Sequence
from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.utils.datastructures import MultiValueDict

from cases import things
from cases.drawing import DrawingUnfit, Stroke, read_strokes
from cases.forms.base import SignedForm, WritingForm, typed_in
from cases.models import NAME_LENGTH, Case, PersonalThing, ThingsReceipt
from cases.thing_acts import Listed, Receipt
from chain_of_custody import uploads_in
from chain_of_custody.uploads import UploadRefused
from chain_of_custody.uploads_in import Arrived

BLANK = 3  # lines that wait for something new
MOST = 60
SCANS = "application/pdf,image/jpeg,image/png,image/heic,image/heif"
PHOTOGRAPHS = "image/jpeg,image/png,image/heic,image/heif"
CHANGED = "This list was changed meanwhile; look at it again. What you typed is kept below."
STATED = ("description", "kind", "wish")
Form = ThingsReceipt.Form
SEPARATORS = re.compile(r"[\n;,]+")


class ThingForm(forms.Form):
    """One line of the list; `thing` is the row that it replaces when something is changed."""

    thing = forms.IntegerField(required=False, widget=forms.HiddenInput)
    description = forms.CharField(label="What it is", max_length=300, required=False)
    kind = forms.ChoiceField(
        label="Kind", choices=[("", "---------"), *PersonalThing.Kind.choices], required=False
    )
    wish = forms.ChoiceField(
        label="What becomes of it",
        choices=[("", "---------"), *PersonalThing.Wish.choices],
        required=False,
    )
    photo = forms.FileField(
        label="Photograph",
        required=False,
        widget=forms.FileInput(attrs={"accept": PHOTOGRAPHS, "capture": "environment"}),
    )

    def __init__(self, *args: Any, standing: dict[int, PersonalThing], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.arrived: Arrived | None = None
        self.is_stale = False  # True where the line was typed beside another thing than now
        self.before = standing.get(self.initial.get("thing") or 0)
        if self.before is None:
            field = self.fields["wish"]
            assert isinstance(field, forms.ChoiceField)
            wishes = [c for c in PersonalThing.Wish.choices if c[0] != PersonalThing.Wish.MISTAKE]
            field.choices = [("", "---------"), *wishes]

    @property
    def is_stated(self) -> bool:
        """True where the person wrote or changed something on this line."""
        return bool({*self.changed_data} - {"thing"})

    def clean_photo(self) -> UploadedFile | None:
        """Look the picture through and store it; the view removes what no act recorded."""
        photo: UploadedFile | None = self.cleaned_data["photo"]
        if photo is None:
            return None
        try:
            self.arrived = uploads_in.arrive(photo.read(), photo.name or "")
        except UploadRefused as refusal:
            raise forms.ValidationError(refusal.text) from refusal
        if self.arrived.found.kind == "PDF":
            raise forms.ValidationError("Take a photograph: JPEG, PNG or HEIC.")
        return photo

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        self.is_stale = self.is_stated and data.get("thing") != (
            self.before.pk if self.before else None
        )
        if self.is_stale:
            self.add_error(None, CHANGED)
        elif self.is_stated:
            for name, ask in (
                ("description", "Describe the thing."),
                ("kind", "Choose the kind."),
                ("wish", "Choose what becomes of it, or that it is not decided yet."),
            ):
                if not data.get(name) and name not in self.errors:
                    self.add_error(name, ask)
        return data


ThingFormSet = forms.formset_factory(ThingForm, extra=0, max_num=MOST, absolute_max=MOST)


class ThingsForm(WritingForm):
    """The list; who decided and where things lie is asked once for all lines changed now."""

    decided_by = forms.CharField(
        label="Who decides what becomes of them",
        max_length=NAME_LENGTH,
        required=False,
        help_text="Name and relationship. Needed for what is decided now.",
    )
    kept_in = forms.CharField(
        label="Where they lie until they are given back",
        max_length=100,
        required=False,
        help_text="For example: safe, envelope 14.",
    )
    is_complete = forms.BooleanField(
        label="I looked at the person and in the container: nothing else is there",
        required=False,
    )
    note = forms.CharField(
        label="What became of what the receipt names, where it is not listed",
        max_length=300,
        required=False,
    )

    def __init__(self, *args: Any, case: Case, **kwargs: Any) -> None:
        super().__init__(*args, facility=case.facility, **kwargs)
        self.case = case
        self.listed = [t for t in things.standing(case) if not things.is_back(t)]
        self.standing = {thing.pk: thing for thing in self.listed}
        self.written = things.written_at_receipt(case)
        if not self.written or things.standing(case):
            del self.fields["note"]
        self.initial_lines = self._lines()
        bound = {"data": self.data, "files": self.files} if self.is_bound else {}
        self.lines = self.sent = self._formset(**bound)

    def _lines(self) -> list[dict[str, Any]]:
        """What stands on the list; while it is empty, what the receipt names; and blank lines."""
        lines: list[dict[str, Any]] = [
            {"thing": thing.pk, **_stated(thing)} for thing in self.listed
        ]
        if not things.standing(self.case):
            lines += [{"description": part} for part in parts_of(self.written)]
        return [*lines[: MOST - BLANK], *[{} for _ in range(BLANK)]]

    def _formset(self, **kwargs: Any) -> Any:
        return ThingFormSet(
            **{"initial": self.initial_lines, "prefix": "things", **kwargs},
            form_kwargs={"standing": self.standing},
        )

    def keep(self, data: MultiValueDict[str, str]) -> None:
        super().keep(data)
        self._lay_over(data)

    def _lay_over(self, data: MultiValueDict[str, str]) -> None:
        """Show what was typed, each line beside its thing, whatever the list became meanwhile.

        What was typed of a thing that was changed or given back meanwhile stands on its own line.
        """
        sent = [typed_in(form, data) for form in self._formset(data=data).forms]
        typed = [(line["thing"], {name: line[name] for name in STATED}) for line in sent]
        of_thing = {pk: line for pk, line in typed if pk}
        lines = [
            line | of_thing.pop(str(line["thing"]), {})
            for line in self.initial_lines
            if "thing" in line
        ]
        was = {str(t.pk): _stated(t) for t in self.case.things.all()} if of_thing else {}
        lines += [line for pk, line in of_thing.items() if line != was.get(pk)]
        is_listed = bool(things.standing(self.case))
        new = [line for pk, line in typed if not pk and not (is_listed and self._is_offered(line))]
        blank = [line for line in self.initial_lines if "thing" not in line]
        self.lines = self._formset(initial=[*lines, *(new or blank)][:MOST])

    def _is_offered(self, line: dict[str, Any]) -> bool:
        """True for a line that only repeats what the receipt names."""
        only_named = not line["kind"] and not line["wish"]
        return only_named and line["description"] in parts_of(self.written)

    def is_valid(self) -> bool:
        return super().is_valid() & self.lines.is_valid()

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if not self.lines.is_valid():
            if any(form.is_stale for form in self.lines.forms):
                self.add_error(None, CHANGED)
                assert isinstance(self.data, MultiValueDict)  # it came with a request
                self._lay_over(self.data)
            return data
        wishes = {form.cleaned_data["wish"] for form in self.stated_lines()}
        if not wishes and not data.get("is_complete"):
            self.add_error(None, "Nothing was listed or changed, and the list is not closed.")
        if wishes - {"open"} and not data.get("decided_by"):
            self.add_error("decided_by", "Say who decided.")
        lying = [f for f in self.stated_lines() if f.cleaned_data["wish"] == "returned"]
        if any(not (f.before and f.before.kept_in) for f in lying) and not data.get("kept_in"):
            self.add_error("kept_in", "Say where it lies until it is given back.")
        if data.get("is_complete") and not wishes and not data.get("note", "no field"):
            self.add_error("note", "The receipt names things: list them, or say what became.")
        return data

    def stated_lines(self) -> list[ThingForm]:
        """The lines on which something was written or changed."""
        return [form for form in self.lines.forms if form.is_stated]

    def arrived(self) -> list[Arrived]:
        """The photographs that were stored, whether the form is valid or not."""
        return [form.arrived for form in self.sent.forms if form.arrived]

    def listed_now(self) -> list[Listed]:
        """Return the lines for the act; the form must be valid."""
        return [_listed(form, self.cleaned_data) for form in self.stated_lines()]


def _stated(thing: PersonalThing) -> dict[str, Any]:
    return {name: getattr(thing, name) for name in STATED}


def _listed(form: ThingForm, data: dict[str, Any]) -> Listed:
    line, before = form.cleaned_data, form.before
    kept_in = data["kept_in"] or (before.kept_in if before else "")
    return Listed(
        description=line["description"],
        kind=line["kind"],
        wish=line["wish"],
        decided_by=data["decided_by"],
        kept_in=kept_in if line["wish"] == PersonalThing.Wish.RETURNED else "",
        replaces=before,
        photo=form.arrived,
    )


def parts_of(written: str) -> list[str]:
    """Return the single things of a list in words: "ring, glasses" gives two."""
    return [part.strip()[:300] for part in SEPARATORS.split(written) if part.strip()]


class GiveBackForm(SignedForm):
    """Things that lie here, to somebody who is identified and signs, or says why not."""

    things = forms.MultipleChoiceField(
        label="What is given back", widget=forms.CheckboxSelectMultiple
    )
    returned_to = forms.CharField(label="Name of the receiver", max_length=NAME_LENGTH)
    identification = forms.CharField(
        label="Identification seen", max_length=200, help_text="Its kind, and who issued it."
    )
    way = forms.ChoiceField(
        label="The receiver signs",
        choices=[
            (Form.TABLET, "on this tablet"),
            (Form.PAPER, "on paper"),
            (Form.UNSIGNED, "not at all"),
        ],
        required=False,
        widget=forms.RadioSelect,
    )
    strokes = forms.CharField(
        label="The signature", required=False, widget=forms.HiddenInput, max_length=600_000
    )
    scan = forms.FileField(
        label="Scan or photograph of the signed receipt",
        required=False,
        widget=forms.FileInput(attrs={"accept": SCANS}),
    )
    unsigned_reason = forms.CharField(
        label="Why it is not signed, or has no scan", max_length=300, required=False
    )

    def __init__(self, *args: Any, case: Case, **kwargs: Any) -> None:
        super().__init__(*args, facility=case.facility, **kwargs)
        self.lying = {str(thing.pk): thing for thing in things.due(case)}
        field = self.fields["things"]
        assert isinstance(field, forms.MultipleChoiceField)
        field.choices = [(pk, things.words([thing])) for pk, thing in self.lying.items()]
        self.initial.setdefault("things", list(self.lying))
        self.arrived: Arrived | None = None
        self.order_fields(["things", "returned_to", "identification", "way"])

    def clean_strokes(self) -> list[Stroke]:
        try:
            return read_strokes(self.cleaned_data["strokes"])
        except DrawingUnfit as error:
            raise forms.ValidationError(str(error)) from error

    def clean_scan(self) -> UploadedFile | None:
        """Look the scan through and store it; the view removes what no act recorded."""
        scan: UploadedFile | None = self.cleaned_data["scan"]
        if scan is not None and self.data.get("way") == Form.PAPER:
            try:
                self.arrived = uploads_in.arrive(scan.read(), scan.name or "")
            except UploadRefused as refusal:
                raise forms.ValidationError(refusal.text) from refusal
        return scan

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        way, reason = data.get("way"), data.get("unsigned_reason")
        if not way and "way" not in self.errors:
            self.add_error("way", "The receiver signs the receipt, or say why not.")
        if way == Form.TABLET and not data.get("strokes") and "strokes" not in self.errors:
            self.add_error("way", "Nothing is drawn. Sign in the field, or on paper.")
        if way == Form.PAPER and not data.get("scan") and not reason and "scan" not in self.errors:
            self.add_error("scan", "Add the scan of the signed receipt, or say below why not.")
        if way == Form.UNSIGNED and not reason:
            self.add_error("unsigned_reason", "Say why nobody signs for the things.")
        return data

    def receipt(self, drawing: Arrived | None) -> Receipt:
        """Return how it was signed; the form must be valid."""
        data = self.cleaned_data
        return Receipt(
            form=data["way"],
            drawing=drawing,
            strokes=data["strokes"] if drawing else None,
            scan=self.arrived,
            reason=data["unsigned_reason"],
        )

    def chosen(self) -> Sequence[PersonalThing]:
        """The things that were ticked, each once however often it was sent; the form is valid."""
        return [self.lying[pk] for pk in dict.fromkeys(self.cleaned_data["things"])]
