"""Fields that several forms share: scans, PINs, choices of places, and times of the facility."""

import re
import zoneinfo
from datetime import datetime
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.dateparse import parse_datetime

from crematory.fields import DateTimeInput

LOCAL_FORM = "%Y-%m-%dT%H:%M"
# Slips of the finger; and a clock can be set back no further than its first year.
EARLIEST_YEAR, LATEST_YEAR = 1900, 2200
WRITTEN = re.compile(
    r"(?P<day>[0-9]{4}-[0-9]{2}-[0-9]{2})[T ](?P<time>[0-9]{2}:[0-9]{2}(?::[0-9]{2})?)"
    r"(?: *(?P<zone>[A-Za-z]+))?"
)


class ScanField(forms.CharField):
    """A field that a scanner types into; the Enter at its end moves on and does not send."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=200, **kwargs)

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        return super().widget_attrs(widget) | {
            "data-scan": "",
            "autocomplete": "off",
            "autocapitalize": "off",
            "spellcheck": "false",
        }


class PinField(forms.CharField):
    """A signing PIN: never shown, never kept, never suggested."""

    widget = forms.PasswordInput

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=12, strip=True, **kwargs)

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        return super().widget_attrs(widget) | {"inputmode": "numeric", "autocomplete": "off"}


class LocalMomentField(forms.Field):
    """A time by the clock of the facility (the zone in force); answers an aware datetime.

    A time that the clocks skipped is refused. One that they struck twice is asked again, with
    the zone named behind it ("2026-11-01T01:30 MST").
    """

    widget: forms.Widget = DateTimeInput(attrs={"type": "datetime-local"}, format=LOCAL_FORM)

    def prepare_value(self, value: Any) -> Any:
        return timezone.localtime(value) if isinstance(value, datetime) else value

    def has_changed(self, initial: Any, data: Any) -> bool:
        """Compare to the minute, which is all that the field shows."""
        shown = timezone.localtime(initial).strftime(LOCAL_FORM) if initial else ""
        return shown != (data or "")[: len("2026-11-01T01:30")]

    def to_python(self, value: Any) -> datetime | None:
        text = (value or "").strip()
        if not text:
            return None
        match = WRITTEN.fullmatch(text)
        try:
            local = parse_datetime(f"{match['day']} {match['time']}") if match else None
        except ValueError:
            local = None
        if match is None or local is None:
            raise ValidationError(
                "Write the day and the time, for example 2026-03-01 14:05.", code="invalid"
            )
        if not EARLIEST_YEAR <= local.year <= LATEST_YEAR:
            raise ValidationError("Look at the year again.", code="year")
        return self._aware(local, (match["zone"] or "").upper())

    def _aware(self, local: datetime, zone_name: str) -> datetime:
        zone = timezone.get_current_timezone()
        both = [local.replace(tzinfo=zone, fold=fold) for fold in (0, 1)]
        real = [at for at in both if _exists(at, zone)]
        if not real:
            raise ValidationError(
                f"There was no {local:%H:%M} on this day: the clocks were set forward. "
                "Look at the time again.",
                code="skipped",
            )
        named = [at for at in real if at.tzname() == zone_name] if zone_name else real
        if not named:
            names = " or ".join(sorted({str(at.tzname()) for at in real}))
            raise ValidationError(f"The zone here at this time is {names}.", code="zone")
        if len({at.utcoffset() for at in named}) > 1:
            self.widget = forms.TextInput(attrs={"autocomplete": "off"})
            first, second = (at.tzname() for at in real)
            raise ValidationError(
                f"{local:%H:%M} was struck twice on this day: the clocks were set back. "
                f"Write the zone behind it: {first} for the first, {second} for the second.",
                code="struck_twice",
                params={"first": real[0], "second": real[1]},
            )
        return named[0]


def _exists(at: datetime, zone: Any) -> bool:
    """False for a wall-clock time that the zone skipped."""
    utc = zoneinfo.ZoneInfo("UTC")
    return at.astimezone(utc).astimezone(zone).replace(tzinfo=None) == at.replace(tzinfo=None)
