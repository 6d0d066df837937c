"""Forms of the acts beside the steps: announce, file, name, settle, correct, move."""

from collections.abc import Iterator
from datetime import date, datetime
from typing import Any

from django import forms
from django.forms.boundfield import BoundField

from cases import law
from cases.forms.base import SignedForm, WitnessedForm, WritingForm
from cases.forms.death import FIELDS, DeathMixin, death_fields
from cases.forms.fields import LocalMomentField
from cases.forms.steps import BAND_LABEL, PlaceField, answered, lines, text, yes
from cases.identity import BandDate
from cases.law import PAPERS
from cases.models import NAME_LENGTH, OTHER_PAPER, Case
from cases.names import fold
from chain_of_custody.models import Place
from crematory import clock
from crematory.fields import QuantityField
from crematory.models import Facility

SEXES = [("f", "female"), ("m", "male")]


def day(label: str, **kwargs: Any) -> forms.DateField:
    """A day of the calendar."""
    widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    return forms.DateField(label=label, widget=widget, **kwargs)


def check_name(name: str) -> None:
    """Refuse a name of signs that are each written out as many letters, too long to search for."""
    if len(fold(name)) > 2 * NAME_LENGTH:
        raise forms.ValidationError("This name is too long when it is written out. Shorten it.")


def choice(label: str, choices: list[tuple[str, str]], **kwargs: Any) -> forms.ChoiceField:
    """One of a few, none chosen beforehand."""
    return forms.ChoiceField(label=label, choices=[("", "---------"), *choices], **kwargs)


ANNOUNCED = ["decedent_name", "born_on", *FIELDS, "discovered_at", "sex", "sender"]


class AnnounceForm(DeathMixin, WritingForm):
    """A person who is expected. When the person was found is asked where the law counts by it."""

    decedent_name = text("Name of the person who died", NAME_LENGTH, validators=[check_name])
    born_on = day("Date of birth", required=False, help_text="Leave empty if not known.")
    discovered_at = LocalMomentField(
        label="When the person was found", required=False, help_text="Where that came later."
    )
    sex = choice("Sex", SEXES, required=False)
    sender = text("Sender", 200, help_text="Who sends this person: firm, hospital, county.")

    is_another = yes("This is another person than the one who is here already")

    def __init__(self, *args: Any, facility: Facility, **kwargs: Any) -> None:
        super().__init__(*args, facility=facility, **kwargs)
        self.is_asked_again = bool(self.data.get("is_another"))
        self.fields.update(death_fields())
        if law.jurisdiction(facility.jurisdiction).wait.starts != "death_or_discovery":
            del self.fields["discovered_at"]
        self.order_fields(ANNOUNCED)
        self.focus("decedent_name")

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        data["death"] = died = self.join_death(data)
        born, found = data.get("born_on"), data.get("discovered_at")
        if (
            died
            and born
            and born > (died.latest or died.earliest).astimezone(self.facility.zone).date()
        ):
            self.add_error("born_on", "The date of birth lies after the death. Correct it.")
        if found and found > clock.now():
            self.add_error("discovered_at", "This lies in the future. Correct it.")
        elif died and found and found < died.earliest:
            self.add_error("discovered_at", "The person was found before the death.")
        return data

    def stated_fields(self) -> Iterator[BoundField]:
        """Whether it is another person is asked only where somebody of this name is here."""
        asked = self.is_asked_again or self.initial.get("is_another")
        return (f for f in super().stated_fields() if asked or f.name != "is_another")

    def stated(self) -> dict[str, Any]:
        """Return what `acts.announce` takes."""
        said = super().stated()
        died = said.pop("death")
        return {k: v for k, v in said.items() if k not in FIELDS} | died.columns()


class DocumentForm(WritingForm):
    kind = choice("Paper", [*PAPERS.items(), OTHER_PAPER])
    reference = text("Number or reference on the paper", 100)
    issued_by = text("Issued by", 200)
    issued_on = day("Issued on")

    def clean_issued_on(self) -> date:
        issued: date = self.cleaned_data["issued_on"]
        if issued > clock.now().astimezone(self.facility.zone).date():
            raise forms.ValidationError("The day lies in the future. Correct it.")
        return issued


