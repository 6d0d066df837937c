"""How a time of death is typed: to the minute, between two times, or only the day.

A time that the clocks showed twice is asked about in plain words; who does not know which hour it
was says so, and then both count.
"""

from datetime import datetime
from typing import Any

from django import forms

from cases import death
from cases.deadlines import TimeDoesNotExist
from cases.forms.fields import LocalMomentField
from cases.models import Case
from crematory import clock
from crematory.models import Facility

Known = Case.DeathKnown
HOURS = [("first", "the first"), ("second", "the second"), ("either", "nobody knows which")]
NEEDED = {
    "exact": ("died_at",),
    "range": ("died_at", "died_at_latest"),
    "date": ("died_on",),
}
FIELDS = ("died_known_as", "died_on", "died_at", "died_hour", "died_at_latest")
MISSING = {
    "died_at": "Write the day and the time.",
    "died_at_latest": "Write the latest time that is possible.",
    "died_on": "Write the day.",
}


def hidden_hour() -> forms.ChoiceField:
    """Which of two hours; shown only where it is asked."""
    return forms.ChoiceField(
        label="Which hour was it?", choices=HOURS, required=False, widget=forms.HiddenInput
    )


def death_fields() -> dict[str, forms.Field]:
    """Return the fields of a time of death, in their order."""
    day = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    return {
        "died_known_as": forms.ChoiceField(
            label="Time of death is known",
            choices=Known.choices,
            initial=Known.EXACT,
            required=False,
            widget=forms.RadioSelect,
        ),
        "died_on": forms.DateField(label="Day of death", required=False, widget=day),
        "died_at": LocalMomentField(label="Time of death, or the earliest", required=False),
        "died_hour": hidden_hour(),
        "died_at_latest": LocalMomentField(label="Latest time of death", required=False),
    }


class DeathMixin:
    """Joins the fields to one `Death`, in `cleaned_data["death"]`."""

    facility: Facility
    fields: dict[str, forms.Field]
    errors: Any
    add_error: Any
    _errors: Any

    def join_death(self, data: dict[str, Any]) -> "death.Death | None":
        """Return what was typed as one time of death; errors stand at their fields."""
        known = data.get("died_known_as") or Known.EXACT
        data["died_known_as"] = known
        for name in ("died_at", "died_at_latest", "died_on"):
            if name not in NEEDED[known]:
                self._errors.pop(name, None)  # what is not asked for is not judged
        stated = self._stated(data, known)
        if stated is not None:
            self._check_future(stated)
        return None if self._wrong() else stated

    def _wrong(self) -> bool:
        return any(name in self.errors for name in FIELDS)

    def _stated(self, data: dict[str, Any], known: str) -> "death.Death | None":
        if known == Known.RANGE:
            self._take_outer(data)
        elif known == Known.EXACT and (both := self._twice("died_at")):
            return self._which_hour(data, both)
        for name in NEEDED[known]:
            if data.get(name) is None and name not in self.errors:
                self.add_error(name, MISSING[name])
        if self._wrong():
            return None
        if known == Known.DATE:
            return self._day(data["died_on"])
        if known == Known.EXACT or data["died_at"] == data["died_at_latest"]:
            return death.exactly(data["died_at"])
        if data["died_at_latest"] < data["died_at"]:
            self.add_error("died_at_latest", "The latest time lies before the earliest one.")
            return None
        return death.between(data["died_at"], data["died_at_latest"])

    def _day(self, day: Any) -> "death.Death | None":
        try:
            return death.on_day(day, self.facility.zone)
        except (TimeDoesNotExist, OverflowError):
            self.add_error("died_on", "There was no such day here. Look at the day again.")
            return None

    def _twice(self, name: str) -> tuple[datetime, datetime] | None:
        """Return both times where the typed one was shown twice and no zone stands behind it."""
        for error in self.errors.as_data().get(name, []):
            if error.code == "struck_twice":
                return error.params["first"], error.params["second"]
        return None

    def _take_outer(self, data: dict[str, Any]) -> None:
        """A range needs no question: of two hours the outer one counts."""
        for name, which in (("died_at", 0), ("died_at_latest", 1)):
            if both := self._twice(name):
                del self._errors[name]
                data[name] = both[which]

    def _which_hour(
        self, data: dict[str, Any], both: tuple[datetime, datetime]
    ) -> "death.Death | None":
        """Ask which of the two hours it was, or take the answer."""
        zone, answer = self.facility.zone, data.get("died_hour")
        first, second = (at.astimezone(zone) for at in both)
        field = self.fields["died_hour"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [
            ("first", f"the first {first:%H:%M}, {first:%Z}"),
            ("second", f"the second {second:%H:%M}, {second:%Z}, an hour later"),
            ("either", "nobody knows which: then both count"),
        ]
        field.widget = forms.RadioSelect(choices=field.choices)
        del self._errors["died_at"]
        if answer == "either":
            return death.between(*both)
        if answer in ("first", "second"):
            return death.exactly(both[answer == "second"])
        self.add_error(
            "died_hour",
            f"In this night the clocks went back and showed {first:%H:%M} twice. "
            "Say which of the two it was.",
        )
        return None

    def _check_future(self, stated: "death.Death") -> None:
        now = clock.now()
        if stated.earliest > now:
            name = "died_on" if stated.known_as == Known.DATE else "died_at"
            self.add_error(name, "The time of death lies in the future. Correct it.")
        elif stated.known_as == Known.RANGE and stated.latest and stated.latest > now:
            name = "died_at_latest" if "died_at_latest" in self.fields else "died_at"
            self.add_error(name, "This lies in the future. Correct it.")
