"""Doubts about a reading: slips of the finger are seen, a chamber at work is left in peace."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from crematory.units import convert
from retort_log.doubts import (
    FASTEST_FALL_C_PER_MIN,
    FASTEST_RISE_C_PER_MIN,
    NEAR_C,
    TOO_FAR_APART_C,
    Limits,
    Temperatures,
    doubts,
)

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
        (read(0, 650, 880), read(5, 650, 88), ("apart", "digit_secondary")),
        (read(0, 650, 880), read(1, 850, 880), ("rise_primary",)),
        (read(0, 650, 880), read(0, 650, 680), ("fall_secondary",)),
        (read(0, 650, 680), read(10, 700, 600), ()),  # secondary below primary
        (read(0, 650, 880), read(180, 60, 80), ()),
        # 79 °F typed for 790 °F, the other chamber at 811 °F: 6 and 12 minutes later.
        (read(0, 433, 440), read(6, 26, 433), ("apart", "digit_primary")),
        (read(0, 433, 440), read(12, 26, 433), ("apart", "digit_primary")),
        (read(0, 433, 440), read(12, 60, 433), ("apart", "fall_primary")),
        (read(0, 60, 600), read(20, 80, 880), ()),  # preheat: apart before already
        (read(10, 650, 880), read(5, 880, 650), ("swapped",)),  # entered late, before the other
    ],
)
def test_examples(before: Temperatures, new: Temperatures, found: tuple[str, ...]) -> None:
    assert doubts(new, [before]) == found


LIMITS = Limits(sweep_c=Decimal(427), charging_c=Decimal(760))


@pytest.mark.parametrize(
    ("before", "new", "found"),
    [
        (read(0, 700, 730), read(60, 420, 430), ("opens_primary",)),
        (read(0, 500, 530), read(60, 420, 430), ()),  # a small step below the limit
        (read(0, 400, 430), read(60, 100, 130), ()),  # it was open before
        (read(0, 600, 550), read(60, 650, 770), ("opens_secondary",)),
        (read(0, 610, 640), read(15, 630, 770), ()),
        (read(90, 700, 730), read(60, 420, 430), ()),  # entered late: the gate asks the newest
    ],
)
def test_a_gate_that_opens_on_a_big_change_is_doubted(
    before: Temperatures, new: Temperatures, found: tuple[str, ...]
) -> None:
    assert doubts(new, [before], LIMITS) == found
    assert doubts(new, [before]) == ()


def test_the_first_reading_is_doubted_only_for_what_it_says_itself() -> None:
    assert doubts(read(0, 590, 900), []) == ()
    assert doubts(read(0, 10, 1100), []) == ("apart",)


def test_each_neighbour_may_doubt_and_each_doubt_is_said_once() -> None:
    around = [read(0, 650, 880), read(10, 655, 885)]
    assert doubts(read(5, 880, 650), around) == ("swapped",)
    assert doubts(read(5, 880, 650), [read(-300, 100, 120), around[1]]) == ("swapped",)


@given(temperatures, temperatures, moves, moves, st.integers(0, 600))
def test_a_reading_near_the_last_one_is_never_doubted(
    primary: Decimal, secondary: Decimal, one: Decimal, other: Decimal, minutes: int
) -> None:
    new = read(minutes, primary + one, secondary + other)
    assert set(doubts(new, [read(0, primary, secondary)])) <= {"apart"}


@given(temperatures, temperatures, temperatures, temperatures, st.integers(53, 600))
def test_after_an_hour_a_chamber_may_have_done_anything(
    a: Decimal, b: Decimal, c: Decimal, d: Decimal, minutes: int
) -> None:
    assert set(doubts(read(minutes, c, d), [read(0, a, b)])) <= {"apart"}


@given(temperatures, temperatures, st.integers(1, 30), st.decimals(1, 500, places=2))
def test_what_rises_or_falls_too_fast_is_doubted_wherever_it_starts(
    primary: Decimal, secondary: Decimal, minutes: int, more: Decimal
) -> None:
    for sign, rate in ((1, FASTEST_RISE_C_PER_MIN), (-1, FASTEST_FALL_C_PER_MIN)):
        moved = primary + sign * (NEAR_C + rate * minutes + more)
        found = doubts(read(minutes, moved, secondary), [read(0, primary, secondary)])
        assert found
        assert all(c.endswith("_primary") or c in ("swapped", "apart") for c in found)


@given(temperatures, temperatures, temperatures, temperatures)
def test_chambers_absurdly_far_apart_are_doubted_once(
    a: Decimal, b: Decimal, c: Decimal, d: Decimal
) -> None:
    new, before = read(600, a, b), read(0, c, d)
    is_new = abs(a - b) > TOO_FAR_APART_C >= abs(c - d)
    assert ("apart" in doubts(new, [before])) == is_new


@given(st.decimals(200, 1100, places=2), st.integers(0, 30), st.booleans())
def test_the_other_unit_is_seen(value: Decimal, minutes: int, is_fahrenheit: bool) -> None:
    unit, other = ("degF", "degC") if is_fahrenheit else ("degC", "degF")
    typed = convert(value, unit, other).quantize(Decimal("0.01"))
    assume(abs(typed - value) >= 200)
    found = doubts(read(minutes, typed, value), [read(0, value, value)])
    assert "unit_primary" in found
    assert set(found) <= {"unit_primary", "apart"}


@given(temperatures, temperatures, moves, moves, st.integers(0, 30))
def test_swapped_chambers_are_seen(
    primary: Decimal, secondary: Decimal, one: Decimal, other: Decimal, minutes: int
) -> None:
    assume(abs(primary - secondary) > 100)
    new = read(minutes, secondary + one, primary + other)
    assert doubts(new, [read(0, primary, secondary)]) == ("swapped",)


@given(*[temperatures] * 4, st.integers(0, 600))
def test_a_reading_entered_late_is_doubted_as_if_it_had_come_in_order(
    a: Decimal, b: Decimal, c: Decimal, d: Decimal, minutes: int
) -> None:
    """A fall read backwards is still a fall: what matters is which reading was earlier."""
    earlier, later = read(0, a, b), read(minutes or 1, c, d)
    speeds = {"rise_primary", "rise_secondary", "fall_primary", "fall_secondary"}
    if not {"swapped"} & {*doubts(later, [earlier]), *doubts(earlier, [later])}:
        there = speeds & set(doubts(later, [earlier]))
        back = speeds & set(doubts(earlier, [later]))
        slips = {*doubts(later, [earlier]), *doubts(earlier, [later])} - speeds - {"apart"}
        assert slips or there == back
