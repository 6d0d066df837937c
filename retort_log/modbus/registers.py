"""What the registers of a controller mean. Pure.

A register holds 16 bits; a value takes one or two of them. Makers order bytes and words as they
please (the application protocol names big-endian for each register and nothing for two), so that
the house says it for each channel. Scale and offset make of the raw number the value in its
unit: value = raw × scale + offset.
"""

import math
import struct
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from decimal import Decimal, InvalidOperation
from typing import Any

from retort_log.logger_files.channels import CHANNELS

KINDS = ("holding", "input")
TYPES: dict[str, tuple[int, str]] = {  # registers, and the code of `struct`
    "int16": (1, "h"),
    "uint16": (1, "H"),
    "int32": (2, "i"),
    "uint32": (2, "I"),
    "float32": (2, "f"),
}
LAST_REGISTER = 65_535
# Modbus application protocol V1.1b3, section 6.3: at most 125 registers an answer.
MOST_AT_ONCE = 125
UNITS = ("degC", "degF", "percent", "ppm", "kilowatt", "pascal", "m**3/hour", "ft**3/hour")
LOWEST, HIGHEST = Decimal(-100_000), Decimal(100_000)


class ChannelError(ValueError):
    """A channel that cannot be asked for; the message says what is wrong and what to do."""


@dataclass(frozen=True)
class RegisterChannel:
    """One value of a controller: where it stands and how it is to be read."""

    name: str
    unit: str
    register: int
    kind: str = "holding"
    type: str = "int16"
    scale: Decimal = Decimal(1)
    offset: Decimal = Decimal(0)
    # False: the more significant byte of a register, and the more significant word, comes first.
    swap_bytes: bool = False
    swap_words: bool = False
    # Raw values by which the controller says that a sensor is broken.
    error_values: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        """Raise ChannelError for what no controller has."""
        for wrong, words in (
            (self.name not in CHANNELS, "Choose what the channel measures from the list."),
            (self.unit not in UNITS, "Choose the unit from the list."),
            (self.kind not in KINDS, "Registers are holding or input registers."),
            (self.type not in TYPES, "Choose how the number is stored from the list."),
            (self.register < 0, "Registers are numbered from 0."),
            (self.register + self.count - 1 > LAST_REGISTER, "The last register is 65,535."),
            (self.scale == 0, "A scale of 0 would make every value the same."),
            (not (self.scale.is_finite() and self.offset.is_finite()), "Write plain numbers."),
        ):
            if wrong:
                raise ChannelError(f"{self.name or 'Channel'}: {words}")

    @property
    def count(self) -> int:
        """How many registers it takes."""
        return TYPES[self.type][0] if self.type in TYPES else 1

    def tenths(self, registers: Sequence[int]) -> int | None:
        """Return the value in tenths of its unit; None where the controller says it has none.

        None as well for what is no number (NaN, infinite) and for what nothing measures.
        """
        raw = self.raw(registers)
        if raw is None or raw in self.error_values:
            return None
        value = Decimal(str(raw)) * self.scale + self.offset
        if not LOWEST <= value <= HIGHEST:
            return None
        return int((value * 10).to_integral_value())

    def raw(self, registers: Sequence[int]) -> int | float | None:
        """Return the number as the controller stores it; None where it is NaN or infinite."""
        words = list(registers[: self.count])
        if len(words) < self.count:
            return None
        if self.swap_words:
            words.reverse()
        data = b"".join(struct.pack("<H" if self.swap_bytes else ">H", word) for word in words)
        number: int | float = struct.unpack(f">{TYPES[self.type][1]}", data)[0]
        return number if math.isfinite(number) else None


@dataclass(frozen=True)
class Block:
    """Registers of one kind that are asked for in one question."""

    kind: str
    start: int
    count: int


def questions(channels: Iterable[RegisterChannel]) -> list[Block]:
    """Return the questions that bring all channels: neighbours are asked for together."""
    found: list[Block] = []
    for channel in sorted(channels, key=lambda c: (c.kind, c.register)):
        end = channel.register + channel.count
        last = found[-1] if found else None
        if (
            last
            and last.kind == channel.kind
            and channel.register <= last.start + last.count
            and end - last.start <= MOST_AT_ONCE
        ):
            found[-1] = Block(last.kind, last.start, max(last.count, end - last.start))
        else:
            found.append(Block(channel.kind, channel.register, channel.count))
    return found


def values_of(
    channels: Iterable[RegisterChannel], answers: Mapping[Block, Sequence[int]]
) -> dict[str, int | None]:
    """Return tenths by "channel unit" from what was answered; None for no value."""
    found: dict[str, int | None] = {}
    for channel in channels:
        block = next(
            b
            for b in answers
            if b.kind == channel.kind
            and b.start <= channel.register
            and channel.register + channel.count <= b.start + b.count
        )
        at = channel.register - block.start
        found[f"{channel.name} {channel.unit}"] = channel.tenths(answers[block][at:])
    return found


def to_plain(channel: RegisterChannel) -> dict[str, Any]:
    """Return a channel as JSON keeps it; numbers as text, exact."""
    plain = asdict(channel)
    plain["scale"], plain["offset"] = f"{channel.scale:f}", f"{channel.offset:f}"
    plain["error_values"] = list(channel.error_values)
    return plain


def from_plain(plain: Mapping[str, Any]) -> RegisterChannel:
    """Read what `to_plain` wrote, or what a form states. Raises ChannelError."""
    try:
        values = dict(plain)
        values["scale"] = Decimal(str(values.get("scale", 1)))
        values["offset"] = Decimal(str(values.get("offset", 0)))
        values["error_values"] = tuple(int(v) for v in values.get("error_values", ()))
        return RegisterChannel(**values)
    except (TypeError, InvalidOperation) as error:
        raise ChannelError("The channel is not whole: state it again.") from error
    except ValueError as error:
        if isinstance(error, ChannelError):
            raise
        raise ChannelError("Raw values of a fault are whole numbers.") from error


def channels_of(plain: Iterable[Mapping[str, Any]]) -> tuple[RegisterChannel, ...]:
    """Read all channels of a controller. Raises ChannelError; also where two measure the same."""
    found = tuple(from_plain(one) for one in plain)
    names = [channel.name for channel in found]
    if len(set(names)) < len(names):
        raise ChannelError("Two channels measure the same. Name each one once.")
    return found
