"""All device questions on one page; only what was changed becomes an answer."""

from typing import Any, Self

from django import forms
from django.http import QueryDict
from django.utils.datastructures import MultiValueDict

from cases import device_answers, device_rules, seen
from cases.device_list import QUESTIONS, Question
from cases.errors import ActRefused
from cases.forms.base import SignedForm, typed_in
from cases.forms.fields import LocalMomentField, PinField, ScanField
from cases.forms.seen import SeenForm, lay
from cases.models import HARMLESS, STAYS_BY_LAW, Case, DeviceAnswer
from cases.nuclides import NUCLIDES
from crematory import clock
from crematory.fields import QuantityField
from crematory.models import Facility
from crematory.signatures import Signature

ANSWERED = device_answers.STATED
NUCLIDE_FIELDS = device_answers.NUCLIDE
OTHER_NUCLIDE = "other"


def _line(label: str, length: int, **kwargs: Any) -> forms.CharField:
    return forms.CharField(label=label, max_length=length, required=False, **kwargs)


def _day(label: str, **kwargs: Any) -> forms.DateField:
    widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    return forms.DateField(label=label, widget=widget, required=False, **kwargs)


def _one_of(label: str, choices: list[Any]) -> forms.ChoiceField:
    return forms.ChoiceField(
        label=label,
        choices=[("", "---------"), *choices],
        required=False,
        widget=forms.Select(attrs={"class": "form-select"}),
    )


