"""Doubts about a reading: slips of the finger are seen, a chamber at work is left in peace."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from crematory.units import convert
from retort_log.readings import FASTEST_C_PER_MIN, NEAR_C, Temperatures, doubts

AT = datetime(2026, 3, 2, 15, 0, tzinfo=UTC)
temperatures = st.decimals(0, 1100, places=2)
moves = st.decimals(-NEAR_C, NEAR_C, places=2)


def read(minutes: int, primary: Decimal | int, secondary: Decimal | int) -> Temperatures:
    return Temperatures(AT + timedelta(minutes=minutes), Decimal(primary), Decimal(secondary))


@pytest.mark.parametrize(
    ("before", "new", "found"),
    [
        (read(0, 650, 880), read(5, 880, 650), ("swapped",)),
        (read(0, 650, 880), read(5, 650, 478), ("unit_secondary",)),  # 893 typed as °F
        (read(0, 650, 880), read(5, 1202, 880), ("unit_primary",)),  # 1,202 °F typed as °C
        (read(0, 650, 880), read(5, 650, 88), ("digit_secondary",)),
        (read(0, 650, 880), read(1, 850, 880), ("jump_primary",)),
        (read(0, 650, 880), read(0, 650, 680), ("jump_secondary",)),
        (read(0, 650, 880), read(5, 700, 600), ()),  # secondary below primary
        (read(0, 650, 880), read(180, 60, 80), ()),
        (read(10, 650, 880), read(5, 880, 650), ("swapped",)),  # entered late, before the other
    ],
)
def test_examples(before: Temperatures, new: Temperatures, found: tuple[str, ...]) -> None:
    assert doubts(new, [before]) == found


def test_the_first_reading_is_not_doubted() -> None:
    assert doubts(read(0, 10, 1100), []) == ()


def test_each_neighbour_may_doubt_and_each_doubt_is_said_once() -> None:
    around = [read(0, 650, 880), read(10, 655, 885)]
    assert doubts(read(5, 880, 650), around) == ("swapped",)
    assert doubts(read(5, 880, 650), [read(-300, 100, 120), around[1]]) == ("swapped",)


@given(temperatures, temperatures, moves, moves, st.integers(0, 600))
def test_a_reading_near_the_last_one_is_never_doubted(
    primary: Decimal, secondary: Decimal, one: Decimal, other: Decimal, minutes: int
) -> None:
    new = read(minutes, primary + one, secondary + other)
    assert doubts(new, [read(0, primary, secondary)]) == ()


@given(temperatures, temperatures, temperatures, temperatures, st.integers(31, 600))
def test_after_half_an_hour_only_what_no_chamber_can_do_is_doubted(
    a: Decimal, b: Decimal, c: Decimal, d: Decimal, minutes: int
) -> None:
    assert doubts(read(minutes, c, d), [read(0, a, b)]) == ()


@given(temperatures, temperatures, st.integers(1, 30), st.decimals(1, 500, places=2))
def test_a_jump_is_doubted_wherever_it_starts(
    primary: Decimal, secondary: Decimal, minutes: int, more: Decimal
) -> None:
    jumped = primary + FASTEST_C_PER_MIN * minutes + more
    found = doubts(read(minutes, jumped, secondary), [read(0, primary, secondary)])
    assert found
    assert all(code.endswith("_primary") or code == "swapped" for code in found)


@given(st.decimals(200, 1100, places=2), st.integers(0, 30), st.booleans())
def test_the_other_unit_is_seen(value: Decimal, minutes: int, is_fahrenheit: bool) -> None:
    unit, other = ("degF", "degC") if is_fahrenheit else ("degC", "degF")
    typed = convert(value, unit, other).quantize(Decimal("0.01"))
    assume(abs(typed - value) >= 200)
    found = doubts(read(minutes, typed, value), [read(0, value, value)])
    assert found == ("unit_primary",)


@given(temperatures, temperatures, moves, moves, st.integers(0, 30))
def test_swapped_chambers_are_seen(
    primary: Decimal, secondary: Decimal, one: Decimal, other: Decimal, minutes: int
) -> None:
    assume(abs(primary - secondary) > 100)
    new = read(minutes, secondary + one, primary + other)
    assert doubts(new, [read(0, primary, secondary)]) == ("swapped",)


@given(*[temperatures] * 4, st.integers(-600, 600))
def test_it_does_not_matter_which_of_two_came_first(
    a: Decimal, b: Decimal, c: Decimal, d: Decimal, minutes: int
) -> None:
    there = doubts(read(minutes, c, d), [read(0, a, b)])
    assert there == doubts(read(-minutes, c, d), [read(0, a, b)])
