"""The same reckoning for many runs at once: a year in one pass of arrays. Pure.

`many` gives for each run what the functions for one `Line` give, from the readings of all runs
laid end to end. The clock runs on through all of them, so that no window of one run ever reaches
into another.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Self

import numpy as np
from numpy.typing import NDArray

from retort_log.crossings import over, seconds_of_negative
from retort_log.curves import negative_parts
from retort_log.permit_rules import Averaging
from retort_log.readings import ON_LIMIT, Bools, Floats, Line, ReadingsError, Trace

Indices = NDArray[np.intp]
# Between the runs on the common clock, so that no two of them touch.
BETWEEN_S = 1.0


@dataclass(frozen=True, eq=False)
class Runs:
    """The points of all runs, run after run, on one clock that begins anew with none of them."""

    starts: Floats  # of each run, in seconds since the epoch
    ends: Floats
    run: Indices  # of each point: its run
    at: Floats  # of each point: the common clock
    values: Floats
    is_joined: Bools  # of each point: a line runs to the next one
    is_read: Bools

    @classmethod
    def of_lines(cls, lines: Sequence[Line]) -> Self:
        """Lay lines end to end; of any retorts, in any order."""
        starts = np.array([line.start for line in lines], dtype=np.float64)
        ends = np.array([line.end for line in lines], dtype=np.float64)
        run = np.repeat(np.arange(len(lines)), [len(line.at) for line in lines])
        nothing: Floats = np.empty(0)
        at = np.concatenate([nothing, *(line.at for line in lines)])
        values = np.concatenate([nothing, *(line.values for line in lines)])
        joined = [np.append(line.is_joined, False)[: len(line.at)] for line in lines]
        is_joined = np.concatenate([nothing, *joined]).astype(bool)
        is_read = np.concatenate([nothing, *(line.is_read for line in lines)]).astype(bool)
        clock = at - starts[run] + _bases(starts, ends)[run]
        return cls(starts, ends, run, clock, values, is_joined, is_read)

    @classmethod
    def of_series(
        cls, trace: Trace, unit: str, max_gap_s: float, starts: Floats, ends: Floats
    ) -> Self:
        """Cut the runs of one retort out of its series; they follow one another and never touch.

        Raises ReadingsError where runs overlap, touch or end before they start.
        """
        if (ends <= starts).any() or (starts[1:] <= ends[:-1]).any():
            raise ReadingsError("The runs of one retort follow one another and never touch.")
        trace = trace.to(unit)
        cuts, cut_values = _cuts(trace, max_gap_s, np.concatenate((starts, ends)))
        after = np.searchsorted(trace.seconds, cuts)
        at = np.insert(trace.seconds, after, cuts)
        point, run = _inside(at, starts, ends)
        values = np.insert(trace.values, after, cut_values)[point]
        is_read = np.insert(np.ones(len(trace), dtype=bool), after, False)[point]
        at = at[point]
        is_joined = np.append((np.diff(at) <= max_gap_s) & (run[1:] == run[:-1]), False)[: len(at)]
        clock = at - starts[run] + _bases(starts, ends)[run]
        return cls(starts, ends, run, clock, values, is_joined, is_read)

    def __len__(self) -> int:
        return len(self.starts)

    @cached_property
    def firsts(self) -> Indices:
        """The first point of each run that has any."""
        return np.flatnonzero(np.diff(self.run, prepend=-1))

    @cached_property
    def lengths(self) -> Floats:
        """Of each point: seconds to the next one, nought where no line runs there."""
        return np.asarray(np.diff(self.at, append=0.0) * self.is_joined)

    @cached_property
    def stretch(self) -> Indices:
        """Of each point: the first point of its stretch without a gap."""
        lasts = np.flatnonzero(~self.is_joined)
        counts = np.diff(lasts, prepend=-1)
        return np.repeat(lasts - counts + 1, counts)

    @cached_property
    def stretch_end(self) -> Floats:
        """Of each point: the common clock at the end of its stretch."""
        lasts = np.flatnonzero(~self.is_joined)
        return np.repeat(self.at[lasts], np.diff(lasts, prepend=-1))

    def total(self, run: Indices, amounts: Floats) -> Floats:
        """Add amounts up by run."""
        return np.asarray(np.bincount(run, amounts, len(self)), dtype=np.float64)

    def extreme(self, ufunc: np.ufunc, run: Indices, values: Floats) -> Floats:
        """Return the highest (np.maximum) or lowest value by run; NaN for a run without any."""
        found = np.full(len(self), np.nan)
        if len(values):
            firsts = np.flatnonzero(np.diff(run, prepend=-1))
            found[run[firsts]] = ufunc.reduceat(values, firsts)
        return found


@dataclass(frozen=True, eq=False)
class Found:
    """One number for each run, in the order of the runs; NaN where there is none."""

    covered_s: Floats
    longest_gap_s: Floats
    seconds_below: Floats
    highest: Floats
    lowest: Floats
    reached_s: Floats  # from the run's start until the limit was first reached
    # Of the trailing means, NaN or nought where no window is asked for or none is full.
    lowest_mean: Floats
    mean_judged_s: Floats
    mean_below_s: Floats


def many(
    runs: Runs,
    limit: float,
    window_s: float | None = None,
    averaging: Averaging = Averaging.TIME,
) -> Found:
    """Return for each run what its line and its trailing means give beside one lower limit.

    The limit is in the unit of the values. `window_s` None: no means are made.
    """
    excess = over(runs.values, limit)
    means = _no_means(runs)
    if window_s is not None and len(runs.at):
        make = _sample_means if averaging is Averaging.SAMPLES else _time_means
        means = make(runs, runs.values - limit, window_s)
    below = seconds_of_negative(runs.lengths[:-1], excess) if len(excess) else np.empty(0)
    return Found(
        covered_s=runs.total(runs.run, runs.lengths),
        longest_gap_s=_longest_gaps(runs),
        seconds_below=runs.total(runs.run[:-1], below),
        highest=runs.extreme(np.maximum, runs.run, runs.values),
        lowest=runs.extreme(np.minimum, runs.run, runs.values),
        reached_s=_reached(runs, excess),
        lowest_mean=means[0] + limit,
        mean_judged_s=means[1],
        mean_below_s=means[2],
    )


def _bases(starts: Floats, ends: Floats) -> Floats:
    """Return where each run begins on the common clock."""
    return np.cumsum(ends - starts + BETWEEN_S) - (ends - starts)


def _cuts(trace: Trace, max_gap_s: float, edges: Floats) -> tuple[Floats, Floats]:
    """Return the line's points at these instants, where it runs and there is no reading."""
    at, values = trace.seconds, trace.values
    after = np.searchsorted(at, edges)
    between = (after > 0) & (after < len(at))
    edges, after = edges[between], after[between]
    is_cut = (at[after] != edges) & (at[after] - at[after - 1] <= max_gap_s)
    edges = np.unique(edges[is_cut])
    return edges, np.interp(edges, at, values) if len(edges) else edges