class DeviceForm(forms.Form):
    """One device question; `newest` is the answer that the person had before them."""

    device = forms.ChoiceField(choices=DeviceAnswer.Device.choices, widget=forms.HiddenInput)
    answer = forms.ChoiceField(
        label="Answer",
        choices=DeviceAnswer.Answer.choices,
        widget=forms.RadioSelect,
        required=False,
    )
    outcome = _one_of("What became of it", DeviceAnswer.Outcome.choices)
    removed_by = _line("Removed by", 200, help_text="Name, and what they are.")
    removed_at = LocalMomentField(label="Removed at", required=False)
    went_to = _line("Where it went", 200)
    receipt_reference = _line("Receipt", 100, help_text="Its number; or that of the box it is in.")
    attested_by = _line("Attested by", 200, help_text="Who signed for the sender.")
    attester_licence = _line("Their licence", 60)
    stays_by_rule = _line("Why it may stay", 200)
    nuclide = _one_of("Nuclide", [*((n, n) for n in NUCLIDES), (OTHER_NUCLIDE, "Another one")])
    nuclide_use = _one_of("How it was given", DeviceAnswer.Use.choices)
    placed_on = _day("Placed or given on", help_text="The last one counts.")
    activity_mbq = QuantityField(kind="activity", label="Activity", required=False)
    activity_on = _day("Activity on this day", help_text="As stated on the implant card.")
    adviser = _line("Radiation-protection adviser", 200)
    advised_on = _day("Day of the written advice")
    allowed_from = _day("Cremation allowed from")

    def __init__(
        self,
        *args: Any,
        newest: dict[str, DeviceAnswer],
        facility: Facility,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.question = DeviceAnswer.Device(self.initial["device"])
        self.newest = newest.get(self.question)
        if self.question != DeviceAnswer.Device.RADIOACTIVE:
            for name in NUCLIDE_FIELDS:
                del self.fields[name]
        else:
            activity = self.fields["activity_mbq"]
            assert isinstance(activity, QuantityField)
            activity.use_units("metric" if facility.units == "metric" else "us")
        self._offer_outcomes()

    def _offer_outcomes(self) -> None:
        """Only what no rule calls hazardous may stay; its rule stands there to be changed."""
        if self.question in (*HARMLESS, *STAYS_BY_LAW):
            self.initial["stays_by_rule"] = self.initial.get("stays_by_rule") or self.help.stays_by
            return
        del self.fields["stays_by_rule"]
        field = self.fields["outcome"]
        assert isinstance(field, forms.ChoiceField)
        outcomes = [choice for choice in DeviceAnswer.Outcome.choices if choice[0] != "stays"]
        field.choices = [("", "---------"), *outcomes]

    @property
    def label(self) -> str:
        """The device that the question is about."""
        return str(self.question.label)

    @property
    def help(self) -> Question:
        """What helps to answer, and who says so."""
        return QUESTIONS[self.question.value]

    @property
    def nuclide_fields(self) -> list[forms.BoundField]:
        """The fields on the nuclide; none for other devices."""
        return [self[name] for name in NUCLIDE_FIELDS if name in self.fields]

    @property
    def outcome_fields(self) -> list[tuple[str, list[forms.BoundField]]]:
        """Each outcome with the fields that it needs."""
        return [
            (outcome, [self[name] for name in names if name in self.fields])
            for outcome, names in device_answers.DETAILS.items()
            if any(name in self.fields for name in names)
        ]

    @property
    def is_answered_anew(self) -> bool:
        """True where the person changed something; a rule that was only offered is no answer."""
        changed = {*self.changed_data} & {*ANSWERED}
        return bool(changed - {"stays_by_rule"}) or (
            bool(changed) and self["outcome"].value() == "stays"
        )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("outcome") != "stays" and "stays_by_rule" in data:
            data["stays_by_rule"] = ""  # it was offered and not chosen
        if not self.is_answered_anew:
            return data
        if not data.get("answer") and "answer" not in self.errors:
            self.add_error("answer", "Answer the question.")
        return data

    def stated(self) -> dict[str, Any]:
        """Return the answer as the act takes it; of a "no" nothing else is kept."""
        data = self.cleaned_data
        given = {name: data.get(name) for name in ANSWERED}
        if data.get("answer") != device_answers.YES:
            given = {"answer": data.get("answer")}
        # A text that does not apply here is empty, a day or a number is not stated.
        texts = {n for n in given if isinstance(_column(n), str)}
        return {"device": self.question.value} | {
            name: (value or "") if name in texts else value for name, value in given.items()
        }


def _column(name: str) -> Any:
    """Return what an answer holds under this name where nothing is stated."""
    return getattr(DeviceAnswer(), name)


SIGN_HELP = (
    "Only where a device once said to be there was removed, may stay, is safe by now, or was "
    "never there, or where you change how long a radionuclide waits."
)


class DevicesForm(SeenForm, SignedForm):
    """The questions, who answered what was changed, and a signature where that lifts a danger."""

    informant = forms.CharField(
        label="Who answers",
        max_length=200,
        help_text="The person who gave the answers that you change now.",
    )
    why = forms.CharField(
        label="Why a device said to be there is not, or its wait is changed",
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
        then = self.show(seen.of_devices(case))
        for answer in then:
            self.earlier.setdefault(answer.device, []).append(answer)
        self.newest = {device: answers[-1] for device, answers in self.earlier.items()}
        if not any(answer.answer == device_answers.YES for answer in then):
            # Nothing that was said to be there can stop mattering: nobody need sign or explain.
            for name in ("why", "signer_code", "signer_pin"):
                del self.fields[name]
        self.initial_rows = [self._row(device) for device in device_rules.asked(case.law)]
        self.questions = self._questions(**({"data": self.data} if self.is_bound else {}))

    def _row(self, device: DeviceAnswer.Device) -> dict[str, Any]:
        answer = self.newest.get(device)
        row: dict[str, Any] = {"device": device.value}
        return row | ({name: getattr(answer, name) for name in ANSWERED} if answer else {})

    def _questions(self, **kwargs: Any) -> Any:
        count = len(self.initial_rows)  # whatever number of questions a sender claims
        kind = forms.formset_factory(DeviceForm, extra=0, max_num=count, absolute_max=count)
        return kind(
            **{"initial": self.initial_rows, "prefix": "devices", **kwargs},
            form_kwargs={"newest": self.newest, "facility": self.facility},
        )

    def keep(self, data: MultiValueDict[str, str]) -> None:
        super().keep(data)
        rows = [
            row | typed_in(form, data) | {"device": row["device"]}
            for row, form in zip(self.initial_rows, self.questions.forms, strict=True)
        ]
        self.questions = self._questions(initial=rows)

    def over(self, fresh: Self) -> QueryDict:
        """As typed stays a question as a whole: two persons' answers are not mixed into one."""
        data = super().over(fresh)
        for form, now in zip(self.questions.forms, fresh.questions.forms, strict=False):
            if not form.is_answered_anew:
                lay(data, now)
        return data

    def tell_meanwhile(self, sent: Self) -> None:
        for form in self.questions.forms:
            if form.newest and form.newest != sent.newest.get(form.question):
                told = form.newest.get_answer_display()
                form.add_error(None, f"Answered meanwhile: {told}, by {form.newest.informant}.")

    def is_valid(self) -> bool:
        return super().is_valid() & self.questions.is_valid()

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if not self.questions.is_valid():
            wrong = ", ".join(form.label for form in self.questions.forms if form.errors)
            self.add_error(None, f"Look at: {wrong}." if wrong else "Open this page again.")
            return data
        rows = self._rows(data)
        self._check(rows)
        lowered = [answer for answer in rows if self._lowers(answer)]
        if lowered and not (data.get("signer_code") and data.get("signer_pin")):
            self.add_error("signer_pin", "Sign: a device said to be there would no longer stop.")
        if any(self._takes_back(answer) for answer in rows) and not data.get("why"):
            self.add_error(
                "why", "Say why a device said to be there is not, or what you changed of its wait."
            )
        return data

    def _check(self, rows: list[DeviceAnswer]) -> None:
        """Say beside the question what its act would refuse."""
        forms_of = {form.question.value: form for form in self.questions.forms}
        for row in rows:
            try:
                device_answers.check(row, clock.now())
            except ActRefused as refusal:
                forms_of[row.device].add_error(None, refusal.text)
                self.add_error(None, f"{row.get_device_display()}: {refusal.text}")

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

    def _takes_back(self, answer: DeviceAnswer) -> bool:
        return device_answers.takes_back(self.earlier.get(answer.device, []), answer)

    def _stated(self) -> list[dict[str, Any]]:
        return [form.stated() for form in self.questions.forms if form.is_answered_anew]

    def answers(self) -> list[dict[str, Any]]:
        """Return the changed answers with who gave them; the form must be valid."""
        return [f | {"informant": self.cleaned_data["informant"]} for f in self._stated()]
