"""Forms about the upkeep of a retort: what was done, and how often it is due."""

from django import forms

from cases.forms.fields import LocalMomentField
from cases.forms.staff import Signed
from retort_log.models import UpkeepRule
from retort_log.upkeep import Asked, Done
from retort_log.upkeep_due import Every

SUBJECT_HELP = "Which one, where the retort has more than one: “secondary”, for instance."
THERMOCOUPLE = UpkeepRule.Kind.THERMOCOUPLE
# Letter designations of ASTM E230.
TYPES = [("", "not said"), *((letter, letter) for letter in "KNRSB")]


class _UpkeepForm(Signed):
    kind = forms.ChoiceField(label="What", choices=UpkeepRule.Kind.choices)
    subject = forms.CharField(
        label="Which one", max_length=60, required=False, help_text=SUBJECT_HELP
    )


class DoneForm(_UpkeepForm):
    """Something that was done to a retort, with its result."""

    done_at = LocalMomentField(label="Done at")
    done_by = forms.CharField(
        label="Done by", max_length=200, help_text="The person, and the firm where one came."
    )
    passed = forms.TypedChoiceField(
        label="Result",
        choices=[("yes", "in order"), ("no", "not in order")],
        coerce=lambda value: value == "yes",
    )
    note = forms.CharField(
        label="What was found",
        max_length=2000,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Needed where it was not in order.",
    )
    certificate = forms.CharField(label="Certificate or report", max_length=60, required=False)
    thermocouple = forms.ChoiceField(
        label="Type of thermocouple",
        choices=TYPES,
        required=False,
        help_text="For a calibration: the letter of ASTM E230.",
    )
    special = forms.BooleanField(label="Special tolerance", required=False)

    def done(self) -> Done:
        """Return what was stated."""
        stated = self.cleaned_data
        figures = {"certificate": stated["certificate"]} if stated["certificate"] else {}
        if stated["kind"] == THERMOCOUPLE and stated["thermocouple"]:
            figures["type"] = stated["thermocouple"]
            figures["special"] = "yes" if stated["special"] else "no"
        return Done(
            kind=stated["kind"],
            subject=stated["subject"],
            done_at=stated["done_at"],
            done_by=stated["done_by"],
            passed=stated["passed"],
            note=stated["note"],
            figures=figures,
        )


class RuleForm(_UpkeepForm):
    """How often something is due; with no figure the rule is taken back."""

    every_days = forms.IntegerField(
        label="Every … days", min_value=1, max_value=20000, required=False
    )
    every_hours = forms.IntegerField(
        label="Every … burner hours", min_value=1, max_value=1000000, required=False
    )
    every_cycles = forms.IntegerField(
        label="Every … cycles", min_value=1, max_value=1000000, required=False
    )
    blocks = forms.BooleanField(
        label="While it is overdue nobody is charged in this retort", required=False
    )
    source = forms.CharField(
        label="Who asks for it",
        max_length=200,
        required=False,
        help_text="The permit, the maker's manual, or the house.",
    )

    def asked(self) -> Asked:
        """Return what was stated."""
        stated = self.cleaned_data
        return Asked(
            kind=stated["kind"],
            subject=stated["subject"],
            every=Every(stated["every_days"], stated["every_hours"], stated["every_cycles"]),
            blocks=stated["blocks"],
            source=stated["source"],
        )
