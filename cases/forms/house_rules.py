"""Forms about the rules of the house: ask more than the law, or take it back."""

from dataclasses import fields
from datetime import date
from typing import Any

from django import forms
from django.utils.datastructures import MultiValueDict

from cases import house_rules, law
from cases.forms.base import new_token, typed_in
from cases.forms.staff import Signed
from cases.law.shape import TABLES
from crematory import clock
from crematory.models import Facility


class _RuleForm(Signed):
    token = forms.CharField(max_length=43, widget=forms.HiddenInput)
    path = forms.CharField(max_length=100, widget=forms.HiddenInput)

    is_kept = False  # True while it shows what was typed before and was never sent

    def __init__(self, *args: Any, path: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial.update(token=new_token(), path=path)

    def keep(self, data: MultiValueDict[str, str] | None) -> None:
        """Show, unbound, what was typed on this page about this value before the session ended."""
        if self.is_bound or data is None or data.get("path") != self.initial["path"]:
            return
        kept = typed_in(self, data)
        kept["token"] = kept.get("token") or new_token()
        self.initial.update(kept)
        self.is_kept = True


class TakeBackForm(_RuleForm):
    """Take back what the house asks beyond the law: nothing but the signature."""


class AskMoreForm(_RuleForm):
    """One value of the law that the house asks more of; which one decides how it is typed."""

    answered_by = forms.CharField(
        label="Who of the local authority answered",
        max_length=200,
        required=False,
        help_text="Name or office, and how the answer came.",
    )
    answered_on = forms.DateField(
        label="Answered on", required=False, widget=forms.DateInput(attrs={"type": "date"})
    )

    def __init__(
        self, *args: Any, path: str, facility: Facility, is_answer: bool, **kwargs: Any
    ) -> None:
        super().__init__(*args, path=path, **kwargs)
        self.facility, self.is_answer = facility, is_answer
        if not is_answer:
            del self.fields["answered_by"], self.fields["answered_on"]
        if not path.endswith(".adopt"):
            self.fields["value"] = value_field(path, facility)
            if is_answer:
                self.fields["value"].help_text = "0 where the authority says that there is no wait."
        self.order_fields(["value", "answered_by", "answered_on", "own_pin"])

    def clean_answered_on(self) -> date | None:
        answered: date | None = self.cleaned_data["answered_on"]
        if answered and answered > clock.now().astimezone(self.facility.zone).date():
            raise forms.ValidationError("The day lies in the future. Correct it.")
        return answered

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if self.is_answer and not (data.get("answered_by") and data.get("answered_on")):
            self.add_error(None, "Say who of the local authority answered, and on which day.")
        return data


def value_field(path: str, facility: Facility) -> forms.Field:
    """Return the field in which a value of this path is typed; it answers as the law takes it."""
    table, name = path.split(".")[0], path.split(".")[-1]
    if path == "document.add":
        return forms.MultipleChoiceField(
            label="Papers",
            choices=list(law.PAPERS.items()),
            widget=forms.CheckboxSelectMultiple,
        )
    scale = _scale(path, facility)
    if scale:
        choices = [(word, word.replace("_", " ")) for word in scale]
        return forms.ChoiceField(label="The house asks", choices=choices)
    rule = next(t.rule for t in TABLES if t.name == table)
    meta = next(f for f in fields(rule) if f.name == name).metadata
    unit = law.UNITS.get(name, "").strip()
    label = f"The house asks ({unit})" if unit else "The house asks"
    if meta["kind"] == "measure":
        return forms.RegexField(
            r"^-?[0-9]{1,6}(\.[0-9]{1,6})?$", label=label, help_text="A number, such as 38."
        )
    if (table, name) == ("retention", "years"):
        return YearsField(label=label, help_text="A number of years, or “permanent”.")
    return forms.IntegerField(label=label, min_value=0)


class YearsField(forms.CharField):
    """Years, or for ever."""

    def clean(self, value: Any) -> Any:
        text = super().clean(value).strip().casefold()
        if text == "permanent":
            return text
        if not text.isascii() or not text.isdigit() or len(text) > 4:
            raise forms.ValidationError("Write a number of years, or “permanent”.")
        return int(text)


def _scale(path: str, facility: Facility) -> list[str]:
    """Return the words that may be asked instead, where the value is a word."""
    rules = law.jurisdiction(facility.jurisdiction)
    offer = next((o for o in law.offers(rules) if o.path == path), None)
    words = offer.may.split(" or ") if offer and path.endswith(("rule", "quorum", "lesser")) else []
    return words


def is_answer(path: str, facility: Facility) -> bool:
    """True where a value stands for the local authority's answer to what is unknown."""
    return house_rules.needs_answer(facility, path)
