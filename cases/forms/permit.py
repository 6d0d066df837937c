"""The form of a permit to operate: each value with its unit and where it was read.

A published profile fills it in; what the house changes counts as read by the house.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django import forms
from django.forms.boundfield import BoundField

from cases.forms.staff import Signed, day_field
from retort_log.finding import symbol
from retort_log.models import PermitToOperate
from retort_log.permit_rules import Averaging, Mark, PermitRules
from retort_log.permit_terms import IN_SENSE, LONGEST_WINDOW_MIN, SUBSTANCES, problems, to_terms
from retort_log.permits import Stated, rules_of

Terms = Mapping[str, Any]
KINDS = {
    "secondary_minimum": "Least temperature of the secondary chamber",
    "charging": "Temperature from which a person may be charged",
    "residence": "Least residence time of the gas",
    "charge_rate": "Most that may be charged",
    "oxygen_minimum": "Least oxygen",
    "recording_interval": "Longest time between two readings",
    "retention": "How long records are kept",
}
AVERAGING = {
    Averaging.INSTANT: "every reading counts",
    Averaging.TIME: "mean over time",
    Averaging.SAMPLES: "mean of the samples",
}


@dataclass(frozen=True)
class Row:
    """One value of the permit as it stands on the page: its words and its fields."""

    words: str
    fields: list[BoundField]


class PermitForm(Signed):
    """A permit as its house states it; `stated` gives what the act takes."""

    number = forms.CharField(label="Number of the permit", max_length=60)
    source = forms.CharField(
        label="Where it was read, and when",
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    expires_on = day_field("Valid until", required=False)
    averaging = forms.ChoiceField(label="How the minimum is judged", choices=AVERAGING.items())
    averaging_min = forms.IntegerField(
        label="Minutes of the mean", min_value=1, max_value=LONGEST_WINDOW_MIN, required=False
    )
    charging_chamber = forms.ChoiceField(
        label="In which chamber", choices=[("secondary", "secondary"), ("primary", "primary")]
    )
    hours_from = forms.TimeField(label="Charging allowed from", required=False)
    hours_until = forms.TimeField(label="until", required=False)
    hours_citation = forms.CharField(label="Where it stands", max_length=300, required=False)
    opacity_is_breach = forms.BooleanField(
        label="The opacity limit itself is a breach (“10 % or more”)", required=False
    )

    def __init__(
        self, *args: Any, permit: PermitToOperate, profile: PermitRules | None, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.profile = to_terms(profile) if profile else {}
        self.old = to_terms(rules_of(permit))
        for name in KINDS:
            self._add_limit(name, IN_SENSE[name])
        self._add_limit("opacity", IN_SENSE["opacity"])
        self._add_limit("exception", IN_SENSE["opacity"])
        for name in SUBSTANCES:
            self._add_limit(_key(name), IN_SENSE["concentrations"])
            self.fields[f"{_key(name)}_reference"] = _number("at oxygen, %")
            self.fields[f"{_key(name)}_ambient"] = _number("oxygen of air, %")
            self.fields[f"{_key(name)}_over"] = forms.IntegerField(
                label="mean over, min", min_value=1, max_value=LONGEST_WINDOW_MIN, required=False
            )
        first = {"number": permit.number, "source": permit.source, "expires_on": permit.expires_on}
        self.initial = {**first, **_typed(self.profile or self.old), **self.initial}
        if self.profile:
            for name in ("charging", "recording_interval"):
                if name not in self.profile:  # the profile does not say it, the house did
                    self.initial.update(_limit_typed(name, self.old[name]))
        self.order_fields([*(name for name in self.fields if name != "own_pin"), "own_pin"])

    def rows(self) -> Iterator[Row]:
        """Yield each value of the permit with its fields, for the page."""
        for name, words in KINDS.items():
            yield Row(words, [*self._of(name), *self._beside(name)])
        hours = ("hours_from", "hours_until", "hours_citation")
        yield Row("Hours of operation", [self[name] for name in hours])
        yield Row("Opacity, six-minute mean", [*self._of("opacity"), self["opacity_is_breach"]])
        yield Row("Opacity, one mean an hour", self._of("exception"))

    def substances(self) -> Iterator[Row]:
        """Yield each substance of the stack with its fields."""
        for name in SUBSTANCES:
            key = _key(name)
            more = (f"{key}_reference", f"{key}_ambient", f"{key}_over")
            yield Row(name, [*self._of(key), *(self[one] for one in more)])

    def first(self) -> list[BoundField]:
        """The fields above the values."""
        return [self[name] for name in ("number", "source", "expires_on")]

    def clean(self) -> dict[str, Any]:
        """Say all that is wrong with the permit, in plain words."""
        data = super().clean() or {}
        if not self.errors:
            for problem in problems(self.terms()):
                self.add_error(None, problem)
        return data

    def terms(self) -> dict[str, Any]:
        """Return the terms that were typed, as `retort_log.permit_terms` reads them."""
        said = self.cleaned_data
        terms: dict[str, Any] = {
            "code": self.profile.get("code") or self.old.get("code") or said["number"],
            "title": said["number"],
            **{name: limit for name in KINDS if (limit := self._limit(name))},
        }
        if "charging" in terms:
            terms["charging"] = {**terms["charging"], "chamber": said["charging_chamber"]}
        if said["averaging"] != Averaging.INSTANT:
            terms["averaging"] = {"kind": said["averaging"], "minutes": said["averaging_min"]}
        if said["hours_from"] or said["hours_until"]:
            terms["hours"] = {
                "from": f"{said['hours_from']:%H:%M}" if said["hours_from"] else "",
                "until": f"{said['hours_until']:%H:%M}" if said["hours_until"] else "",
                "citation": said["hours_citation"],
            }
        if limit := self._limit("opacity"):
            terms["opacity"] = {"limit": limit, "limit_is_breach": said["opacity_is_breach"]}
            if exception := self._limit("exception"):
                terms["opacity"]["exception"] = exception
        if found := {n: one for n in SUBSTANCES if (one := self._concentration(n))}:
            terms["concentrations"] = found
        if notes := (self.profile or self.old).get("notes"):
            terms["notes"] = notes
        return terms

    def stated(self) -> Stated:
        """Return what was stated, for the act."""
        said = self.cleaned_data
        return Stated(said["number"], said["source"], said["expires_on"], self.terms())

    def _add_limit(self, name: str, units: Mapping[str, object]) -> None:
        choices = [(unit, symbol(unit)) for unit in units]
        self.fields[f"{name}_value"] = _number("Value")  # the legend of its row says of what
        self.fields[f"{name}_unit"] = forms.ChoiceField(
            label="Unit", choices=choices, required=False, initial=choices[0][0]
        )
        self.fields[f"{name}_citation"] = forms.CharField(
            label="Where it stands", max_length=300, required=False
        )

    def _of(self, name: str) -> list[BoundField]:
        return [self[f"{name}_{part}"] for part in ("value", "unit", "citation")]

    def _beside(self, name: str) -> list[BoundField]:
        more = {
            "secondary_minimum": ("averaging", "averaging_min"),
            "charging": ("charging_chamber",),
        }
        return [self[one] for one in more.get(name, ())]

    def _limit(self, name: str) -> dict[str, Any] | None:
        """Return one limit; with the source of the profile or the old permit if it is the same."""
        said, key = self.cleaned_data, _key(name)
        value = said[f"{key}_value"]
        if not value:
            return None
        typed = {
            "value": value,
            "unit": said[f"{key}_unit"],
            "citation": said[f"{key}_citation"] or f"Permit {said['number']}",
        }
        for known in (self.profile, self.old):
            there = _limit_in(known, name)
            if there and all(there[key] == typed[key] for key in typed):
                return {key: there[key] for key in there if key != "chamber"}
        return {**typed, "mark": Mark.HOUSE.value}

    def _concentration(self, name: str) -> dict[str, Any] | None:
        limit = self._limit(name)
        if limit is None:
            return None
        said, key = self.cleaned_data, _key(name)
        terms: dict[str, Any] = {"limit": limit}
        for part, term in (
            ("ambient", "ambient_oxygen"),
            ("reference", "reference_oxygen"),
            ("over", "over_min"),
        ):
            if said[f"{key}_{part}"]:
                terms[term] = said[f"{key}_{part}"]
        return terms


def _key(name: str) -> str:
    """Return how the fields of a limit begin: a name of a substance may hold a stroke."""
    return name.replace("/", "")


def _number(label: str) -> forms.CharField:
    """A number as it is written: its decimals are kept, and the permit's own reader judges it."""
    attrs = {"inputmode": "decimal", "autocomplete": "off"}
    return forms.CharField(
        label=label, max_length=20, required=False, widget=forms.TextInput(attrs=attrs)
    )


