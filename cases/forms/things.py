"""Forms of personal things: the list with what becomes of each, and giving back."""

import re
from collections.abc import Sequence
from typing import Any, Self

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.http import QueryDict
from django.utils.datastructures import MultiValueDict

from cases import seen, things
from cases.drawing import DrawingUnfit, Stroke, read_strokes
from cases.forms.base import SignedForm, typed_in
from cases.forms.seen import SeenForm
from cases.models import NAME_LENGTH, Case, PersonalThing, ThingsReceipt
from cases.thing_acts import Listed, Receipt
from chain_of_custody import uploads_in
from chain_of_custody.uploads import UploadRefused
from chain_of_custody.uploads_in import Arrived

BLANK = 3  # lines that wait for something new
MOST = 60
SCANS = "application/pdf,image/jpeg,image/png,image/heic,image/heif"
PHOTOGRAPHS = "image/jpeg,image/png,image/heic,image/heif"
STATED = ("description", "kind", "wish")
Form = ThingsReceipt.Form
SEPARATORS = re.compile(r"[\n;,]+")


class ThingForm(forms.Form):
    """One line of the list; `thing` is the row that stood there, and that a change replaces.

    `rows` are all rows of the case: a line is compared with what the person had before them.
    """

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

    def __init__(
        self, *args: Any, rows: dict[str, PersonalThing], offered: Sequence[str], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.arrived: Arrived | None = None
        if self.is_bound:
            self.initial = self._as_opened(rows, offered)
        self.before = rows.get(str(self.initial.get("thing")))
        if self.before is None:
            field = self.fields["wish"]
            assert isinstance(field, forms.ChoiceField)
            wishes = [c for c in PersonalThing.Wish.choices if c[0] != PersonalThing.Wish.MISTAKE]
            field.choices = [("", "---------"), *wishes]

    def _as_opened(self, rows: dict[str, PersonalThing], offered: Sequence[str]) -> dict[str, Any]:
        """What the line held when the page was opened, as far as it is told by what was sent."""
        sent = {name: str(self.data.get(self.add_prefix(name), "")) for name in ("thing", *STATED)}
        if before := rows.get(sent["thing"]):
            return {"thing": before.pk, **_stated(before)}
        description = sent["description"]
        return {"description": description} if description in offered else {}

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
        if self.is_stated:
            for name, ask in (
                ("description", "Describe the thing."),
                ("kind", "Choose the kind."),
                ("wish", "Choose what becomes of it, or that it is not decided yet."),
            ):
                if not data.get(name) and name not in self.errors:
                    self.add_error(name, ask)
        return data


ThingFormSet = forms.formset_factory(ThingForm, extra=0, max_num=MOST, absolute_max=MOST)


class ThingsForm(SeenForm):
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
        self.rows = {str(thing.pk): thing for thing in things.rows(case)}
        self.show(seen.of_things(case))
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
        lines += [{"description": part} for part in self._offered()]
        return [*lines[: MOST - BLANK], *[{} for _ in range(BLANK)]]

    def _offered(self) -> list[str]:
        """What the receipt names, while the list is empty."""
        return [] if things.standing(self.case) else parts_of(self.written)

    def _formset(self, **kwargs: Any) -> Any:
        return ThingFormSet(
            **{"initial": self.initial_lines, "prefix": "things", **kwargs},
            form_kwargs={"rows": self.rows, "offered": self._offered()},
        )

    def keep(self, data: MultiValueDict[str, str]) -> None:
        super().keep(data)
        self.lines = self._formset(initial=self._laid_over(data))

    def over(self, fresh: Self) -> QueryDict:
        data = super().over(fresh)
        lines = fresh._laid_over(data)
        for name in [name for name in data if name.startswith("things-")]:
            del data[name]
        counts = {"TOTAL": len(lines), "INITIAL": len(lines), "MIN_NUM": 0, "MAX_NUM": MOST}
        for name, count in counts.items():
            data[f"things-{name}_FORMS"] = str(count)
        for number, line in enumerate(lines):
            for name, value in line.items():
                data[f"things-{number}-{name}"] = str(value or "")
        return data

    def _laid_over(self, data: MultiValueDict[str, str]) -> list[dict[str, Any]]:
        """Return the lines with what was typed, each beside its thing, whatever the list is now.

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
        was = {pk: _stated(thing) for pk, thing in self.rows.items()}
        lines += [line for pk, line in of_thing.items() if line != was.get(pk)]
        is_listed = bool(things.standing(self.case))
        new = [line for pk, line in typed if not pk and not (is_listed and self._is_offered(line))]
        blank = [line for line in self.initial_lines if "thing" not in line]
        return [*lines, *(new or blank)][:MOST]

    def _is_offered(self, line: dict[str, Any]) -> bool:
        """True for a line that only repeats what the receipt names."""
        only_named = not line["kind"] and not line["wish"]
        return only_named and line["description"] in parts_of(self.written)

    def is_valid(self) -> bool:
        return super().is_valid() & self.lines.is_valid()

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if not self.lines.is_valid():
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
