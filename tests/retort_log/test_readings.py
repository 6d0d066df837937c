"""A channel's readings: what is drawn between them, what is a gap, and which reading counts."""

from datetime import UTC, datetime
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import trapezoid

from crematory.units import convert
from retort_log.crossings import (
    above,
    below,
    first_at_or_above,
    first_at_or_below,
    peak,
    seconds_above,
    seconds_below,
    steepest_rise,
    time_to_reach,
)
from retort_log.permit_rules import Averaging
from retort_log.readings import Interval, Line, ReadingsError, Trace, draw, joined, merged
from retort_log.windows import trailing_means
from tests.retort_log.series import floats, measured, needs_furnace_test, shaped, trace, traces

MINUTE = 60.0


def line(read: Trace, end_min: float, *, gap_min: float = 15, start_min: float = 0) -> Line:
    return draw(read, "degF", gap_min * MINUTE, start_min * MINUTE, end_min * MINUTE)


def test_a_trace_is_sorted_and_a_reading_given_twice_counts_once() -> None:
    read = trace((5, 3.0), (0, 1.0), (5, 3.0), (2, float("nan")))
    assert read.seconds.tolist() == [0.0, 300.0]
    assert read.values.tolist() == [1.0, 3.0]


@pytest.mark.parametrize(
    ("seconds", "values"),
    [([0.0, 0.0], [1.0, 2.0]), ([0.0, 1.0], [1.0]), ([0.0], [np.inf]), ([np.nan], [1.0])],
)
def test_readings_that_cannot_be_are_refused(seconds: list[float], values: list[float]) -> None:
    with pytest.raises(ReadingsError):
        Trace(floats(seconds), floats(values), "degC")


def test_two_values_at_one_instant_are_named() -> None:
    with pytest.raises(ReadingsError, match=r"1970-01-01 00:01:00.*1600 and 1610"):
        trace((1, 1610.0), (1, 1600.0))


def test_a_trace_of_typed_readings_keeps_their_times() -> None:
    at = datetime(2026, 3, 2, 15, tzinfo=UTC)
    read = Trace.of([(at, Decimal("871.11")), (at.replace(minute=5), None)], "degC", is_typed=True)
    assert read.seconds.tolist() == [at.timestamp()]
    assert len(Trace.of([], "degC")) == 0


# 1,600 °F = 871.1111 °C, 1,800 °F = 982.2222 °C, 900 °C = 1,652 °F, 850 °C = 1,562 °F: definition.
@pytest.mark.parametrize(
    ("value", "unit", "other", "expected"),
    [
        (1600, "degF", "degC", 871.1111),
        (1800, "degF", "degC", 982.2222),
        (900, "degC", "degF", 1652.0),
        (850, "degC", "degF", 1562.0),
    ],
)
def test_degrees_convert_by_definition(
    value: float, unit: str, other: str, expected: float
) -> None:
    read = trace((0, value), unit=unit).to(other)
    assert read.values[0] == pytest.approx(expected, abs=1e-3)
    exact = convert(Decimal(str(value)), unit, other)
    assert read.values[0] == pytest.approx(float(exact), abs=1e-9)


# A rule in °F is tested in °F: 871.0 °C is 1,599.8 °F (definition); 871.11 is 1,600 °F as stored.
@pytest.mark.parametrize(
    ("celsius", "is_typed", "is_below"),
    [
        (871.0, True, True),
        (871.11, True, False),
        (871.12, True, False),
        (871.10, True, True),
        (871.0, False, True),
        (871.11, False, True),
        (871.12, False, False),
    ],
)
def test_a_limit_in_fahrenheit_is_tested_in_fahrenheit(
    celsius: float, is_typed: bool, is_below: bool
) -> None:
    read = trace((0, celsius), (10, celsius), unit="degC", is_typed=is_typed)
    assert seconds_below(line(read, 10), 1600) == (600 if is_below else 0)


def test_what_was_typed_is_not_below_a_limit_in_celsius_either() -> None:
    stored = float(convert(Decimal(1562), "degF", "degC"))
    read = trace((0, stored), (10, stored), unit="degC", is_typed=True)
    assert seconds_below(draw(read, "degC", 900, 0, 600), 850) == 0


def test_a_value_on_the_limit_but_for_rounding_is_on_it() -> None:
    for fahrenheit in range(1200, 2000):
        celsius = (fahrenheit - 32) / 1.8
        drawn = line(trace((0, celsius), (10, celsius), unit="degC"), 10)
        assert below(drawn, fahrenheit) == above(drawn, fahrenheit) == ()
        assert time_to_reach(drawn, fahrenheit) == 0
        means = trailing_means(drawn, 300, Averaging.TIME)
        assert means.below(fahrenheit) == means.above(fahrenheit) == ()


