"""Two channels together: only what both know, and their product between the readings."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from retort_log.pairs import paired, product
from retort_log.readings import Trace, draw
from tests.retort_log.series import floats, trace, traces


def test_only_what_both_know_is_left() -> None:
    one = draw(trace((0, 10.0), (10, 20.0), (20, 10.0)), "degF", 900, 0, 1200)
    other = draw(trace((5, 1.0), (8, 2.0), (30, 1.0)), "degF", 900, 0, 1200)
    line, values = paired(one, other)
    assert line.at.tolist() == [300, 480]
    assert line.values.tolist() == [15, 18]
    assert values.tolist() == [1, 2]
    assert line.is_read.tolist() == [False, False]


def test_a_gap_of_either_breaks_both() -> None:
    one = draw(trace(*((m, 1.0) for m in range(0, 61, 10))), "degF", 900, 0, 3600)
    other = draw(trace((0, 2.0), (10, 2.0), (40, 2.0), (50, 2.0)), "degF", 900, 0, 3600)
    line, _ = paired(one, other)
    assert line.at.tolist() == [0, 600, 2400, 3000]
    assert line.is_joined.tolist() == [True, False, True]
    nothing = draw(Trace(floats([]), floats([]), "degF"), "degF", 900, 0, 3600)
    assert len(paired(one, nothing)[0].at) == 0


@settings(max_examples=50, deadline=None)
@given(traces(), traces(), st.integers(60, 600))
def test_the_product_agrees_with_dense_multiplying(
    first: Trace, second: Trace, max_gap_s: int
) -> None:
    end = float(max(first.seconds[-1], second.seconds[-1]))
    one, other = (draw(t, "degF", max_gap_s, 0, end) for t in (first, second))
    line, values = paired(one, other)
    curve = product(line, values)
    for start, length, c0, c1, c2 in zip(
        curve.starts, curve.lengths, curve.c0, curve.c1, curve.c2, strict=True
    ):
        for tau in np.linspace(0, length, 4):
            known = one.value_at(start + tau), other.value_at(start + tau)
            assert known[0] is not None
            assert known[1] is not None
            assert c0 + tau * (c1 + tau * c2) == pytest.approx(known[0] * known[1])
    grid = np.arange(0.5, end, 1.0)
    both = [one.value_at(t) is not None and other.value_at(t) is not None for t in grid]
    assert curve.covered_s == pytest.approx(np.sum(both), abs=0.5)
