"""Smoke as EPA Method 9 reckons it: means of 24 readings, 15 seconds apart. Pure.

Sets do not overlap and need not be back to back (from memory); the highest mean is sought among
all runs of 24 consecutive readings. Fewer than 24 in a row are incomplete and judge nothing.
"""

from dataclasses import dataclass

import numpy as np

from retort_log.readings import ON_LIMIT, Floats, Trace

IN_SET = 24
STEP_S = 15.0
# Readings are made by eye at a watch; a longer pause breaks the row. A choice of this design.
STEP_TOLERANCE_S = 5.0
HOUR_S = 3600.0
SET_S = IN_SET * STEP_S


@dataclass(frozen=True)
class OpacitySet:
    """24 consecutive readings: from the first to the end of the last one's 15 s, and the mean."""

    start: float
    end: float
    mean: float


@dataclass(frozen=True)
class SixMinuteMeans:
    """All means of 24 consecutive readings, and how many readings are in no such set."""

    sets: tuple[OpacitySet, ...]  # they overlap: each begins at one reading
    incomplete: int

    @property
    def highest(self) -> OpacitySet | None:
        """The set with the highest mean, the first of equals; None where none is complete."""
        return max(self.sets, key=lambda found: found.mean, default=None)

    def over(self, limit: float, *, limit_is_breach: bool = False) -> tuple[OpacitySet, ...]:
        """Return as many sets as there are that break the limit and do not overlap, in order."""
        least = limit - ON_LIMIT if limit_is_breach else limit + ON_LIMIT
        found: list[OpacitySet] = []
        for one in self.sets:
            if one.mean >= least and (not found or one.start >= found[-1].end - STEP_TOLERANCE_S):
                found.append(one)
        return tuple(found)


def six_minute_means(readings: Trace) -> SixMinuteMeans:
    """Return the means of all sets of 24 readings in a row, in per cent opacity."""
    at, values = readings.seconds, readings.values
    breaks = np.flatnonzero(np.abs(np.diff(at) - STEP_S) > STEP_TOLERANCE_S) + 1
    sets: list[OpacitySet] = []
    incomplete = 0
    for rows_at, rows in zip(np.split(at, breaks), np.split(values, breaks), strict=True):
        if len(rows) < IN_SET:
            incomplete += len(rows)
        else:
            sets += _sets(rows_at, rows)
    return SixMinuteMeans(tuple(sets), incomplete)


def _sets(at: Floats, values: Floats) -> list[OpacitySet]:
    means = np.lib.stride_tricks.sliding_window_view(values, IN_SET).mean(axis=1)
    last = at[IN_SET - 1 :] + STEP_S
    return [
        OpacitySet(start, end, mean)
        for start, end, mean in zip(at.tolist(), last.tolist(), means.tolist(), strict=False)
    ]


def unexcused(sets: tuple[OpacitySet, ...], exception: float) -> tuple[OpacitySet, ...]:
    """Return the sets over the limit that its exception, once in any hour, does not cover.

    A set above the exception is never covered; one that begins within an hour of a covered one
    is not covered either.
    """
    found: list[OpacitySet] = []
    covered_at: float | None = None
    for one in sets:
        is_first = covered_at is None or one.start - covered_at >= HOUR_S
        if one.mean <= exception + ON_LIMIT and is_first:
            covered_at = one.start
        else:
            found.append(one)
    return tuple(found)
