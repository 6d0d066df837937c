"""Forms about loggers' files: bringing one, and what only a person can say about it."""

import hashlib
from collections.abc import Mapping as Stated
from dataclasses import replace
from datetime import timedelta
from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo, available_timezones

from django import forms
from django.utils.datastructures import MultiValueDict

from cases.forms.base import typed_in
from cases.forms.fields import LocalMomentField
from chain_of_custody import uploads
from crematory import clock
from retort_log.logger_acts import LOGGER_NAME_LENGTH
from retort_log.logger_files import (
    Column,
    Mapping,
    MappingError,
    Question,
    Unanswered,
    Understanding,
)
from retort_log.logger_files.channels import CHANNELS
from retort_log.logger_units import UNITS, unit_words, unsuited

NOT_TAKEN = "-"
CHOOSE = ("", "Choose")
CHANNEL_WORDS = {
    "primary": "primary chamber",
    "secondary": "secondary chamber",
    "stack": "stack temperature",
    "oxygen": "oxygen",
    "co": "carbon monoxide",
    "opacity": "opacity",
    "flow": "flow of flue gas",
    "draft": "draft",
    "burner_kw": "burner power",
}
REPEATED = [
    CHOOSE,
    ("first", "the first: before the clocks went back"),
    ("second", "the second: after the clocks went back"),
    ("ask", "nobody knows: leave these lines out"),
]
LOOK_AGAIN = (
    "You changed how the file is read. Look at what it says now, and take it in if it is right."
)


def channel_words(name: str) -> str:
    """Return what a channel measures, for people."""
    return CHANNEL_WORDS.get(name, name.replace("_", " "))