def _inside(at: Floats, starts: Floats, ends: Floats) -> tuple[Indices, Indices]:
    """Return the points that lie within any run, and the run of each."""
    first = np.searchsorted(at, starts)
    counts = np.searchsorted(at, ends, side="right") - first
    run = np.repeat(np.arange(len(starts)), counts)
    skipped = first - (np.cumsum(counts) - counts)
    return np.arange(len(run)) + skipped[run], run


def _longest_gaps(runs: Runs) -> Floats:
    bases = _bases(runs.starts, runs.ends)
    longest = runs.ends - runs.starts
    if not len(runs.at):
        return longest
    lasts = np.append(runs.firsts[1:], len(runs.at)) - 1
    seen = runs.run[runs.firsts]
    next_at = np.append(runs.at[1:], 0.0)
    next_at[lasts] = bases[seen] + longest[seen]
    gaps = np.where(runs.is_joined, 0.0, next_at - runs.at)
    edge = runs.at[runs.firsts] - bases[seen]
    longest[seen] = np.maximum(np.maximum.reduceat(gaps, runs.firsts), edge)
    return longest


def _reached(runs: Runs, excess: Floats) -> Floats:
    found = np.full(len(runs), np.nan)
    reached = np.flatnonzero(excess >= 0)
    if not len(reached):
        return found
    point = reached[np.flatnonzero(np.diff(runs.run[reached], prepend=-1))]
    before = np.maximum(point - 1, 0)
    step = excess[point] - excess[before]
    crosses = runs.is_joined[before] & (before < point) & (excess[point] > 0)
    back = np.divide(excess[point], step, out=np.zeros(len(point)), where=crosses)
    instant = runs.at[point] - back * runs.lengths[before]
    found[runs.run[point]] = instant - _bases(runs.starts, runs.ends)[runs.run[point]]
    return found


def _no_means(runs: Runs) -> tuple[Floats, Floats, Floats]:
    return np.full(len(runs), np.nan), np.zeros(len(runs)), np.zeros(len(runs))


