"""Trailing means: exact over time or of samples, never across a gap or back before the start."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from retort_log.permit_rules import Averaging
from retort_log.readings import Interval, Line, Trace, draw
from retort_log.windows import Means, trailing_means
from tests.retort_log.series import floats, measured, needs_furnace_test, shaped, trace, traces

HOUR = 3600.0
TEN_MINUTES = 600.0


def line(read: Trace, end_min: float, start_min: float = 0, gap_min: float = 15) -> Line:
    return draw(read, "degF", gap_min * 60, start_min * 60, end_min * 60)


def means(drawn: Line, window_s: float, by: Averaging = Averaging.TIME) -> Means:
    return trailing_means(drawn, window_s, by)


# 30 min at 1,500 °F and 30 min at 1,700 °F: the 1-hour mean (New York, 6 NYCRR 219-4.4) is 1,600.
HALF_AND_HALF = [*((m, 1500.0) for m in range(30)), *((m, 1700.0) for m in range(31, 61))]


@pytest.mark.parametrize("by", [Averaging.TIME, Averaging.SAMPLES])
def test_an_hour_s_mean_passes_what_ten_minutes_do_not(by: Averaging) -> None:
    drawn = line(trace(*HALF_AND_HALF, (30, 1600.0)), 60)
    assert means(drawn, HOUR, by).below(1600) == ()
    assert means(drawn, TEN_MINUTES, by).seconds_below(1600) > 20 * 60


def test_a_step_exactly_on_the_limit_is_not_below() -> None:
    step = trace((0, 1500.0), (29.9, 1500.0), (30.1, 1700.0), (60, 1700.0))
    found = means(line(step, 60, gap_min=40), HOUR)
    assert found.below(1600) == ()
    assert found.lowest() == found.highest()
    assert found.covered_s == 0
    assert found.below(1600.001) == (Interval(3600, 3600),)


def test_the_mean_crosses_the_limit_where_its_parabola_does() -> None:
    # From 1,650 at minute 60 the line falls 1 °F a minute: after x min the 60-min mean lost x²/120.
    read = trace((0, 1650.0), (60, 1650.0), (180, 1530.0))
    found = means(line(read, 180, gap_min=121), HOUR)
    (interval,) = found.below(1640)
    assert interval.start == pytest.approx(3600 + 60 * np.sqrt(1200), abs=1e-6)
    assert interval.end == 180 * 60


def test_no_window_reaches_back_before_the_start() -> None:
    read = trace((-60, 1000.0), (-0.5, 1000.0), (0, 1700.0), (120, 1700.0))
    found = means(line(read, 120, gap_min=121), HOUR)
    assert found.below(1600) == ()
    assert found.starts[0] == HOUR
    assert found.covered_s == found.judgeable_s == HOUR


@pytest.mark.parametrize("by", [Averaging.TIME, Averaging.SAMPLES])
def test_a_line_shorter_than_the_window_is_only_provisional(by: Averaging) -> None:
    found = means(line(shaped(50, lambda m: 1500.0), 50), HOUR, by)
    assert found.is_short
    assert found.provisional == 1500
    assert found.below(1600) == ()
    assert found.judgeable_s == 0
    assert found.lowest() is None


def test_a_window_with_a_gap_is_not_judged_and_that_is_said() -> None:
    points = [(float(m), 1500.0) for m in range(0, 241) if not 100 < m < 120]
    found = means(line(trace(*points), 240, gap_min=5), HOUR)
    assert found.below(1600) == (Interval(3600, 6000), Interval(10_800, 14_400))
    assert found.not_judged_s == pytest.approx(80 * 60)


@pytest.mark.parametrize("by", [Averaging.TIME, Averaging.SAMPLES])
def test_without_readings_no_mean_is_known(by: Averaging) -> None:
    found = means(line(Trace(floats([]), floats([]), "degF"), 120), HOUR, by)
    assert found.covered_s == 0
    assert found.not_judged_s == HOUR
    assert found.highest() is None
    assert not found.is_short


def test_where_the_line_was_cut_there_is_no_sample() -> None:
    read = shaped(30, lambda m: 1600.0 + m, step_s=120)
    found = means(line(read, 29, start_min=1), 600, Averaging.SAMPLES)
    # Samples at 2, 4 … 28 min; the first full window ends at 12 min and holds 4 … 12 and 2.
    assert found.starts[0] == 12 * 60
    assert found.c0[0] == pytest.approx(1600 + np.mean([4, 6, 8, 10, 12]))
    assert found.starts[-1] + found.lengths[-1] == 29 * 60


def test_there_is_a_mean_only_over_a_window() -> None:
    drawn = line(shaped(30, lambda m: 1600.0), 30)
    for window_s, by in ((0.0, Averaging.TIME), (60.0, Averaging.INSTANT)):
        with pytest.raises(ValueError, match="window"):
            means(drawn, window_s, by)


@settings(deadline=None)
@given(traces(), st.integers(60, 1200), st.integers(1540, 1660))
def test_means_agree_with_dense_resampling(read: Trace, window_s: int, limit: int) -> None:
    drawn = draw(read, "degF", 600, float(read.seconds[0]), float(read.seconds[-1]))
    found = means(drawn, window_s)
    grid = np.arange(drawn.start, drawn.end + 0.25, 0.5)
    values = np.interp(grid, read.seconds, read.values)
    sums = np.concatenate(([0.0], np.cumsum((values[1:] + values[:-1]) / 4)))
    dense = (sums[2 * window_s :] - sums[: max(0, len(sums) - 2 * window_s)]) / window_s
    if not len(dense):
        assert found.covered_s == 0
        return
    low, high = found.lowest(), found.highest()
    assert low is not None
    assert high is not None
    # All bends lie on the grid, so its trapezoids are exact; its ends of windows are not all.
    assert low.value <= dense.min() + 1e-6
    assert high.value >= dense.max() - 1e-6
    assert low.value == pytest.approx(dense.min(), abs=0.2)
    counted = float((dense < limit - 1e-6).sum()) / 2
    crossings = 2 * (len(found.below(limit)) + 1)
    assert found.seconds_below(limit) == pytest.approx(counted, abs=crossings)


@settings(deadline=None)
@given(traces(), st.integers(60, 1200), st.integers(1540, 1660), st.data())
def test_points_added_on_the_line_change_nothing(
    read: Trace, window_s: int, limit: int, data: st.DataObject
) -> None:
    ends = (float(read.seconds[0]), float(read.seconds[-1]))
    extra = data.draw(st.lists(st.floats(*ends), max_size=20, unique=True))
    more = np.setdiff1d(floats(extra), read.seconds)
    fuller = Trace(
        np.concatenate((read.seconds, more)),
        np.concatenate((read.values, np.interp(more, read.seconds, read.values))),
        "degF",
    )
    one, other = (means(draw(t, "degF", 600, *ends), window_s) for t in (read, fuller))
    assert one.covered_s == pytest.approx(other.covered_s)
    assert one.seconds_below(limit) == pytest.approx(other.seconds_below(limit), abs=0.05)


# A furnace test measured by NIST (Composite Beam, test 3), samples 15 s apart, column TCC8.
@needs_furnace_test
@pytest.mark.parametrize(
    ("window_s", "top", "at", "counts"),
    [
        (TEN_MINUTES, 1093.8175, 4020, {850.0: (267, 1125, 5115)}),
        (HOUR, 1005.1987, 4575, {850.0: (174, 3600, 6195), 871.1111: (161, 3675, 6075)}),
    ],
)
def test_means_of_a_measured_furnace(
    window_s: float, top: float, at: float, counts: dict[float, tuple[int, float, float]]
) -> None:
    drawn = draw(measured("TCC8", "degC"), "degC", 60, 0, 14_760)
    found = means(drawn, window_s, Averaging.SAMPLES)
    highest = found.highest()
    assert highest is not None
    assert highest.value == pytest.approx(top, abs=1e-3)
    assert highest.at == at
    for limit, (count, first, last) in counts.items():
        ends = found.starts[found.c0 >= limit]
        assert (len(ends), ends[0], ends[-1]) == (count, first, last)
        # Over time the same trace crosses nearby: the samples stand half a step later, and a
        # mean of samples is known only at each of them.
        (by_time,) = means(drawn, window_s).above(limit)
        assert by_time.start == pytest.approx(first, abs=22.5)
        assert by_time.end == pytest.approx(last, abs=22.5)