def test_crossings_are_solved() -> None:
    read = trace((0, 1700.0), (10, 1500.0), (20, 1700.0))
    drawn = line(read, 20)
    assert below(drawn, 1600) == (Interval(300, 900),)
    assert above(drawn, 1600) == (Interval(0, 300), Interval(900, 1200))
    assert first_at_or_below(drawn, 1600) == 300
    assert first_at_or_above(drawn, 1701) is None
    assert time_to_reach(line(read, 20, start_min=10), 1600) == 300
    assert time_to_reach(drawn, 1600) == 0


def test_the_line_is_cut_at_the_start_and_the_end() -> None:
    drawn = line(trace((0, 1500.0), (10, 1700.0), (20, 1500.0)), 18, start_min=2)
    assert drawn.covered_s == 16 * 60
    assert seconds_below(drawn, 1600) == pytest.approx(6 * 60)
    assert drawn.is_read.tolist() == [False, True, False]
    inside = line(trace((0, 1500.0), (10, 1700.0)), 6, start_min=4)
    assert inside.values.tolist() == pytest.approx([1580.0, 1620.0])
    assert inside.gaps == ()


def test_nothing_is_drawn_across_a_gap() -> None:
    read = trace((0, 1500.0), (10, 1500.0), (40, 1500.0), (45, 1500.0))
    drawn = line(read, 60)
    assert seconds_below(drawn, 1600) == 15 * 60
    assert below(drawn, 1600) == (Interval(0, 600), Interval(2400, 2700))
    assert drawn.gaps == (Interval(600, 2400), Interval(2700, 3600))
    assert drawn.longest_gap_s == 1800
    assert drawn.value_at(1200) is None
    assert drawn.value_at(300) == drawn.value_at(600) == 1500


def test_a_reading_between_two_gaps_is_a_fact_without_length() -> None:
    drawn = line(trace((0, 1700.0), (30, 1500.0), (60, 1700.0)), 60)
    assert below(drawn, 1600) == (Interval(1800, 1800),)
    assert seconds_below(drawn, 1600) == 0
    assert first_at_or_below(drawn, 1600) == 1800


def test_without_readings_all_is_a_gap() -> None:
    drawn = line(Trace(floats([]), floats([]), "degF"), 60)
    assert drawn.gaps == (Interval(0, 3600),)
    assert drawn.covered_s == 0
    assert drawn.mean() is None
    assert peak(drawn) is None
    assert below(drawn, 1600) == ()
    assert drawn.stretches == ()


def test_a_line_has_a_start_before_its_end() -> None:
    with pytest.raises(ReadingsError):
        line(trace((0, 1.0)), 0, start_min=1)


@settings(deadline=None)
@given(traces(), st.integers(30, 600))
def test_covered_and_gaps_fill_the_whole(read: Trace, max_gap_s: int) -> None:
    drawn = draw(read, "degF", max_gap_s, -100, 5000)
    assert drawn.covered_s + sum(gap.seconds for gap in drawn.gaps) == pytest.approx(5100)


@settings(deadline=None)
@given(traces(), st.integers(1500, 1700))
def test_seconds_agree_with_intervals_and_with_dense_counting(read: Trace, limit: int) -> None:
    drawn = draw(read, "degF", 300, 0, float(read.seconds[-1]))
    found = below(drawn, limit)
    assert sum(i.seconds for i in found) == pytest.approx(seconds_below(drawn, limit), abs=1e-6)
    on_limit = sum(
        length
        for length, a, b in zip(drawn.lengths, drawn.values, drawn.values[1:], strict=False)
        if a == b == limit
    )
    both = seconds_below(drawn, limit) + seconds_above(drawn, limit)
    assert both + on_limit == pytest.approx(drawn.covered_s)


def test_the_area_agrees_with_scipy() -> None:
    read = shaped(90, lambda m: 1600 + 100 * np.sin(m / 7), step_s=17)
    drawn = draw(read, "degF", 60, 100.5, 4000.25)
    dense = np.unique(np.concatenate((np.linspace(100.5, 4000.25, 5000), drawn.at)))
    values = np.interp(dense, read.seconds, read.values)
    assert drawn.integral() == pytest.approx(trapezoid(values, dense), rel=1e-9)
    counted = np.interp(np.linspace(100.5, 4000.25, 400_001), read.seconds, read.values) < 1600
    assert seconds_below(drawn, 1600) == pytest.approx(counted.mean() * 3899.75, abs=0.1)


