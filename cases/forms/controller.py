"""The form about a retort's controller: where it stands, and what each channel's registers mean."""

import re
from collections.abc import Iterator
from typing import Any

from django import forms

from cases.forms.loggers import channel_words
from cases.forms.staff import Signed
from retort_log.controllers import (
    HOST_LENGTH,
    LAST_DEVICE,
    LAST_PORT,
    SLOWEST_S,
    Stated,
)
from retort_log.logger_files.channels import CHANNELS
from retort_log.logger_units import kept_units_of, unit_words
from retort_log.modbus.registers import (
    KINDS,
    LAST_REGISTER,
    TYPES,
    UNITS,
    ChannelError,
    RegisterChannel,
    from_plain,
)
from retort_log.models import Controller

TYPE_WORDS = {
    "int16": "16 bits, signed",
    "uint16": "16 bits, unsigned",
    "int32": "32 bits, signed",
    "uint32": "32 bits, unsigned",
    "float32": "32 bits, floating point",
}
# Registers can say only these; there is no sense in asking for the others.
NAMES = tuple(name for name in CHANNELS if kept_units_of(name, UNITS))
_WHOLE = re.compile(r"[+-]?[0-9]{1,10}")


class ChannelForm(forms.Form):
    """One channel; without a register it is not asked for."""

    register = forms.IntegerField(
        label="Register", min_value=0, max_value=LAST_REGISTER, required=False
    )
    unit = forms.ChoiceField(label="Unit", required=False)
    kind = forms.ChoiceField(label="Kind", choices=[(kind, kind) for kind in KINDS], required=False)
    type = forms.ChoiceField(
        label="Stored as", choices=[(t, TYPE_WORDS[t]) for t in TYPES], required=False
    )
    scale = forms.DecimalField(label="Times", max_digits=12, required=False)
    offset = forms.DecimalField(label="Plus", max_digits=12, required=False)
    error_values = forms.CharField(label="Raw values of a fault", max_length=100, required=False)
    swap_bytes = forms.BooleanField(label="Bytes swapped", required=False)
    swap_words = forms.BooleanField(label="Words swapped", required=False)

    def __init__(self, data: Any = None, *, name: str, stands: RegisterChannel | None) -> None:
        super().__init__(data, prefix=name)
        self.name, self.title = name, channel_words(name)
        units = kept_units_of(name, UNITS)
        self.fields["unit"].choices = [(unit, unit_words(unit)) for unit in units]  # type: ignore[attr-defined]
        self.initial = {"scale": "1", "offset": "0", **(_initial(stands) if stands else {})}
        self.is_used = stands is not None

    @property
    def is_open(self) -> bool:
        """True where it is shown at once: what is asked, what is wrong, and both chambers."""
        typed = self.is_bound and bool(self["register"].value())
        return self.is_used or typed or bool(self.errors) or self.name in ("primary", "secondary")

    def clean(self) -> dict[str, Any]:
        """Without a register nothing else of the channel counts."""
        data = super().clean() or {}
        if data.get("register") is None and "register" not in self.errors:
            self.errors.clear()
            return {}
        if self.errors:
            return data
        faults = [one for one in re.split(r"[\s,;]+", data["error_values"]) if one]
        if not all(_WHOLE.fullmatch(one) for one in faults):
            self.add_error("error_values", "Whole numbers, with commas between them.")
            return data
        stated = {key: value for key, value in data.items() if value not in (None, "")}
        try:
            data["channel"] = from_plain({**stated, "name": self.name, "error_values": faults})
        except ChannelError as error:
            self.add_error(None, str(error))
        return data


class ControllerForm(Signed):
    """Where the controller stands, how often it is asked, and whether; its channels beside it."""

    host = forms.CharField(
        label="Address",
        max_length=HOST_LENGTH,
        help_text="On the house's own network, for instance 192.168.0.20. No other is asked, so "
        "that nobody can make this program knock at machines of others.",
    )
    port = forms.IntegerField(label="Port", min_value=1, max_value=LAST_PORT)
    device_id = forms.IntegerField(label="Device", min_value=0, max_value=LAST_DEVICE)
    every_s = forms.IntegerField(label="Every … seconds", min_value=1, max_value=SLOWEST_S)
    is_on = forms.BooleanField(label="It is asked", required=False)

    def __init__(
        self,
        data: Any = None,
        *,
        stands: Controller | None,
        channels: dict[str, RegisterChannel],
        is_trial: bool = False,
    ) -> None:
        super().__init__(data)
        row = stands or Controller()
        told = ("host", "port", "device_id", "every_s", "is_on")
        self.initial = {name: getattr(row, name) for name in told}
        self.channels = [ChannelForm(data, name=name, stands=channels.get(name)) for name in NAMES]
        if is_trial:  # nothing is recorded, so that nothing is signed
            self.fields["own_pin"].required = False

    def is_valid(self) -> bool:
        """The form and every channel of it."""
        return all([super().is_valid(), *(channel.is_valid() for channel in self.channels)])

    def stated(self) -> Stated:
        """Return what was stated."""
        data = self.cleaned_data
        return Stated(
            host=data["host"].strip(),
            port=data["port"],
            device_id=data["device_id"],
            every_s=data["every_s"],
            channels=tuple(self._channels()),
            is_on=data["is_on"],
        )

    def _channels(self) -> Iterator[RegisterChannel]:
        for form in self.channels:
            if channel := form.cleaned_data.get("channel"):
                yield channel


def _initial(channel: RegisterChannel) -> dict[str, Any]:
    return {
        "register": channel.register,
        "unit": channel.unit,
        "kind": channel.kind,
        "type": channel.type,
        "scale": f"{channel.scale:f}",
        "offset": f"{channel.offset:f}",
        "error_values": ", ".join(map(str, channel.error_values)),
        "swap_bytes": channel.swap_bytes,
        "swap_words": channel.swap_words,
    }