class BringForm(forms.Form):
    """A file, and of which logger it is; `loggers` are the names that the retort has."""

    logger = forms.ChoiceField(label="Logger", required=False)
    name = forms.CharField(
        label="Name of a new logger",
        max_length=LOGGER_NAME_LENGTH,
        required=False,
        help_text="As the house calls it, for instance “panel recorder”.",
    )
    file = forms.FileField(
        label="File",
        error_messages={
            "required": "Choose the file that the logger wrote.",
            "empty": "The file is empty. Export it from the logger again.",
        },
        widget=forms.FileInput(attrs={"accept": ".csv,.txt,.tsv,.log,text/csv,text/plain"}),
    )

    def __init__(self, *args: Any, loggers: list[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if loggers:
            known = [(name, name) for name in loggers]
            self.fields["logger"].choices = [("", "a new one"), *known]  # type: ignore[attr-defined]
            # Which of several it is, nobody can tell from here.
            self.initial.setdefault("logger", loggers[0] if len(loggers) == 1 else "")
        else:
            del self.fields["logger"]
            self.fields["name"].label = "Name of the logger"
        most = uploads.MAX_BYTES // 1024 // 1024
        self.fields["file"].help_text = f"A CSV or text file of up to {most} MB."

    def clean(self) -> dict[str, Any]:
        """A logger must be chosen or named."""
        data = super().clean() or {}
        name = " ".join((data.get("logger") or data.get("name") or "").split())
        if not name and "name" not in self.errors:
            self.add_error("name", "Name the logger, so that its next file is known again.")
        return {**data, "name": name}


class LookForm(forms.Form):
    """What only a person can say about a file. `remembered` is how its logger's last was read."""

    time_column = forms.ChoiceField(required=False, widget=forms.RadioSelect)
    date_order = forms.ChoiceField(required=False, widget=forms.RadioSelect)
    zone = forms.ChoiceField(required=False)
    start = LocalMomentField(required=False)
    elapsed_unit = forms.ChoiceField(required=False, widget=forms.RadioSelect)
    decimal = forms.ChoiceField(required=False, widget=forms.RadioSelect)
    repeated_hour = forms.ChoiceField(
        label="The clocks went back in this file, and an hour came twice. Which one is it?",
        required=False,
        choices=REPEATED,
    )

    def __init__(
        self,
        data: Stated[str, Any] | None = None,
        *,
        seen: Understanding,
        remembered: Mapping | None = None,
        zone: str,
    ) -> None:
        super().__init__(data)
        self.seen, self.remembered = seen, remembered
        self.asked = {question.code: question for question in self._open()}
        for name in ("time_column", "date_order", "zone", "start", "elapsed_unit", "decimal"):
            if question := self.asked.get(name):
                self._put(name, question, zone)
            else:
                del self.fields[name]
        for column in seen.columns:
            self._put_column(column.index)

    def _open(self) -> list[Question]:
        if self.remembered is None:
            return list(self.seen.questions)
        is_elapsed = self.remembered.time.kind == "elapsed"
        return [Question("start", "When did this log start?")] if is_elapsed else []

    def _put(self, name: str, question: Question, zone: str) -> None:
        field = self.fields[name]
        field.label, field.required = question.text, True
        field.error_messages["required"] = "Answer this: it cannot be told from the file."
        if name == "zone":
            field.choices = _zones(zone)  # type: ignore[attr-defined]
        elif name != "start":
            field.choices = list(question.choices)  # type: ignore[attr-defined]

    def _put_column(self, index: int) -> None:
        column = next(c for c in self.seen.columns if c.index == index)
        channel, unit = column.channel or NOT_TAKEN, column.unit or ""
        known = self._remembered_column(index)
        if self.remembered is not None:
            channel, unit = (known.channel, known.unit) if known else (NOT_TAKEN, unit)
        elif f"channel:{index}" in self.asked:
            channel = ""
        names = [*CHANNELS, *([known.channel] if known and known.channel not in CHANNELS else [])]
        choices = [CHOOSE, *((n, channel_words(n)) for n in names), (NOT_TAKEN, "do not take it")]
        shown = column.heading or f"column {index + 1}"
        self.fields[f"channel:{index}"] = forms.ChoiceField(
            label=f"{shown}: measures",
            choices=choices,
            initial=channel,
            error_messages={"required": "Say what it measures, or that it is not taken."},
            widget=forms.Select(attrs={"class": "form-select"}),
        )
        self.fields[f"unit:{index}"] = forms.ChoiceField(
            label=f"{shown}: unit",
            choices=[CHOOSE, *((one, unit_words(one)) for one in UNITS)],
            initial=unit if unit in UNITS else "",
            required=False,
            widget=forms.Select(attrs={"class": "form-select"}),
        )

    def _remembered_column(self, index: int) -> Column | None:
        columns = self.remembered.columns if self.remembered else ()
        return next((column for column in columns if column.index == index), None)

    def keep(self, kept: MultiValueDict[str, str]) -> None:
        """Show, unbound, what was answered before the session ended."""
        self.initial.update(typed_in(self, kept))

    def first(self) -> dict[str, Any]:
        """Return what the form holds before anybody answered, as if it were sent."""
        return {
            name: self.get_initial_for_field(field, name) for name, field in self.fields.items()
        }

    def clean(self) -> dict[str, Any]:
        """Every column that is taken needs a unit that suits it; and one must be taken."""
        data = super().clean() or {}
        taken = [c.index for c in self.seen.columns if _is_taken(data.get(f"channel:{c.index}"))]
        for index in taken:
            channel, unit = data[f"channel:{index}"], data.get(f"unit:{index}", "")
            words = unsuited(channel, unit)
            if words:
                self.add_error(f"unit:{index}", words if unit else "Choose the unit.")
        names = [data[f"channel:{index}"] for index in taken]
        for index, name in zip(taken, names, strict=True):
            if names.count(name) > 1:
                self.add_error(f"channel:{index}", f"Two columns are the {channel_words(name)}.")
        if not taken and not self.errors:
            self.add_error(None, "No column is taken. Say what at least one of them measures.")
        return data

    def mapping(self) -> Mapping | None:
        """Return how the file is to be read; None, with errors, where that is not settled."""
        if not self.is_valid():
            return None
        try:
            return replace(self._mapping(), repeated_hour=self._repeated())
        except Unanswered as missing:
            for code in missing.codes:
                at = code if code in self.fields else None
                self.add_error(at, "Answer this: it cannot be told from the file.")
        except MappingError as error:
            self.add_error(None, str(error))
        return None

    def _mapping(self) -> Mapping:
        data = self.cleaned_data
        start = data["start"].isoformat() if data.get("start") else None
        if self.remembered is None:
            named = ("time_column", "date_order", "zone", "elapsed_unit", "decimal")
            answers = {name: data[name] for name in named if data.get(name)}
            answers |= {"start": start} if start else {}
            for column in self.seen.columns:
                channel = data[f"channel:{column.index}"]
                answers[f"channel:{column.index}"] = channel if _is_taken(channel) else ""
                answers[f"unit:{column.index}"] = data[f"unit:{column.index}"]
            return self.seen.mapping(answers)
        columns = tuple(
            Column(c.index, c.heading, data[f"channel:{c.index}"], data[f"unit:{c.index}"])
            for c in self.seen.columns
            if _is_taken(data[f"channel:{c.index}"])
        )
        return replace(self.seen.remembered(self.remembered, start), columns=columns)

    def _repeated(self) -> Any:
        return self.cleaned_data.get("repeated_hour") or "ask"

    def questions(self) -> list[forms.BoundField]:
        """The open questions about the whole file."""
        return [self[name] for name in self.fields if ":" not in name and name != "repeated_hour"]


def digest_of(mapping: Mapping) -> str:
    """Return a mark of how a file is read: what is taken must be what was shown."""
    return hashlib.sha256(mapping.to_json().encode()).hexdigest()[:32]


def _is_taken(channel: str | None) -> bool:
    return channel not in (None, "", NOT_TAKEN)


@lru_cache(maxsize=16)
def _zones(here: str) -> list[Any]:
    """The zone here, the same without summer time, UTC, and then all there are."""
    zone = ZoneInfo(here)
    now = clock.now().astimezone(zone)
    standard = (now.utcoffset() or timedelta()) - (now.dst() or timedelta())
    hours = standard // timedelta(hours=1)
    likely = [(here, f"the time here ({here})")]
    if standard == hours * timedelta(hours=1) and hours:
        name = f"Etc/GMT{-hours:+d}"  # their signs are the other way round
        likely.append((name, f"standard time here all year (UTC{hours:+d})".replace("-", "\u2212")))
    likely.append(("UTC", "UTC"))
    rest = sorted(available_timezones() - {name for name, _ in likely})
    return [CHOOSE, *likely, ("All zones", [(name, name.replace("_", " ")) for name in rest])]
