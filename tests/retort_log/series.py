"""Series of readings for the tests: made up, or measured by somebody else."""

import csv
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import strategies as st

from retort_log.readings import Floats, Trace

FURNACE_TEST = Path(__file__).parents[3] / "shared" / "data" / "nist_composite_beam_test_3.csv"

needs_furnace_test = pytest.mark.skipif(
    not FURNACE_TEST.exists(),
    reason="the measured furnace test (NIST composite beam, test 3) is not beside the project",
)


def measured(column: str, unit: str) -> Trace:
    """Return one column of the furnace test, 15 s apart; empty and NaN cells are no value."""
    with FURNACE_TEST.open(newline="") as file:
        header, _, *rows = csv.reader(file)
    at, value = header.index("Time"), header.index(column)
    seconds = [float(row[at]) for row in rows]
    return Trace(floats(seconds), floats([float(row[value] or "nan") for row in rows]), unit)


def floats(values: list[float]) -> Floats:
    """Return numbers as an array."""
    return np.array(values, dtype=np.float64)


def trace(*points: tuple[float, float], unit: str = "degF", is_typed: bool = False) -> Trace:
    """Return a trace of (minute, value) points."""
    return Trace(
        floats([60 * minute for minute, _ in points]),
        floats([value for _, value in points]),
        unit,
        is_typed,
    )


def shaped(
    minutes: int, shape: Callable[[float], float], step_s: int = 60, unit: str = "degF"
) -> Trace:
    """Return a trace of one reading a step, its value a function of the minute."""
    seconds = [float(s) for s in range(0, minutes * 60 + 1, step_s)]
    return Trace(floats(seconds), floats([shape(s / 60) for s in seconds]), unit)


@st.composite
def traces(draw: st.DrawFn, longest: int = 30, unit: str = "degF") -> Trace:
    """Any log: distances of 1 s to 10 min, temperatures in tenths around a common limit."""
    steps = draw(st.lists(st.integers(1, 600), min_size=1, max_size=longest))
    values = draw(st.lists(st.integers(15_000, 17_000), min_size=len(steps), max_size=len(steps)))
    return Trace(np.cumsum(steps).astype(np.float64), floats([v / 10 for v in values]), unit)
