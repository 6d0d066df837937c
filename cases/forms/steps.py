"""One form a step: it asks what the step's gates need, and gives the facts for `take`.

Answers with yes or no are not required here, so that a "no" reaches its gate and is recorded.
"""

from collections.abc import Iterator
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.forms.boundfield import BoundField
from django.utils.datastructures import MultiValueDict

from cases import things
from cases.facts import FACTS, BurnerOffFacts, Container, ContainFacts, Facts, ProcessFacts
from cases.forms.base import SignedForm, WitnessedForm, is_signing, typed_in
from cases.forms.fields import LocalMomentField, PinField, ScanField
from cases.forms.sharing import proposed
from cases.models import NAME_LENGTH, Case
from cases.retort_offers import retort_offers
from chain_of_custody.models import Place, Placement
from crematory import clock
from crematory.fields import QuantityField
from crematory.models import Facility
from crematory.units import UnitSystem
from retort_log.containers import SplitError
from retort_log.models import Retort

BAND_LABEL = "Name on the identity band, as it is written there"
METAL_FATES = (
    "none found",
    "recycled",
    "returned to the family",
    "buried or disposed of by the house",
)
# The database holds containers of at most these; both far above what one person leaves.
HEAVIEST_KG = Decimal(30)
LARGEST_L = Decimal(100)
MOST_CONTAINERS = 9
# A burn shorter than this is asked about: a choice of this design. Cremations take far longer.
SHORT_BURN = timedelta(minutes=20)
LABEL_HELP = "Where it cannot be scanned, type the paper number that stands on the label."


def yes(label: str) -> forms.BooleanField:
    """A box to tick; left empty it is a no, which the gate answers."""
    return forms.BooleanField(label=label, required=False)


def answered(label: str) -> forms.TypedChoiceField:
    """Yes, no, or not known, which is what it is until somebody says otherwise."""
    return forms.TypedChoiceField(
        label=label,
        choices=[("", "Not known"), ("True", "Yes"), ("False", "No")],
        coerce=lambda value: value == "True",
        empty_value=None,
        required=False,
    )


def text(label: str, length: int, **kwargs: Any) -> forms.CharField:
    """One line of text that must not be empty."""
    return forms.CharField(label=label, max_length=length, **kwargs)


def lines(label: str, **kwargs: Any) -> forms.CharField:
    """Several lines of text."""
    return forms.CharField(
        label=label, max_length=4000, widget=forms.Textarea(attrs={"rows": 3}), **kwargs
    )


class PlaceField(forms.ModelChoiceField):
    """A free place of one kind; the form fills in which."""

    def __init__(self, kind: str, **kwargs: Any) -> None:
        self.kind = kind
        super().__init__(Place.objects.none(), **kwargs)

    def offer(self, facility: Facility) -> None:
        """Offer the facility's free places of this kind."""
        taken = Placement.objects.filter(until__isnull=True).values("place")
        self.queryset = Place.objects.filter(
            facility=facility, kind=self.kind, is_in_use=True
        ).exclude(pk__in=taken)


class StepForm(SignedForm):
    """Base of all step forms."""

    verb = ""
    happened_at = LocalMomentField(
        label="When it happened", required=False, help_text="Left empty, it means now."
    )

    def __init__(self, *args: Any, case: Case, **kwargs: Any) -> None:
        super().__init__(*args, facility=case.facility, **kwargs)
        self.case = case
        for field in self.fields.values():
            if isinstance(field, PlaceField):
                field.offer(case.facility)
        self._order()

    def _order(self) -> None:
        """What is stated comes first, then the time, then who signs."""
        signing = [name for name in self.fields if is_signing(name)]
        stated = [n for n in self.fields if n not in (*signing, "happened_at", "token")]
        self.order_fields([*stated, "happened_at", *signing, "token"])
        first = next(iter([*stated, *signing]))
        self.fields[first].widget.attrs["autofocus"] = True

    def facts(self) -> Facts:
        """Return what was stated; the form must be valid."""
        return FACTS[self.verb](**self.stated())

    def chosen_retort(self) -> Retort | None:
        """The retort whose gates the page shows."""
        return None

    def add_row(self, data: MultiValueDict[str, str]) -> None:
        """Show what was typed, with room for one more row where the form has rows."""
        self.keep(data)

    def share(self, data: MultiValueDict[str, str]) -> None:
        """Show what was typed, with the rest of the remains proposed where the form parts them."""
        self.keep(data)


