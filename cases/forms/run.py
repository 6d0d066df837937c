"""A manager's answer to one finding on a run's record."""

from django import forms

from cases.forms.base import SignedForm
from retort_log.settling import REASON_LENGTH


class SettleFindingForm(SignedForm):
    """What was found out, and what follows from it; signed."""

    reason = forms.CharField(
        label="What you found out, and what follows from it",
        max_length=REASON_LENGTH,
        widget=forms.Textarea(attrs={"rows": 4, "autofocus": True}),
    )
