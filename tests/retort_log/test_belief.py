"""The conjugate update: against SciPy, and as it must behave."""

from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from retort_log.belief import Belief, Sample

masses = st.floats(0.5, 6)
PRIOR = Belief(mean=2.5, mean_cases=0.9, spread=0.425, spread_cases=20)


@given(st.lists(masses, max_size=20), st.lists(masses, max_size=20))
def test_two_samples_add_up_to_one(first: list[float], second: list[float]) -> None:
    both, whole = Sample.of(first) + Sample.of(second), Sample.of(first + second)
    assert both.count == whole.count
    assert both.mean == pytest.approx(whole.mean)
    assert both.squares == pytest.approx(whole.squares, abs=1e-9)


@given(st.lists(masses, min_size=1, max_size=20), st.randoms())
def test_the_order_of_cases_does_not_matter(values: list[float], chance: object) -> None:
    shuffled = list(values)
    chance.shuffle(shuffled)  # type: ignore[attr-defined]
    assert Sample.of(shuffled) == Sample.of(values)


@given(st.lists(masses, max_size=20), st.lists(masses, max_size=20))
def test_a_belief_learns_the_same_at_once_or_in_two_parts(
    first: list[float], second: list[float]
) -> None:
    at_once = PRIOR.after(Sample.of(first + second))
    in_parts = PRIOR.after(Sample.of(first)).after(Sample.of(second))
    assert in_parts.mean == pytest.approx(at_once.mean)
    assert in_parts.spread == pytest.approx(at_once.spread)
    assert in_parts.spread_cases == at_once.spread_cases


def test_the_update_is_that_of_the_textbook() -> None:
    """Gelman et al., Bayesian Data Analysis, 3.3, worked out by hand: from memory."""
    after = Belief(mean=2, mean_cases=1, spread=1, spread_cases=1).after(Sample.of([4, 4, 4]))
    assert after.mean == 3.5
    assert after.mean_cases == 4
    assert after.spread_cases == 4
    assert after.spread == pytest.approx(1.0)  # (1 + 1·3/4·(4 - 2)²) / 4


def test_the_range_of_the_next_case_is_that_of_scipy() -> None:
    after = PRIOR.after(Sample.of([2.1, 2.9, 3.4, 2.2]))
    scale = after.spread * sqrt(1 + 1 / after.mean_cases)
    low, _ = stats.t.interval(0.95, after.spread_cases, loc=after.mean, scale=scale)
    assert after.mean - after.half_width(0.95) == pytest.approx(low)


def test_many_cases_outweigh_what_was_believed() -> None:
    seen = Sample.of([1.2, 1.4, 1.6] * 1000)
    after = PRIOR.after(seen)
    assert after.mean == pytest.approx(1.4, abs=0.001)
    assert after.spread == pytest.approx(sqrt(seen.squares / seen.count), abs=0.005)


def test_the_published_ranges_give_the_interval_of_one_region() -> None:
    """Warren & Maples alone, 45 cases a sex: 2.039 to 3.747 kg and 0.986 to 2.694 kg."""
    for mean, low, high in ((2.893, 2.039, 3.747), (1.840, 0.986, 2.694)):
        region = Belief(mean, 45, 0.425, 89)
        assert mean - region.half_width(0.95) == pytest.approx(low, abs=0.001)
        assert mean + region.half_width(0.95) == pytest.approx(high, abs=0.001)


def test_the_spread_comes_from_the_published_ranges() -> None:
    """d2 of 45 cases by simulation: the mean width of a sample, in standard deviations."""
    draws = stats.norm.rvs(size=(20_000, 45), random_state=1)
    widths = draws.max(axis=1) - draws.min(axis=1)
    assert widths.mean() == pytest.approx(4.4, abs=0.1)
    # A spread made from such a range is worth about twenty cases.
    assert 1 / (2 * (widths.std() / widths.mean()) ** 2) == pytest.approx(20, abs=3)
