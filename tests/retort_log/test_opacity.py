"""Six-minute means of smoke, as EPA Method 9 reckons them."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from retort_log.opacity import OpacitySet, six_minute_means, unexcused
from retort_log.readings import Trace
from tests.retort_log.series import floats


def smoke(values: list[float], start: float = 0.0, step_s: float = 15.0) -> Trace:
    return Trace(
        floats([start + step_s * i for i in range(len(values))]), floats(values), "percent"
    )


@pytest.mark.parametrize(
    ("values", "mean"),
    [([5.0] * 20 + [25.0] * 4, 8.333), ([0.0] * 23 + [100.0], 4.167)],
)
def test_the_mean_of_a_set(values: list[float], mean: float) -> None:
    highest = six_minute_means(smoke(values)).highest
    assert highest is not None
    assert highest.mean == pytest.approx(mean, abs=1e-3)
    assert highest.end - highest.start == 360


def test_fewer_than_24_readings_are_incomplete() -> None:
    found = six_minute_means(smoke([100.0] * 23))
    assert found.highest is None
    assert found.incomplete == 23
    assert found.over(10) == ()


def test_a_pause_breaks_the_row() -> None:
    first, second = smoke([10.0] * 23), smoke([90.0] * 24, start=600)
    both = Trace(
        floats([*first.seconds, *second.seconds]),
        floats([*first.values, *second.values]),
        "percent",
    )
    found = six_minute_means(both)
    assert found.incomplete == 23
    assert [one.mean for one in found.sets] == [90.0]


# New York, 6 NYCRR 219-4.4(a): a mean of 10 % or more is a breach.
def test_new_york_forbids_the_limit_itself() -> None:
    at_limit, below = (six_minute_means(smoke([v] * 24)) for v in (10.0, 9.99))
    assert len(at_limit.over(10, limit_is_breach=True)) == 1
    assert at_limit.over(10) == ()
    assert below.over(10, limit_is_breach=True) == ()


def test_sets_do_not_overlap() -> None:
    assert len(six_minute_means(smoke([50.0] * 47)).over(10)) == 1
    assert len(six_minute_means(smoke([50.0] * 48)).over(10)) == 2


# Florida, 62-296.401(1)(a): 5 %, and up to 15 % for one six-minute period in any hour.
def test_one_set_an_hour_is_excused_up_to_the_exception() -> None:
    def sets(*pairs: tuple[float, float]) -> tuple[OpacitySet, ...]:
        return tuple(OpacitySet(at * 60, at * 60 + 360, mean) for at, mean in pairs)

    assert unexcused(sets((0, 15.0), (60, 12.0)), 15) == ()
    assert unexcused(sets((0, 15.0), (59, 12.0)), 15) == sets((59, 12.0))
    assert unexcused(sets((0, 15.1)), 15) == sets((0, 15.1))


@settings(deadline=None)
@given(st.lists(st.integers(0, 20).map(lambda n: 5.0 * n), min_size=24, max_size=100))
def test_the_highest_mean_is_the_highest_of_all_rows(values: list[float]) -> None:
    highest = six_minute_means(smoke(values)).highest
    rows = [sum(values[i : i + 24]) / 24 for i in range(len(values) - 23)]
    assert highest is not None
    assert highest.mean == pytest.approx(max(rows))