def _limit_in(terms: Terms, name: str) -> dict[str, str] | None:
    """Return a limit of the terms by the name of its fields."""
    if name == "opacity":
        return (terms.get("opacity") or {}).get("limit")
    if name == "exception":
        return (terms.get("opacity") or {}).get("exception")
    if name in SUBSTANCES:
        return ((terms.get("concentrations") or {}).get(name) or {}).get("limit")
    return terms.get(name)


def _typed(terms: Terms) -> dict[str, Any]:
    """Return what stands in the form's fields for these terms."""
    typed: dict[str, Any] = {"averaging": Averaging.INSTANT.value, "charging_chamber": "secondary"}
    for name in (*KINDS, "opacity", "exception", *SUBSTANCES):
        typed |= _limit_typed(name, _limit_in(terms, name))
    if averaging := terms.get("averaging"):
        typed |= {"averaging": averaging["kind"], "averaging_min": averaging["minutes"]}
    if charging := terms.get("charging"):
        typed["charging_chamber"] = charging.get("chamber", "secondary")
    if hours := terms.get("hours"):
        typed |= {f"hours_{part}": hours[part] for part in ("from", "until", "citation")}
    typed["opacity_is_breach"] = bool((terms.get("opacity") or {}).get("limit_is_breach"))
    for name, found in (terms.get("concentrations") or {}).items():
        key = _key(name)
        typed[f"{key}_reference"] = found.get("reference_oxygen", "")
        typed[f"{key}_ambient"] = found.get("ambient_oxygen", "")
        typed[f"{key}_over"] = found.get("over_min", "")
    return typed


def _limit_typed(name: str, limit: Mapping[str, str] | None) -> dict[str, str]:
    parts = ("value", "unit", "citation") if limit else ()
    return {f"{_key(name)}_{part}": limit[part] for part in parts if limit}
