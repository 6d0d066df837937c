"""Canonical bytes and commitments.

The examples of RFC 8785 hold numbers that are floats. The package that does the work is held to
them as published; our wrapper refuses floats and is held to the rest of each example.
"""

import enum
import hashlib
import json
import struct
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal
from typing import Any

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from chain_of_custody.canonical import LARGEST_INTEGER, canonical_bytes, commitment

# RFC 8785, section 3.2.2 (input) and 3.2.3 (output).
RFC_STRING = "\u20ac$\u000f\u000aA'\u0042\u0022\u005c\\\"/"
RFC_STRING_OUT = '"\u20ac$\\u000f\\nA\'B\\"\\\\\\\\\\"/"'
RFC_NUMBERS = [333333333.33333329, 1e30, 4.50, 2e-3, 0.000000000000000000000000001]
RFC_NUMBERS_OUT = "[333333333.3333333,1e+30,4.5,0.002,1e-27]"
RFC_LITERALS = [None, True, False]

# RFC 8785, section 3.2.3: keys sorted by UTF-16 code units.
RFC_KEYS = {
    "\u20ac": "Euro Sign",
    "\r": "Carriage Return",
    "\ufb33": "Hebrew Letter Dalet With Dagesh",
    "1": "One",
    "\U0001f600": "Emoji: Grinning Face",
    "\u0080": "Control",
    "\u00f6": "Latin Small Letter O With Diaeresis",
}
RFC_KEYS_SORTED = [
    "Carriage Return",
    "One",
    "Control",
    "Latin Small Letter O With Diaeresis",
    "Euro Sign",
    "Emoji: Grinning Face",
    "Hebrew Letter Dalet With Dagesh",
]

# RFC 8785, appendix B: IEEE 754 bits and their text.
RFC_FLOATS = [
    ("0000000000000000", "0"),
    ("8000000000000000", "0"),
    ("0000000000000001", "5e-324"),
    ("8000000000000001", "-5e-324"),
    ("7fefffffffffffff", "1.7976931348623157e+308"),
    ("ffefffffffffffff", "-1.7976931348623157e+308"),
    ("4340000000000000", "9007199254740992"),
    ("c340000000000000", "-9007199254740992"),
    ("4430000000000000", "295147905179352830000"),
    ("44b52d02c7e14af5", "9.999999999999997e+22"),
    ("44b52d02c7e14af6", "1e+23"),
    ("44b52d02c7e14af7", "1.0000000000000001e+23"),
    ("444b1ae4d6e2ef4e", "999999999999999700000"),
    ("444b1ae4d6e2ef4f", "999999999999999900000"),
    ("444b1ae4d6e2ef50", "1e+21"),
    ("3eb0c6f7a0b5ed8c", "9.999999999999997e-7"),
    ("3eb0c6f7a0b5ed8d", "0.000001"),
    ("41b3de4355555553", "333333333.3333332"),
    ("41b3de4355555554", "333333333.33333325"),
    ("41b3de4355555555", "333333333.3333333"),
    ("41b3de4355555556", "333333333.3333334"),
    ("41b3de4355555557", "333333333.33333343"),
    ("becbf647612f3696", "-0.0000033333333333333333"),
    ("43143ff3c1cb0959", "1424953923781206.2"),
]

SALT = bytes(range(32))


class Stage(enum.StrEnum):
    IN_CARE = "in_care"


class Rank(enum.Enum):
    FIRST = 1


def test_the_package_gives_the_published_text() -> None:
    example: dict[str, Any] = {
        "numbers": RFC_NUMBERS,
        "string": RFC_STRING,
        "literals": RFC_LITERALS,
    }
    expected = (
        '{"literals":[null,true,false],"numbers":'
        + RFC_NUMBERS_OUT
        + ',"string":'
        + RFC_STRING_OUT
        + "}"
    )
    assert rfc8785.dumps(example) == expected.encode()


@pytest.mark.parametrize(("bits", "text"), RFC_FLOATS)
def test_the_package_gives_the_published_numbers(bits: str, text: str) -> None:
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    assert rfc8785.dumps(number) == text.encode()
    with pytest.raises(TypeError, match=r"\$: float"):
        canonical_bytes(number)


def test_our_bytes_give_the_published_text_without_its_floats() -> None:
    result = canonical_bytes({"string": RFC_STRING, "literals": RFC_LITERALS})
    assert result == f'{{"literals":[null,true,false],"string":{RFC_STRING_OUT}}}'.encode()