class ReceiveForm(StepForm, WitnessedForm):
    verb = "receive"
    band_reads = text(BAND_LABEL, NAME_LENGTH)
    delivered_by = text("Driver", 200)
    firm = text(
        "Firm of the driver",
        200,
        help_text="As announced; write the other one where another firm brings the person.",
    )
    container_kind = text("Cremation container", 100)
    is_closed = yes("It is closed")
    is_rigid = yes("It is rigid")
    is_leak_proof = yes("It is leak-proof")
    is_combustible = yes("It is combustible")
    mass_kg = QuantityField(kind="mass", label="Mass of person and container")
    belongings = lines("Belongings", help_text="List what came, or write “none”.")
    is_embalmed = answered("Embalmed")
    place = PlaceField(Place.Kind.BAY, label="Cooler bay")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial.setdefault("firm", self.case.sender)


class AuthorizeForm(StepForm):
    verb = "authorize"


class ClearDevicesForm(StepForm, WitnessedForm):
    verb = "clear_devices"


class AssignDiscForm(StepForm):
    verb = "assign_disc"
    disc_number = ScanField(label="Number on the disc")
    disc_number_again = ScanField(label="Number on the disc, read again")
    is_attached = yes("The disc is fixed to the container")


class RetortSelect(forms.RadioSelect):
    """Every retort with what speaks for or against it; one that cannot be used is not offered."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.unusable: set[int] = set()

    def create_option(self, *args: Any, **kwargs: Any) -> dict[str, Any]:
        option: dict[str, Any] = super().create_option(*args, **kwargs)
        if getattr(option["value"], "value", None) in self.unusable:
            option["attrs"]["disabled"] = True
        return option


class RetortField(forms.ModelChoiceField):
    """The facility's retorts, each in words; the gates say no again when it is sent."""

    widget = RetortSelect

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(Retort.objects.none(), empty_label=None, **kwargs)
        self.words: dict[int, str] = {}
        self.unusable: set[int] = set()

    def offer(self, case: Case) -> None:
        """Offer the retorts of the case's facility, for this person."""
        self.queryset = Retort.objects.filter(facility=case.facility).select_related(
            "place", "permit"
        )
        offers = retort_offers(case, clock.now())
        self.words = {pk: offer.words for pk, offer in offers.items()}
        self.unusable = {pk for pk, offer in offers.items() if not offer.is_usable}
        assert isinstance(self.widget, RetortSelect)
        self.widget.unusable = self.unusable

    def label_from_instance(self, obj: Any) -> str:
        return self.words.get(obj.pk, str(obj))


class ChargeForm(StepForm, WitnessedForm):
    verb = "charge"
    retort = RetortField(label="Retort")
    disc_scan = ScanField(label="Scan the disc on the container")
    label_scan = ScanField(label="Scan the label on the container", help_text=LABEL_HELP)
    chamber_is_empty = yes("I looked into the chamber: it is empty and swept")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["retort"]
        assert isinstance(field, RetortField)
        field.offer(self.case)
        # A link from the machine names the place; the field names the retort.
        code = str(self.initial.get("retort", ""))
        chosen = Retort.objects.filter(facility=self.facility, place__code=code).first()
        if chosen and chosen.pk not in field.unusable:
            self.initial["retort"] = chosen.pk
            field.widget.attrs.pop("autofocus", None)
            self.fields["disc_scan"].widget.attrs["autofocus"] = True

    def chosen_retort(self) -> Retort | None:
        field = self.fields["retort"]
        chosen = self["retort"].value()
        try:
            retort: Retort | None = field.clean(chosen) if chosen else None
        except ValidationError:
            return None
        return retort


