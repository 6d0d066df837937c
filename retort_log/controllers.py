"""The controller of a retort: where it stands and what is asked of it, as a manager states it."""

from dataclasses import dataclass
from typing import Any

from django.db import transaction

from chain_of_custody import trail
from crematory import clock
from crematory.models import Role
from crematory.signatures import Signature
from retort_log import live
from retort_log.logger_units import kept_units_of, unit_words
from retort_log.modbus.near import FarAddress, near_address
from retort_log.modbus.registers import (
    UNITS,
    ChannelError,
    RegisterChannel,
    channels_of,
    to_plain,
)
from retort_log.models import Controller, Retort
from retort_log.refusals import MachineRefused

ACT = "controller"
HOST_LENGTH = 100
LAST_PORT, LAST_DEVICE, SLOWEST_S = 65_535, 247, 60


class ControllerRefused(MachineRefused):
    """It cannot be stated."""


@dataclass(frozen=True)
class Stated:
    """A controller as a manager states it; `every_s` in seconds."""

    host: str
    port: int
    device_id: int
    every_s: int
    channels: tuple[RegisterChannel, ...]
    is_on: bool


def state(retort: Retort, signed_by: Signature, stated: Stated) -> Controller:
    """State a retort's controller anew. What it answered until now is packed as it was meant.

    Raises ControllerRefused; a refusal is recorded in the trail.
    """
    member = signed_by.member
    try:
        if member.facility_id != retort.facility_id or Role.MANAGER not in member.roles:
            raise ControllerRefused("role", "A manager of this facility states the controller.")
        check(stated)
        with transaction.atomic():
            return _state(retort, signed_by, stated)
    except ControllerRefused as refusal:
        facts = {"retort": retort.place.code}
        trail.record_refusal(retort.facility, ACT, [refusal.code], member, facts=facts)
        raise


def check(stated: Stated) -> None:
    """Refuse what no controller of this house can be. Raises ControllerRefused."""
    if not stated.host or len(stated.host) > HOST_LENGTH:
        raise ControllerRefused("controller_host", "Type the address of the controller.")
    in_range = (
        1 <= stated.port <= LAST_PORT
        and 0 <= stated.device_id <= LAST_DEVICE
        and 1 <= stated.every_s <= SLOWEST_S
    )
    if not in_range:
        raise ControllerRefused(
            "controller_range",
            f"The port is 1 to {LAST_PORT:,}, the device 0 to {LAST_DEVICE}, and it is asked "
            f"every 1 to {SLOWEST_S} seconds.",
        )
    if not stated.channels:
        raise ControllerRefused("controller_channels", "State at least one channel.")
    for channel in stated.channels:
        if channel.unit not in kept_units_of(channel.name, UNITS):
            raise ControllerRefused(
                "controller_channels", f"{channel.name}: choose a unit that suits it."
            )
    try:
        channels_of(to_plain(channel) for channel in stated.channels)
        near_address(stated.host, stated.port)
    except ChannelError as error:
        raise ControllerRefused("controller_channels", str(error)) from error
    except FarAddress as far:
        raise ControllerRefused("controller_far", str(far)) from far


def told(channel: RegisterChannel) -> str:
    """Return a channel in one line, as the trail keeps it."""
    parts = [
        f"{channel.name} in {unit_words(channel.unit)}",
        f"{channel.kind} register {channel.register}",
        channel.type,
        f"times {channel.scale:f} plus {channel.offset:f}",
        *(["bytes swapped"] if channel.swap_bytes else []),
        *(["words swapped"] if channel.swap_words else []),
    ]
    if channel.error_values:
        parts.append(f"fault at {' or '.join(map(str, channel.error_values))}")
    return ", ".join(parts)


def _state(retort: Retort, signed_by: Signature, stated: Stated) -> Controller:
    Retort.objects.select_for_update(no_key=True).get(pk=retort.pk)
    old = Controller.objects.filter(retort=retort).first()
    before = _facts(old) if old else {}
    row = old or Controller(retort=retort)
    if old:
        live.pack_ripe(old, clock.now(), everything=True)
    row.host, row.port, row.device_id = stated.host, stated.port, stated.device_id
    row.every_s, row.is_on = stated.every_s, stated.is_on
    row.channels = [to_plain(channel) for channel in stated.channels]
    after = _facts(row)
    changed = sorted(key for key in after if after[key] != before.get(key))
    if not changed:
        raise ControllerRefused("unchanged", "Nothing is changed: this stands already.")
    row.save()
    now = clock.now()
    trail.append(
        trail.Act(
            facility=retort.facility,
            name=ACT,
            happened_at=now,
            recorded_at=now,
            signed_by=signed_by.member,
            signature="pin",
            facts={
                "retort": retort.place.code,
                **{f"old_{key}": before[key] for key in changed if key in before},
                **{f"new_{key}": after[key] for key in changed},
            },
        )
    )
    return row


def _facts(row: Controller) -> dict[str, Any]:
    try:
        channels = [told(channel) for channel in channels_of(row.channels)]
    except ChannelError:  # stated by an earlier form of the program
        channels = [str(one) for one in row.channels]
    return {
        "host": row.host,
        "port": row.port,
        "device": row.device_id,
        "every_s": row.every_s,
        "channels": channels,
        "is_on": row.is_on,
    }