def test_the_steepest_rise_is_over_the_window() -> None:
    read = trace((0, 100.0), (10, 100.0), (12, 200.0), (30, 200.0))
    found = steepest_rise(line(read, 30, gap_min=20), 300)
    assert found is not None
    assert found.value == pytest.approx(20.0)
    assert found.at == 12 * 60
    assert steepest_rise(line(read, 30, gap_min=5), 300) == steepest_rise(line(read, 2), 300)
    assert steepest_rise(line(read, 2), 300) is None


def test_a_reading_by_hand_counts_only_in_a_gap_of_the_recorder() -> None:
    recorder = trace((0, 1700.0), (1, 1700.0), (31, 1700.0), (32, 1700.0))
    hand = trace((0.5, 1.0), (1, 2.0), (2, 3.0), (20, 4.0), (31, 6.0), (40, 5.0), is_typed=True)
    both = merged(recorder, hand, "degF", 5 * MINUTE)
    assert both.values.tolist() == [1700, 1700, 3, 4, 1700, 1700, 5]
    assert merged(None, hand, "degF", 300).values.tolist() == [1, 2, 3, 4, 6, 5]
    assert merged(recorder, None, "degF", 300).values.tolist() == [1700] * 4
    assert len(merged(None, None, "degF", 300)) == 0


def test_only_what_was_typed_is_rounded_when_both_are_merged() -> None:
    recorder = trace((0, 871.11), unit="degC")
    hand = trace((30, 871.11), unit="degC", is_typed=True)
    assert merged(recorder, hand, "degF", 300).values.tolist() == pytest.approx([1599.998, 1600])


@settings(deadline=None)
@given(traces(), st.data())
def test_shuffling_and_splitting_a_log_changes_nothing(read: Trace, data: st.DataObject) -> None:
    order = data.draw(st.permutations(range(len(read))))
    cut = data.draw(st.integers(0, len(read)))
    parts = [
        Trace(read.seconds[list(rows)], read.values[list(rows)], "degF")
        for rows in (order[:cut], order[max(0, cut - 1) :])
    ]
    again = joined(parts)
    assert again.seconds.tolist() == read.seconds.tolist()
    assert again.values.tolist() == read.values.tolist()


def test_parts_of_different_units_are_not_one_log() -> None:
    with pytest.raises(ReadingsError):
        joined([trace((0, 1.0)), trace((1, 1.0), unit="degC")])


# Below: a furnace test measured by NIST (Composite Beam, test 3), samples 15 s apart.
@needs_furnace_test
@pytest.mark.parametrize(
    ("limit", "unit", "count", "runs"),
    [
        (850.0, "degC", 275, [(720, 4830)]),
        (1600.0, "degF", 270, [(735, 4770)]),
        (1800.0, "degF", 132, [(1935, 1935), (2520, 4470)]),
    ],
)
def test_a_measured_furnace_is_above_its_limit(
    limit: float, unit: str, count: int, runs: list[tuple[float, float]]
) -> None:
    read = measured("TCC8", "degC")
    assert int((read.to(unit).values >= limit).sum()) == count
    found = above(draw(read, unit, 60, 0, 14_760), limit)
    assert len(found) == len(runs)
    for interval, (first, last) in zip(found, runs, strict=True):
        assert first - 15 < interval.start <= first
        assert last <= interval.end < last + 15


@needs_furnace_test
def test_a_measured_furnace_reaches_its_peak_and_cools() -> None:
    read = measured("TCC8", "degC")
    drawn = draw(read, "degC", 60, 0, 14_760)
    top = peak(drawn)
    assert top is not None
    assert (top.value, top.at) == (1108.8, 3675)
    cooling = draw(read, "degC", 60, top.at, 14_760)
    sweep = float(convert(Decimal(800), "degF", "degC"))
    for limit, first_sample in ((sweep, 5805), (200, 7110), (100, 10_500)):
        instant = first_at_or_below(cooling, limit)
        assert instant is not None
        assert first_sample - 15 < instant <= first_sample


@needs_furnace_test
def test_a_burner_s_energy_leaves_its_gap_out_and_says_so() -> None:
    drawn = draw(measured("HRRburner", "kilowatt"), "kilowatt", 60, 0, 14_760)
    assert drawn.integral() / 1000 == pytest.approx(17_108.51, rel=1e-4)
    assert drawn.integral() / 3600 == pytest.approx(4752.36, rel=1e-4)
    assert drawn.gaps == (Interval(6150, 14_760),)