def _time_means(runs: Runs, values: Floats, window_s: float) -> tuple[Floats, Floats, Floats]:
    """Return lowest mean, seconds judged and seconds below nought, by run."""
    at, begin = runs.at, runs.at[runs.stretch]
    later = at + window_s
    ends = np.concatenate((at[at >= begin + window_s], later[later <= runs.stretch_end]))
    ends.sort(kind="stable")
    ends = ends[np.diff(ends, prepend=-np.inf) > 0]
    if not len(ends):
        return _no_means(runs)
    point = np.searchsorted(at, ends, side="right") - 1
    stretch = runs.stretch[point]
    first = np.maximum(np.searchsorted(at, ends - window_s, side="right") - 1, stretch)
    slopes = np.divide(
        np.diff(values, append=0.0), runs.lengths, out=np.zeros_like(at), where=runs.lengths > 0
    )
    sums = np.append(0.0, np.cumsum(runs.lengths[:-1] * (values[1:] + values[:-1]) / 2))
    last_value, last_sum = _on_line(ends, point, at, values, slopes, sums)
    first_value, first_sum = _on_line(ends - window_s, first, at, values, slopes, sums)
    means, tilt = (last_sum - first_sum) / window_s, (last_value - first_value) / window_s
    lengths = np.diff(ends) * (stretch[1:] == stretch[:-1])
    bend = np.divide(np.diff(tilt), 2 * lengths, out=np.zeros_like(lengths), where=lengths > 0)
    run, piece_run = runs.run[point], runs.run[point[:-1]]
    lowest = _lowest(means, tilt, bend, lengths)
    below = _seconds_below(means, tilt, bend, lengths, lowest)
    return (
        runs.extreme(np.minimum, run, lowest),
        runs.total(piece_run, lengths),
        runs.total(piece_run, below),
    )


def _seconds_below(
    means: Floats, tilt: Floats, bend: Floats, lengths: Floats, lowest: Floats
) -> Floats:
    """Return for each piece how long it is below nought; roots only where it crosses."""
    highest = -_lowest(-means, -tilt, -bend, lengths)[:-1]
    is_whole = highest < -ON_LIMIT
    below = lengths * is_whole
    crossing = np.flatnonzero((lowest[:-1] < -ON_LIMIT) & ~is_whole & (lengths > 0))
    edges, is_below = negative_parts(
        lengths[crossing], means[crossing], tilt[crossing], bend[crossing]
    )
    below[crossing] = (np.diff(edges, axis=0) * is_below).sum(axis=0)
    return np.asarray(below)


def _on_line(
    instants: Floats, point: Indices, at: Floats, values: Floats, slopes: Floats, sums: Floats
) -> tuple[Floats, Floats]:
    """Return value and integral at instants that lie on the line after these points."""
    since = instants - at[point]
    rise = slopes[point] * since
    return values[point] + rise, sums[point] + since * (values[point] + rise / 2)


def _lowest(means: Floats, tilt: Floats, bend: Floats, lengths: Floats) -> Floats:
    """Return the lowest of each piece: at its ends or where its parabola turns."""
    lowest = means.copy()
    np.minimum(lowest[:-1], means[1:], out=lowest[:-1], where=lengths > 0)
    turn = np.divide(-tilt[:-1], 2 * bend, out=np.zeros_like(bend), where=bend > 0)
    inside = np.flatnonzero((turn > 0) & (turn < lengths))
    depth = turn[inside] * (tilt[inside] + turn[inside] * bend[inside])
    lowest[inside] = np.minimum(lowest[inside], means[inside] + depth)
    return lowest


def _sample_means(runs: Runs, values: Floats, window_s: float) -> tuple[Floats, Floats, Floats]:
    """Return lowest mean, seconds judged and seconds below nought, by run."""
    at = runs.at
    full = np.flatnonzero(runs.is_read & (at >= at[runs.stretch] + window_s - ON_LIMIT))
    first = np.maximum(np.searchsorted(at, at[full] - window_s + ON_LIMIT), runs.stretch[full])
    sums = np.append(0.0, np.cumsum(values * runs.is_read))
    counts = np.append(0, np.cumsum(runs.is_read))
    means = (sums[full + 1] - sums[first]) / (counts[full + 1] - counts[first])
    run, lengths = runs.run[full], runs.lengths[full]
    return (
        runs.extreme(np.minimum, run, means),
        runs.total(run, lengths),
        runs.total(run, lengths * (means < -ON_LIMIT)),
    )
