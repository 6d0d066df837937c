"""The form for what the law makes depend on an answer, and for a time agreed in writing."""

from typing import Any

from django import forms

from cases import law_questions, seen
from cases.forms.base import SignedForm
from cases.forms.fields import LocalMomentField
from cases.forms.seen import SeenForm
from cases.forms.steps import lines, text
from cases.law_acts import Told
from cases.law_questions import Question
from cases.models import Case, Document, LawAnswer

ANSWERS = [("True", "Yes"), ("False", "No")]


def _yes_or_no(question: Question) -> forms.TypedChoiceField:
    return forms.TypedChoiceField(
        label=question.words,
        help_text=question.citation,
        choices=ANSWERS,
        coerce=lambda value: value == "True",
        empty_value=None,
        required=False,
        widget=forms.RadioSelect,
    )


class LawQuestionsForm(SeenForm, SignedForm):
    """Every question that the law of the case asks; only what is answered anew is recorded."""

    agreed_at = LocalMomentField(
        label="Time of cremation agreed in writing",
        required=False,
        help_text="With its paper below. The hours of the law count from it.",
    )
    informant = text("Who answers", 200)
    basis = lines("On what it rests", required=False)
    document = forms.ModelChoiceField(
        Document.objects.none(), label="Its paper on file", required=False
    )

    def __init__(self, *args: Any, case: Case, **kwargs: Any) -> None:
        super().__init__(*args, facility=case.facility, **kwargs)
        self.case = case
        self.asked = law_questions.asked(case.law)
        then = self.show(seen.of_law(case))
        rows = [row for row in then if isinstance(row, LawAnswer)]
        self.earlier = law_questions.standing(case, rows)
        for question in self.asked:
            self.fields[question.key] = _yes_or_no(question)
            if question.key in self.earlier:
                self.initial.setdefault(question.key, str(self.earlier[question.key].is_so))
        if law_questions.agreed_limit(case.law) is None:
            del self.fields["agreed_at"]
        if not self.asked:
            del self.fields["basis"]
        document = self.fields["document"]
        assert isinstance(document, forms.ModelChoiceField)
        document.queryset = Document.objects.filter(case=case, replaced_by__isnull=True)
        first = [*(question.key for question in self.asked), "agreed_at"]
        self.order_fields(["token", "seen", *first, "informant", "basis", "document"])

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if self.errors:
            return data
        if not self._changed(data) and not data.get("agreed_at"):
            self.add_error(None, "Nothing was answered, or nothing otherwise than before.")
        if self._changed(data) and not data.get("basis"):
            self.add_error("basis", "Say on what the answer rests.")
        if data.get("agreed_at") and not data.get("document"):
            self.add_error("document", "Choose the paper in which the time is agreed.")
        return data

    def _changed(self, data: dict[str, Any]) -> dict[str, bool]:
        """The answers that differ from those that stand."""
        stand = {key: row.is_so for key, row in self.earlier.items()}
        given = {question.key: data.get(question.key) for question in self.asked}
        return {k: v for k, v in given.items() if v is not None and stand.get(k) is not v}

    def told(self) -> Told:
        """Return what the act takes; the form must be valid."""
        data = self.cleaned_data
        return Told(
            informant=data["informant"],
            basis=data.get("basis", ""),
            answers=self._changed(data),
            agreed_at=data.get("agreed_at"),
            document=data["document"],
        )