def test_our_bytes_sort_keys_as_published() -> None:
    assert list(json.loads(canonical_bytes(RFC_KEYS)).values()) == RFC_KEYS_SORTED


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (Decimal("82.550"), '"82.550"'),
        (Decimal("1E+3"), '"1000"'),
        (Decimal("1E-7"), '"0.0000001"'),
        (datetime(2026, 3, 2, 15, 4, 5, 123456, UTC), '"2026-03-02T15:04:05.123456Z"'),
        (datetime(2026, 3, 2, 15, 4, 5, 0, UTC), '"2026-03-02T15:04:05.000000Z"'),
        (
            datetime(2026, 3, 2, 23, 4, 5, 0, timezone(timedelta(hours=-7))),
            '"2026-03-03T06:04:05.000000Z"',
        ),
        (date(2026, 3, 2), '"2026-03-02"'),
        (Stage.IN_CARE, '"in_care"'),
        ((1, 2), "[1,2]"),
        (True, "true"),
        (LARGEST_INTEGER, "9007199254740991"),
        ({}, "{}"),
    ],
)
def test_values_of_the_trail_have_one_text(value: object, text: str) -> None:
    assert canonical_bytes(value) == text.encode()


@pytest.mark.parametrize(
    ("value", "says"),
    [
        ({"weights": [{}, {"mass_kg": 2.5}]}, r"\$\.weights\[1\]\.mass_kg: float .* Decimal"),
        ({"a": float("nan")}, r"\$\.a: float"),
        ({"a": {1: "x"}}, r"\$\.a: the key 1 is int"),
        ({None: "x"}, r"\$: the key None is NoneType"),
        ([b"x"], r"\$\[0\]: bytes"),
        ({"a": {1, 2}}, r"\$\.a: set"),
        ({"a": Rank.FIRST}, r"\$\.a: Rank"),
    ],
)
def test_types_that_have_no_one_text_are_refused(value: object, says: str) -> None:
    with pytest.raises(TypeError, match=says):
        canonical_bytes(value)


@pytest.mark.parametrize(
    ("value", "says"),
    [
        ({"a": Decimal("NaN")}, r"\$\.a: NaN is not a finite"),
        ({"a": Decimal("-Infinity")}, r"\$\.a: -Infinity is not a finite"),
        ([LARGEST_INTEGER + 1], r"\$\[0\]: the integer"),
        ([-LARGEST_INTEGER - 1], r"\$\[0\]: the integer"),
        ({"at": datetime(2026, 3, 2)}, r"\$\.at: the time .* has no zone"),
        ({"a": "\ud800"}, r"\$\.a: .*surrogate"),
        ({"\ud800": "a"}, r"\$: .*surrogate"),
    ],
)
def test_values_out_of_range_are_refused(value: object, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        canonical_bytes(value)


SCALARS = st.none() | st.booleans() | st.integers(-LARGEST_INTEGER, LARGEST_INTEGER) | st.text()
VALUES = st.recursive(
    SCALARS, lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner), max_leaves=20
)


@given(VALUES)
def test_canonical_bytes_read_back_and_stay_the_same(value: Any) -> None:
    once = canonical_bytes(value)
    assert json.loads(once) == value
    assert canonical_bytes(json.loads(once)) == once


@given(st.dictionaries(st.text(), SCALARS))
def test_the_order_of_keys_does_not_matter(value: dict[str, Any]) -> None:
    assert canonical_bytes(dict(reversed(value.items()))) == canonical_bytes(value)


def test_a_commitment_is_the_digest_of_prefix_salt_and_text() -> None:
    expected = hashlib.sha256(b"custody-seal-v1\x00" + SALT + "Łukasz".encode()).hexdigest()
    assert commitment(SALT, "Łukasz") == expected


def test_a_commitment_depends_on_salt_and_text() -> None:
    first = commitment(SALT, "Ada Quillfeather")
    assert first != commitment(SALT[::-1], "Ada Quillfeather")
    assert first != commitment(SALT, "Ada Quillfeather ")


@pytest.mark.parametrize("length", [0, 16, 31, 33])
def test_a_salt_of_another_length_is_refused(length: int) -> None:
    with pytest.raises(ValueError, match=f"{length} bytes, want 32"):
        commitment(b"s" * length, "Ada Quillfeather")