class BurnerOffForm(StepForm):
    """Burner off; asked again where it comes so soon that the charge or the time is a slip."""

    verb = "burner_off"
    flame_has_ended = yes("I looked through the port: visible flame has ended")
    short_burn_confirmed = yes("It is right: the burner is off so soon after the charge")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.burned: timedelta | None = None
        self._burned_until(clock.now())

    def _burned_until(self, at: datetime) -> None:
        if hasattr(self.case, "run"):
            self.burned = at - self.case.run.charged_at

    def is_short(self) -> bool:
        """True where less time lies between the charge and this than a cremation takes."""
        return self.burned is not None and self.burned < SHORT_BURN

    def stated_fields(self) -> Iterator[BoundField]:
        shown = super().stated_fields()
        return (f for f in shown if f.name != "short_burn_confirmed" or self.is_short())

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("happened_at"):
            self._burned_until(data["happened_at"])
        if self.is_short() and not data.get("short_burn_confirmed"):
            self.add_error("short_burn_confirmed", self.question())
        return data

    def question(self) -> str:
        """Return the question, with how long it burned."""
        seconds = int(max(self.burned or timedelta(0), timedelta(0)).total_seconds())
        span = f"{seconds // 60} min" if seconds >= 60 else f"{seconds} s"
        return f"Charged {span} before: is that right? Look again, and tick the box."

    def facts(self) -> Facts:
        stated = self.stated()
        return BurnerOffFacts(
            **stated | {"short_burn_confirmed": True if self.is_short() else None}
        )


class RecoverForm(StepForm):
    verb = "recover"
    chamber_is_swept = yes("The chamber is swept clear, brushes and tools checked")
    disc_scan = ScanField(label="Read the disc found among the remains")
    place = PlaceField(Place.Kind.TRAY, label="Recovery tray")


class ProcessForm(StepForm):
    verb = "process"
    disc_scan = ScanField(label="Scan the disc that lies with the remains on the tray")
    processor_was_empty = yes("I looked into the processor before: it was empty and clean")
    metal_fate = forms.ChoiceField(
        label="What becomes of the metal",
        choices=[("", "---------"), *((f, f) for f in METAL_FATES)],
    )
    mass_kg = QuantityField(kind="mass", label="Mass after processing", maximum=HEAVIEST_KG)
    acceptance_reason = lines("Why a manager accepts a mass outside the range", required=False)
    manager_code = ScanField(label="Staff code of the manager", required=False)
    manager_pin = PinField(label="PIN of the manager", required=False)

    def facts(self) -> Facts:
        return ProcessFacts(**self.stated(), acceptance=self.signature("manager"))

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("manager_code") and not data.get("acceptance_reason"):
            self.add_error("acceptance_reason", "Say why the mass is accepted.")
        return data


