"""The form for a ground on which the law may lift the wait."""

from typing import Any

from django import forms

from cases import waits
from cases.forms.base import SignedForm
from cases.forms.steps import lines
from cases.law.words import GROUNDS
from cases.models import Case, Document


class WaitGroundForm(SignedForm):
    """One ground of those that the law of the case knows, claimed or taken back."""

    ground = forms.ChoiceField(label="Ground", widget=forms.RadioSelect)
    is_claimed = forms.TypedChoiceField(
        label="It is",
        choices=[("True", "claimed"), ("False", "taken back")],
        coerce=lambda value: value == "True",
        initial="True",
        widget=forms.RadioSelect,
    )
    basis = lines("Who stated it, and on what")
    document = forms.ModelChoiceField(
        Document.objects.none(),
        label="Its paper on file",
        required=False,
        help_text="The written waiver, order or certificate, filed before.",
    )

    def __init__(self, *args: Any, case: Case, **kwargs: Any) -> None:
        super().__init__(*args, facility=case.facility, **kwargs)
        known = waits.grounds_known(case)
        ground, document = self.fields["ground"], self.fields["document"]
        assert isinstance(ground, forms.ChoiceField)
        assert isinstance(document, forms.ModelChoiceField)
        ground.choices = [(key, GROUNDS[key]) for key in known]
        document.queryset = Document.objects.filter(case=case, replaced_by__isnull=True)
        if len(known) == 1:
            self.initial.setdefault("ground", known[0])