class RecipientForm(WritingForm):
    name = text("Name", NAME_LENGTH)
    relationship = text("Relationship to the person who died", 100)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.focus("name")


def reportable(label: str) -> forms.TypedChoiceField:
    """Yes, no, or not known yet."""
    return forms.TypedChoiceField(
        label=label,
        choices=[("", "Not known yet"), ("True", "Yes"), ("False", "No")],
        coerce=lambda value: value == "True",
        empty_value=None,
        required=False,
    )


class SettleForm(WritingForm):
    is_death_reportable = reportable(
        "Must this death be reported to the coroner or medical examiner?"
    )
    disposition = choice(
        "What becomes of the cremated remains", Case.Disposition.choices, required=False
    )

    def __init__(self, *args: Any, case: Case, **kwargs: Any) -> None:
        now = {name: getattr(case, name) for name in self.base_fields if hasattr(case, name)}
        super().__init__(*args, facility=case.facility, initial=now, **kwargs)
        self.case = case
        self.focus("is_death_reportable")

    def changes(self) -> dict[str, Any]:
        """Return only what differs from the case."""
        return {k: v for k, v in self.stated().items() if v != getattr(self.case, k)}


class BandForm(WitnessedForm):
    """What the identity band reads, signed by two persons."""

    band_reads = text(BAND_LABEL, NAME_LENGTH)
    born_on = day(
        "Date of birth on the identity band",
        required=False,
        help_text="Needed where the date of birth was corrected.",
    )
    shows_no_birth = yes("The band shows no date of birth")

    def band_date(self) -> BandDate:
        """The date of birth as the band shows it."""
        stated = self.cleaned_data
        return BandDate(read=stated["born_on"], is_absent=stated["shows_no_birth"])


class MoveForm(SignedForm):
    place = PlaceField("", label="To")

    def __init__(self, *args: Any, case: Case, current: Place | None, **kwargs: Any) -> None:
        super().__init__(*args, facility=case.facility, **kwargs)
        field = self.fields["place"]
        assert isinstance(field, PlaceField)
        if current and current.kind != Place.Kind.RETORT:
            field.kind = current.kind
            field.offer(case.facility)


VALUE_FIELDS: dict[str, Any] = {
    "decedent_name": lambda: text("New value", NAME_LENGTH, validators=[check_name]),
    "born_on": lambda: day("New value", required=False),
    "discovered_at": lambda: LocalMomentField(label="New value", required=False),
    "sex": lambda: choice("New value", SEXES, required=False),
    "sender": lambda: text("New value", 200),
    "delivered_by": lambda: text("New value", 200),
    "firm": lambda: text("New value", 200),
    "container_kind": lambda: text("New value", 100),
    "mass_kg": lambda: QuantityField(kind="mass", label="New value"),
    "belongings": lambda: lines("New value"),
    "is_embalmed": lambda: answered("New value"),
    "is_death_reportable": lambda: reportable("New value"),
    "disposition": lambda: choice("New value", Case.Disposition.choices),
}


class CorrectForm(DeathMixin, SignedForm):
    """The new value of one field; which field decides how it is typed."""

    field = forms.CharField(widget=forms.HiddenInput)
    why = lines("Why it is corrected")

    def __init__(self, *args: Any, field: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if field == "died_at":
            self.fields.update(death_fields())
        else:
            self.fields["value"] = VALUE_FIELDS[field]()
        self.use_units()
        self.initial.setdefault("field", field)
        self.order_fields([*FIELDS, "value", "why"])

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if "died_at" in self.fields:
            data["value"] = self.join_death(data)
            return data
        value, now = data.get("value"), clock.now()
        today = now.astimezone(self.facility.zone).date()
        # A datetime is a date as well, so it is asked for first.
        limit = now if isinstance(value, datetime) else today
        if isinstance(value, date) and value > limit:
            self.add_error("value", "This lies in the future. Correct it.")
        return data
