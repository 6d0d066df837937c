"""The form of a recovery without the disc: what was found, who signs, and the new disc."""

from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile

from cases.facts import Facts, RecoverFacts
from cases.forms.base import WitnessedForm
from cases.forms.fields import PinField, ScanField
from cases.forms.steps import PlaceField, StepForm, lines, yes
from cases.forms.things import PHOTOGRAPHS
from cases.models import DiscReplaced
from chain_of_custody import uploads_in
from chain_of_custody.models import Place
from chain_of_custody.uploads import UploadRefused
from chain_of_custody.uploads_in import Arrived


class LostDiscForm(StepForm, WitnessedForm):
    """What may be missing is not required here: the gate says so, and the attempt is recorded."""

    verb = "recover"
    disc_state = forms.ChoiceField(
        label="The disc was", choices=DiscReplaced.Found.choices, widget=forms.RadioSelect
    )
    photograph = forms.FileField(
        label="Photograph of the disc, or of the chamber and the remains",
        required=False,
        widget=forms.FileInput(attrs={"accept": PHOTOGRAPHS, "capture": "environment"}),
    )
    chamber_is_swept = yes("The chamber is swept clear, brushes and tools checked")
    disc_number = ScanField(label="Number on the new disc")
    disc_number_again = ScanField(label="Number on the new disc, read again by the second person")
    is_attached = yes("Both tied the new disc: it lies with these remains")
    place = PlaceField(Place.Kind.TRAY, label="Recovery tray")
    acceptance_reason = lines("Why a manager accepts that these are this person's", required=False)
    manager_code = ScanField(label="Staff code of the manager", required=False)
    manager_pin = PinField(label="PIN of the manager", required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.arrived: Arrived | None = None

    def clean_photograph(self) -> UploadedFile | None:
        """Look the picture through and store it; the view removes what no act recorded."""
        photograph: UploadedFile | None = self.cleaned_data["photograph"]
        if photograph is None:
            return None
        try:
            self.arrived = uploads_in.arrive(photograph.read(), photograph.name or "")
        except UploadRefused as refusal:
            raise forms.ValidationError(refusal.text) from refusal
        if self.arrived.found.kind == "PDF":
            raise forms.ValidationError("Take a photograph: JPEG, PNG or HEIC.")
        return photograph

    def facts(self) -> Facts:
        stated = self.stated() | {"photograph": self.arrived}
        return RecoverFacts(**stated, acceptance=self.signature("manager"))
