"""What the registers of a controller mean: types, orders, scale, and no value."""

import struct
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from retort_log.modbus.registers import (
    MOST_AT_ONCE,
    Block,
    ChannelError,
    RegisterChannel,
    channels_of,
    from_plain,
    questions,
    to_plain,
    values_of,
)


def channel(**given_: Any) -> RegisterChannel:
    return RegisterChannel(**{"name": "secondary", "unit": "degC", "register": 0, **given_})


@pytest.mark.parametrize(
    ("given_", "registers", "tenths"),
    [
        ({}, [871], 8710),
        ({"scale": Decimal("0.1")}, [8711], 8711),
        ({"type": "int16"}, [0xFFF6], -100),
        ({"type": "uint16"}, [0xFFF6], 655260),
        ({"type": "int32"}, [0x0000, 0x0367], 8710),
        ({"type": "int32", "swap_words": True}, [0x0367, 0x0000], 8710),
        ({"type": "int16", "swap_bytes": True}, [0x6703], 8710),
        ({"scale": Decimal("0.5"), "offset": Decimal(-40)}, [100], 100),
        # 871.25 as IEEE 754 single precision is 0x4459D000.
        ({"type": "float32"}, [0x4459, 0xD000], 8712),
        ({"type": "float32", "swap_words": True}, [0xD000, 0x4459], 8712),
        ({"type": "float32", "swap_bytes": True}, [0x5944, 0x00D0], 8712),
        ({"type": "float32"}, [0x7FC0, 0x0000], None),  # not a number
        ({"type": "float32"}, [0x7F80, 0x0000], None),  # infinite
        ({"error_values": (32767,)}, [32767], None),
        ({"type": "int32"}, [1], None),  # an answer that is too short
        ({"type": "int32"}, [0x7FFF, 0xFFFF], None),  # nothing measures that
    ],
)
def test_values(given_: dict[str, Any], registers: list[int], tenths: int | None) -> None:
    assert channel(**given_).tenths(registers) == tenths


@given(st.floats(-3000, 3000, width=32), st.booleans(), st.booleans())
def test_any_order_of_bytes_and_words_is_read_back(value: float, by: bool, words: bool) -> None:
    halves = list(struct.unpack("<2H" if by else ">2H", struct.pack(">f", value)))
    if words:
        halves.reverse()
    read = channel(type="float32", swap_bytes=by, swap_words=words).raw(halves)
    assert read == value


def test_neighbours_are_asked_for_together_and_far_ones_apart() -> None:
    near = [channel(register=10), channel(name="primary", register=11, type="float32")]
    far = channel(name="oxygen", unit="percent", register=200)
    other = channel(name="stack", register=12, kind="input")
    found = questions([far, *near, other])
    assert found == [Block("holding", 10, 3), Block("holding", 200, 1), Block("input", 12, 1)]
    answers = {found[0]: [871, 0x4459, 0xD000], found[1]: [9], found[2]: [300]}
    assert values_of([*near, far, other], answers) == {
        "secondary degC": 8710,
        "primary degC": 8712,
        "oxygen percent": 90,
        "stack degC": 3000,
    }


@given(st.lists(st.integers(0, 400), min_size=1, max_size=9, unique=True))
def test_every_register_is_asked_for_in_questions_of_lawful_size(places: list[int]) -> None:
    names = ("primary", "secondary", "stack", "oxygen", "co", "opacity", "flow", "draft")
    channels = [channel(name=n, register=p) for n, p in zip(names, places, strict=False)]
    found = questions(channels)
    assert all(0 < block.count <= MOST_AT_ONCE for block in found)
    asked = {r for block in found for r in range(block.start, block.start + block.count)}
    assert {c.register for c in channels} <= asked


@pytest.mark.parametrize(
    ("given_", "words"),
    [
        ({"name": "soul"}, "measures"),
        ({"unit": "furlong"}, "unit"),
        ({"kind": "coil"}, "holding or input"),
        ({"type": "int8"}, "stored"),
        ({"register": -1}, "from 0"),
        ({"register": 65_535, "type": "int32"}, "65,535"),
        ({"scale": Decimal(0)}, "scale"),
        ({"scale": Decimal("NaN")}, "plain numbers"),
    ],
)
def test_what_no_controller_has_is_refused(given_: dict[str, Any], words: str) -> None:
    with pytest.raises(ChannelError, match=words):
        channel(**given_)


def test_a_channel_is_kept_exactly() -> None:
    one = channel(scale=Decimal("0.1"), offset=Decimal("-273.15"), error_values=(32767, -32768))
    assert from_plain(to_plain(one)) == one
    with pytest.raises(ChannelError, match="not whole"):
        from_plain({"name": "primary"})
    with pytest.raises(ChannelError, match="whole numbers"):
        from_plain({**to_plain(one), "error_values": ["OPEN"]})
    with pytest.raises(ChannelError, match="once"):
        channels_of([to_plain(one), to_plain(one)])
