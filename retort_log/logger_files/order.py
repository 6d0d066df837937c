"""The order of the lines in time: back steps, doubles, gaps. Pure; nothing is filled in."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from retort_log.logger_files.careful import Rows

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# Fewer lines than this that lie back in time were written late; more are a clock set back.
FEW_LINES = 10
# A step this many times the usual one is a gap.
GAP_STEPS = 1.5

NOTES: Mapping[str, str] = {
    "newest_first": "The file runs from the newest line to the oldest. It was turned round.",
    "out_of_order": "Lines stand out of order. They were put in the order of their times.",
    "clock_back": "The time goes back and runs on from there: the logger's clock was set back or "
    "it began anew. Check the times from this line on before you rely on them.",
    "duplicate": "Lines repeat an earlier line's time and values. Each was kept once.",
    "header_again": "The headings stand again in the middle: the logger began anew here.",
}


@dataclass(frozen=True, slots=True)
class Note:
    """Something that was seen and that cost no value. Lines count from 1; times are ms UTC."""

    code: str
    line: int
    last_line: int
    count: int = 1
    from_ms: int | None = None
    to_ms: int | None = None

    @property
    def text(self) -> str:
        """What was seen and what was done, in plain words."""
        return NOTES[self.code]


@dataclass(frozen=True, slots=True)
class Gap:
    """A time without readings, between two readings; ms UTC."""

    from_ms: int
    to_ms: int

    @property
    def length_ms(self) -> int:
        """How long it lasts."""
        return self.to_ms - self.from_ms


def runs_backwards(ms: Ints) -> bool:
    """True for a file with its newest line first."""
    if (ms[1:] >= ms[:-1]).all():
        return False
    steps = np.diff(ms)
    return bool(np.count_nonzero(steps < 0) > np.count_nonzero(steps > 0))


def back_steps(rows: Rows) -> list[Note]:
    """Where the time goes back, in the order of the file (or against it, if it runs backwards)."""
    notes = []
    ms, lines = rows.ms, rows.lines
    if runs_backwards(ms):
        notes.append(Note("newest_first", int(lines[0]), int(lines[-1]), len(lines)))
        ms, lines = ms[::-1], lines[::-1]
    if len(ms) < 2 or (ms[1:] >= ms[:-1]).all():
        return notes
    highest = np.maximum.accumulate(ms)
    for start, end in _stretches(ms < highest):
        code = "out_of_order" if end - start < FEW_LINES else "clock_back"
        first, last = sorted((int(lines[start]), int(lines[end - 1])))
        notes.append(
            Note(code, first, last, end - start, int(highest[start]), int(ms[start:end].min()))
        )
    return notes


def _stretches(flags: Bools) -> list[tuple[int, int]]:
    """Start and end (exclusive) of each stretch of true values."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], flags, [False])).astype(np.int8)))
    return [(int(start), int(end)) for start, end in edges.reshape(-1, 2)]


@dataclass(frozen=True)
class Doubles:
    """Which rows, of rows sorted by time, are kept; which repeat one; which contradict one."""

    kept: Bools
    repeats: Bools
    conflicts: Bools


def doubles(ms: Ints, values: NDArray[np.float64]) -> Doubles:
    """Look at rows with the same time. Empty places count as values here.

    Same values: the first is kept. Any other value: none of them is kept.
    """
    kept, none = np.ones(len(ms), np.bool_), np.zeros(len(ms), np.bool_)
    same = ms[1:] == ms[:-1]
    if not same.any():
        return Doubles(kept, none, none)
    alike = np.ones(len(ms), np.bool_)
    left, right = values[1:], values[:-1]
    alike[1:] = ((left == right) | (np.isnan(left) & np.isnan(right))).all(axis=1)
    again = np.concatenate(([False], same))
    group = np.cumsum(~again) - 1
    torn = np.bincount(group, weights=again & ~alike) > 0
    conflicts = torn[group]
    repeats = again & ~conflicts
    return Doubles(~(repeats | conflicts), repeats, conflicts)


def usual_step(ms: Ints) -> int | None:
    """The median step between readings in ms, or None with fewer than two."""
    if len(ms) < 2:
        return None
    steps = np.diff(ms)
    return int(steps[0] if (steps == steps[0]).all() else np.median(steps))


def gaps(ms: Ints, step: int | None) -> tuple[Gap, ...]:
    """The steps longer than GAP_STEPS times the usual one, in order of time."""
    if step is None:
        return ()
    at = np.flatnonzero(np.diff(ms) > GAP_STEPS * step)
    return tuple(Gap(int(ms[n]), int(ms[n + 1])) for n in at)
