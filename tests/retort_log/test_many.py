"""Many runs at once give what each gives alone."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from retort_log import crossings
from retort_log.many import Found, Runs, many
from retort_log.permit_rules import Averaging
from retort_log.readings import Floats, Line, ReadingsError, Trace, draw
from retort_log.windows import trailing_means
from tests.retort_log.series import floats, measured, needs_furnace_test, trace, traces

# A logger's clock does not tick at whole seconds.
TICK = st.sampled_from([1.0, 1.000137, 0.9871234567])
BY = st.sampled_from([Averaging.TIME, Averaging.SAMPLES])


def alone(line: Line, limit: float, window_s: float, by: Averaging) -> list[float]:
    means = trailing_means(line, window_s, by)
    lowest, highest = crossings.lowest(line), crossings.peak(line)
    reached, lowest_mean = crossings.time_to_reach(line, limit), means.lowest()
    return [
        line.covered_s,
        line.longest_gap_s,
        crossings.seconds_below(line, limit),
        highest.value if highest else np.nan,
        lowest.value if lowest else np.nan,
        np.nan if reached is None else reached,
        lowest_mean.value if lowest_mean else np.nan,
        means.covered_s,
        means.seconds_below(limit),
    ]


def ticking(read: Trace, tick: float) -> Trace:
    return Trace(read.seconds * tick, read.values, read.unit)


def columns(found: Found) -> Floats:
    return np.stack(
        (
            found.covered_s,
            found.longest_gap_s,
            found.seconds_below,
            found.highest,
            found.lowest,
            found.reached_s,
            found.lowest_mean,
            found.mean_judged_s,
            found.mean_below_s,
        ),
        axis=1,
    )


def assert_same(found: Found, expected: list[list[float]]) -> None:
    np.testing.assert_allclose(columns(found), expected, atol=1e-3)


@settings(max_examples=150, deadline=None)
@given(
    st.lists(st.tuples(traces(), st.integers(0, 900), st.integers(0, 4000)), max_size=5),
    st.integers(1540, 1660),
    st.integers(60, 900),
    BY,
    TICK,
)
def test_lines_laid_end_to_end_give_what_each_gives_alone(
    given_runs: list[tuple[Trace, int, int]],
    limit: int,
    window_s: int,
    by: Averaging,
    tick: float,
) -> None:
    lines = [
        draw(ticking(read, tick), "degF", 300, start, start + length)
        for read, start, length in given_runs
    ]
    found = many(Runs.of_lines(lines), limit, window_s, by)
    if lines:
        assert_same(found, [alone(line, limit, window_s, by) for line in lines])
    else:
        assert columns(found).shape == (0, 9)


@settings(max_examples=150, deadline=None)
@given(
    traces(longest=60),
    st.lists(st.tuples(st.integers(1, 900), st.integers(1, 3000)), min_size=1, max_size=6),
    st.integers(1540, 1660),
    BY,
    TICK,
)
def test_runs_cut_out_of_a_series_give_what_each_gives_alone(
    whole: Trace, spans: list[tuple[int, int]], limit: int, by: Averaging, tick: float
) -> None:
    read = ticking(whole, tick)
    starts, ends, at = [], [], 0.0
    for pause, length in spans:
        starts.append(at + pause)
        at = starts[-1] + length
        ends.append(at)
    runs = Runs.of_series(read, "degF", 300, floats(starts), floats(ends))
    lines = [draw(read, "degF", 300, a, b) for a, b in zip(starts, ends, strict=True)]
    found = many(runs, limit, 240, by)
    assert_same(found, [alone(line, limit, 240, by) for line in lines])


def test_a_window_that_begins_with_its_stretch_never_reaches_into_the_gap_before() -> None:
    rng = np.random.default_rng(5)
    for start in rng.uniform(1000, 5000, 200):
        cold = floats([0.1, 100.3])
        hot = start + 60.1 * np.arange(20)
        read = Trace(np.append(cold, hot), np.append([-1e6, -1e6], np.full(20, 1700.0)), "degF")
        line = draw(read, "degF", 90, 0.1, float(hot[-1]))
        found = many(Runs.of_lines([line]), 1600, 60.1 * 7)
        assert found.lowest_mean[0] == pytest.approx(1700)
        assert found.mean_below_s[0] == 0


def test_without_a_window_no_means_are_made() -> None:
    found = many(Runs.of_lines([draw(trace((0, 1500.0), (9, 1700.0)), "degF", 900, 0, 540)]), 1600)
    assert np.isnan(found.lowest_mean).all()
    assert found.seconds_below.tolist() == [270]
    assert found.reached_s.tolist() == [270]


@pytest.mark.parametrize(
    ("starts", "ends"), [([0.0, 50.0], [60.0, 90.0]), ([0.0, 60.0], [60.0, 90.0]), ([5.0], [5.0])]
)
def test_runs_of_one_retort_never_touch(starts: list[float], ends: list[float]) -> None:
    with pytest.raises(ReadingsError):
        Runs.of_series(trace((0, 1.0)), "degF", 300, floats(starts), floats(ends))


def test_no_readings_give_gaps_only() -> None:
    nothing = Trace(floats([]), floats([]), "degF")
    found = many(Runs.of_series(nothing, "degF", 300, floats([0]), floats([60])), 1600, 600)
    assert found.longest_gap_s.tolist() == [60]
    assert found.covered_s.tolist() == [0]
    none = many(Runs.of_series(trace((0, 1.0)), "degF", 300, floats([]), floats([])), 1600, 600)
    assert len(none.covered_s) == 0


# A furnace test measured by NIST (Composite Beam, test 3), samples 15 s apart, column TCC8.
@needs_furnace_test
def test_a_measured_furnace_three_times_over() -> None:
    line = draw(measured("TCC8", "degC"), "degC", 60, 0, 14_760)
    found = many(Runs.of_lines([line] * 3), 850.0, 3600)
    assert_same(found, [alone(line, 850.0, 3600, Averaging.TIME)] * 3)
    assert found.highest.tolist() == [1108.8] * 3
