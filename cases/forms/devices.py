"""All device questions on one page; only what was changed becomes an answer."""

from typing import Any

from django import forms
from django.utils.datastructures import MultiValueDict

from cases import device_answers
from cases.forms.base import SignedForm, typed_in
from cases.forms.fields import LocalMomentField, PinField, ScanField
from cases.models import Case, DeviceAnswer
from crematory import clock
from crematory.signatures import Signature

ANSWERED = ("answer", "removed_by", "removed_at", "went_to", "safe_from")


class DeviceForm(forms.Form):
    """One device question. `seen` is the answer that the person had before them."""

    device = forms.ChoiceField(choices=DeviceAnswer.Device.choices, widget=forms.HiddenInput)
    seen = forms.IntegerField(required=False, widget=forms.HiddenInput)
    answer = forms.ChoiceField(
        label="Answer",
        choices=[("", "Not asked yet"), *DeviceAnswer.Answer.choices],
        widget=forms.Select(attrs={"class": "form-select"}),
        required=False,
    )
    removed_by = forms.CharField(label="Removed by", max_length=200, required=False)
    removed_at = LocalMomentField(label="Removed at", required=False)
    went_to = forms.CharField(label="Where it went", max_length=200, required=False)
    safe_from = LocalMomentField(
        label="Safe to cremate from, by the written advice of the adviser", required=False
    )

    def __init__(self, *args: Any, newest: dict[str, DeviceAnswer], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.question = DeviceAnswer.Device(self.initial["device"])
        self.newest = newest.get(self.question)
        if self.question != DeviceAnswer.Device.RADIOACTIVE:
            del self.fields["safe_from"]

    @property
    def label(self) -> str:
        """The device that the question is about."""
        return str(self.question.label)

    @property
    def is_answered_anew(self) -> bool:
        """True where the person changed something."""
        return any(name in self.changed_data for name in ANSWERED)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if not self.is_answered_anew:
            return data
        if not data.get("answer") and "answer" not in self.errors:
            self.add_error("answer", "Answer the question.")
        if self.newest and data.get("seen") != self.newest.pk:
            self.add_error(
                None,
                f"Answered meanwhile: {self.newest.get_answer_display()}. "
                "Open this page again before you change it.",
            )
        removed_at = data.get("removed_at")
        if removed_at and removed_at > clock.now():
            self.add_error("removed_at", "The removal lies in the future. Correct it.")
        return data


QUESTIONS = len(DeviceAnswer.Device)
DeviceFormSet = forms.formset_factory(
    DeviceForm, extra=0, max_num=QUESTIONS, absolute_max=QUESTIONS
)


SIGN_HELP = "Only where a device once said to be there is not, was removed, or is safe by now."


class DevicesForm(SignedForm):
    """The questions, who answered what was changed, and a signature where that lifts a danger."""

    informant = forms.CharField(
        label="Who answers",
        max_length=200,
        help_text="The person who gave the answers that you change now.",
    )
    why = forms.CharField(
        label="Why a device said to be there is not",
        max_length=4000,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    signer_code = ScanField(label="Your staff code", required=False, help_text=SIGN_HELP)
    signer_pin = PinField(label="Your PIN", required=False)

    def __init__(self, *args: Any, case: Case, **kwargs: Any) -> None:
        super().__init__(*args, facility=case.facility, **kwargs)
        self.case = case
        self.earlier: dict[str, list[DeviceAnswer]] = {}
        for answer in case.device_answers.all():
            self.earlier.setdefault(answer.device, []).append(answer)
        self.newest = {device: answers[-1] for device, answers in self.earlier.items()}
        self.initial_rows = [self._row(device) for device in DeviceAnswer.Device]
        self.questions = self._questions(**({"data": self.data} if self.is_bound else {}))

    def _row(self, device: DeviceAnswer.Device) -> dict[str, Any]:
        answer = self.newest.get(device)
        row: dict[str, Any] = {"device": device.value, "seen": answer.pk if answer else None}
        return row | ({name: getattr(answer, name) for name in ANSWERED} if answer else {})

    def _questions(self, **kwargs: Any) -> Any:
        return DeviceFormSet(
            **{"initial": self.initial_rows, "prefix": "devices", **kwargs},
            form_kwargs={"newest": self.newest},
        )

    def keep(self, data: MultiValueDict[str, str]) -> None:
        super().keep(data)
        rows = [
            row | typed_in(form, data) | {"device": row["device"]}
            for row, form in zip(self.initial_rows, self.questions.forms, strict=True)
        ]
        self.questions = self._questions(initial=rows)

    def is_valid(self) -> bool:
        return super().is_valid() & self.questions.is_valid()

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if not self.questions.is_valid():
            return data
        lowered = [answer for answer in self._rows(data) if self._lowers(answer)]
        if lowered and not (data.get("signer_code") and data.get("signer_pin")):
            self.add_error("signer_pin", "Sign: a device said to be there would no longer stop.")
        if any(answer.answer != device_answers.YES for answer in lowered) and not data.get("why"):
            self.add_error("why", "Say why a device said to be there is not.")
        return data

    def signature(self, who: str = "signer") -> Signature | None:
        """The signature, or None without a PIN: the code is filled in beforehand."""
        return super().signature(who) if self.cleaned_data.get("signer_pin") else None

    def _rows(self, data: dict[str, Any]) -> list[DeviceAnswer]:
        informant = data.get("informant", "")
        return [
            DeviceAnswer(case=self.case, informant=informant, **fields) for fields in self._stated()
        ]

    def _lowers(self, answer: DeviceAnswer) -> bool:
        return device_answers.lowers(self.earlier.get(answer.device, []), answer)

    def _stated(self) -> list[dict[str, Any]]:
        changed = [form for form in self.questions.forms if form.is_answered_anew]
        return [
            {"device": form.question.value}
            | {name: form.cleaned_data.get(name) for name in ANSWERED}
            for form in changed
        ]

    def answers(self) -> list[dict[str, Any]]:
        """Return the changed answers with who gave them; the form must be valid."""
        return [f | {"informant": self.cleaned_data["informant"]} for f in self._stated()]