class ContainerForm(forms.Form):
    """One container of cremated remains."""

    kind = text("Container", 100)
    volume_l = QuantityField(kind="volume", label="Volume", maximum=LARGEST_L)
    mass_kg = QuantityField(kind="mass", label="Mass of what it holds", maximum=HEAVIEST_KG)
    label_scan = ScanField(label="Scan the label on this container", help_text=LABEL_HELP)

    def __init__(self, *args: Any, units: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            if isinstance(field, QuantityField):
                field.use_units(units)


ContainerFormSet = forms.formset_factory(
    ContainerForm, extra=0, min_num=1, max_num=MOST_CONTAINERS, absolute_max=MOST_CONTAINERS
)


class ContainForm(StepForm):
    verb = "contain"
    disc_scan = ScanField(label="Scan the disc that lies with the remains")
    are_sealed = yes("Every container is sealed")
    place = PlaceField(Place.Kind.SHELF, label="Shelf")
    share_problem = ""  # why no share could be proposed

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        # The containers stand first on the page; a cursor further down would scroll past them.
        self.fields["disc_scan"].widget.attrs.pop("autofocus")
        self.containers = self._containers(data=self.data) if self.is_bound else self._containers()

    def _containers(self, **kwargs: Any) -> Any:
        return ContainerFormSet(
            prefix="containers", form_kwargs={"units": self.facility.units}, **kwargs
        )

    def _show(self, data: MultiValueDict[str, str], count: int) -> None:
        """Show `count` containers, unbound, filled with what was typed."""
        blank = self._containers(initial=[{}] * count)
        self.containers = self._containers(initial=[typed_in(f, data) for f in blank.forms])
        self.containers.min_num = count

    def _count(self, data: MultiValueDict[str, str]) -> int:
        typed = str(data.get("containers-TOTAL_FORMS", "1"))
        return min(int(typed) if typed.isdecimal() and len(typed) < 5 else 1, MOST_CONTAINERS)

    def keep(self, data: MultiValueDict[str, str]) -> None:
        super().keep(data)
        self._show(data, self._count(data))

    def add_row(self, data: MultiValueDict[str, str]) -> None:
        super().keep(data)
        self._show(data, min(self._count(data) + 1, MOST_CONTAINERS))

    def share(self, data: MultiValueDict[str, str]) -> None:
        self.keep(data)
        rows = [form.initial for form in self.containers.forms]
        typed = [(str(row["volume_l"] or ""), str(row["mass_kg"] or "")) for row in rows]
        units: UnitSystem = self.facility.units  # type: ignore[assignment] # the model's choices
        try:
            masses = proposed(self.case.processing.mass_kg, typed, units)
        except SplitError as problem:
            self.share_problem = str(problem)
        else:
            for row, mass in zip(rows, masses, strict=True):
                row["mass_kg"] = mass

    def is_valid(self) -> bool:
        return super().is_valid() & self.containers.is_valid()

    def facts(self) -> Facts:
        containers = tuple(Container(**c) for c in self.containers.cleaned_data if c)
        return ContainFacts(**self.stated(), containers=containers)


class HandingOverForm(StepForm, WitnessedForm):
    """Remains or the person leave the house, and with them the things that lie here."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        lying = things.due(self.case)
        if lying:
            label = f"Given back with this, on the signed receipt: {things.words(lying)}"
            self.fields["things_are_given"].label = label
        else:
            del self.fields["things_are_given"]


class ReleaseForm(HandingOverForm):
    verb = "release"
    recipient_name = text("Name of the recipient, as on the identification", NAME_LENGTH)
    identification = text("Identification seen", 200, help_text="Its kind, and who issued it.")
    disc_on_paper = ScanField(label="Disc number, read aloud from the paper")
    disc_on_container = ScanField(label="Disc number, read aloud from the container")
    receipt_is_signed = yes("The recipient signed the receipt")
    things_are_given = yes("")
    carrier = text("Carrier, when sent", 100, required=False)
    tracking_number = text("Tracking number, when sent", 100, required=False)


class ReturnForm(HandingOverForm):
    verb = "return_uncremated"
    recipient_name = text("Who takes the person back", NAME_LENGTH)
    firm = text("Firm", 200)
    identification = text("Identification seen", 200)
    reason = lines("Why the person is returned")
    receipt_is_signed = yes("The receipt is signed")
    things_are_given = yes("")


FORMS: dict[str, type[StepForm]] = {
    form.verb: form
    for form in (
        ReceiveForm,
        AuthorizeForm,
        ClearDevicesForm,
        AssignDiscForm,
        ChargeForm,
        BurnerOffForm,
        RecoverForm,
        ProcessForm,
        ContainForm,
        ReleaseForm,
        ReturnForm,
    )
}
