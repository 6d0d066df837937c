"""When a line lies below or above a limit, first reaches it, and its steepest rise. Pure.

All of it is exact on the line: see `retort_log.readings`. A value on the limit is not below it
and not above it. Limits are numbers in the line's own unit.
"""

from dataclasses import dataclass

import numpy as np

from retort_log.readings import ON_LIMIT, TOUCH_S, Floats, Interval, Line


@dataclass(frozen=True)
class Extreme:
    """A highest or steepest value, and the instant at which it was first reached."""

    value: float
    at: float


def over(values: Floats, limit: float) -> Floats:
    """Return by how much values exceed a limit; exactly nought for those on it."""
    excess = values - limit
    excess[np.abs(excess) < ON_LIMIT] = 0.0
    return excess


def seconds_below(line: Line, limit: float) -> float:
    """For how long the line runs below the limit, in seconds."""
    return float(seconds_of_negative(line.lengths, over(line.values, limit)).sum())


def seconds_above(line: Line, limit: float) -> float:
    """For how long the line runs above the limit, in seconds."""
    return float(seconds_of_negative(line.lengths, -over(line.values, limit)).sum())


def seconds_of_negative(lengths: Floats, excess: Floats) -> Floats:
    """Return for each piece how long it runs below nought, by its length and its two ends."""
    size = np.abs(excess)
    below = (size - excess) / 2
    total = size[:-1] + size[1:]
    share = np.divide(below[:-1] + below[1:], total, out=np.zeros_like(total), where=total > 0)
    return np.asarray(share * lengths)


def below(line: Line, limit: float) -> tuple[Interval, ...]:
    """Return when the line runs below the limit.

    A reading that stands alone between two gaps and is below gives an interval of no length: it
    is a fact, though nothing is known about how long it lasted.
    """
    return negative(line, over(line.values, limit))


def above(line: Line, limit: float) -> tuple[Interval, ...]:
    """Return when the line runs above the limit; as `below`."""
    return negative(line, -over(line.values, limit))


def negative(line: Line, excess: Floats) -> tuple[Interval, ...]:
    """Return when what stands at the line's points, straight between them, is below nought."""
    before, after = excess[:-1], excess[1:]
    touched = line.is_joined & ((before < 0) | (after < 0))
    length = np.diff(line.at)
    with np.errstate(divide="ignore", invalid="ignore"):
        crossing = line.at[:-1] + length * (before / (before - after))
    starts = np.where(before <= 0, line.at[:-1], crossing)[touched]
    ends = np.where(after <= 0, line.at[1:], crossing)[touched]
    found = [*zip(starts.tolist(), ends.tolist(), strict=True), *_alone(line, excess)]
    return united(sorted(found))


def _alone(line: Line, excess: Floats) -> list[tuple[float, float]]:
    """Return the readings below nought that no line touches."""
    if not len(line.at):
        return []
    has_line = np.concatenate(([False], line.is_joined)) | np.concatenate((line.is_joined, [False]))
    alone = line.at[(excess < 0) & ~has_line].tolist()
    return [(instant, instant) for instant in alone]


def united(pieces: list[tuple[float, float]]) -> tuple[Interval, ...]:
    """Make one interval of those that touch; the pieces come in order."""
    whole: list[tuple[float, float]] = []
    for start, end in pieces:
        if whole and start <= whole[-1][1] + TOUCH_S:
            whole[-1] = (whole[-1][0], max(end, whole[-1][1]))
        else:
            whole.append((start, end))
    return tuple(Interval(start, end) for start, end in whole)


def first_at_or_above(line: Line, limit: float) -> float | None:
    """Return the instant at which the line first is on or above the limit, or None."""
    return _first_from(line, over(line.values, limit))


def first_at_or_below(line: Line, limit: float) -> float | None:
    """Return the instant at which the line first is on or below the limit, or None."""
    return _first_from(line, -over(line.values, limit))


def _first_from(line: Line, excess: Floats) -> float | None:
    reached = np.flatnonzero(excess >= 0)
    if not len(reached):
        return None
    i = int(reached[0])
    if i == 0 or not line.is_joined[i - 1] or excess[i] == 0:
        return float(line.at[i])
    share = excess[i - 1] / (excess[i - 1] - excess[i])
    return float(line.at[i - 1] + share * (line.at[i] - line.at[i - 1]))


def time_to_reach(line: Line, limit: float) -> float | None:
    """Return the seconds from the line's start until it first is on or above the limit.

    Nought where it already was; None where it never was. Where a gap lies before that instant,
    the limit may have been reached earlier: look at `line.gaps`.
    """
    instant = first_at_or_above(line, limit)
    return None if instant is None else instant - line.start


def first_highest(values: Floats) -> int:
    """Return where the highest value stands, the first of those that differ by rounding only."""
    return int(np.argmax(values >= values.max() - ON_LIMIT))


def peak(line: Line) -> Extreme | None:
    """Return the highest value and when it was first reached; None without readings."""
    if not len(line.at):
        return None
    i = first_highest(line.values)
    return Extreme(float(line.values[i]), float(line.at[i]))


def lowest(line: Line) -> Extreme | None:
    """Return the lowest value and when it was first reached; None without readings."""
    if not len(line.at):
        return None
    i = first_highest(-line.values)
    return Extreme(float(line.values[i]), float(line.at[i]))


def steepest_rise(line: Line, window_s: float) -> Extreme | None:
    """Return the greatest rise over a window, in the unit a minute, and the window's end.

    None where no stretch without a gap is as long as the window. A line that only falls gives a
    negative rise. The difference of two straight lines is greatest where one of them bends.
    """
    best: Extreme | None = None
    for first, last in line.stretches:
        at, values = line.at[first : last + 1], line.values[first : last + 1]
        ends = np.sort(np.concatenate((at, at + window_s)), kind="stable")
        ends = ends[(ends >= at[0] + window_s) & (ends <= at[-1])]
        if not len(ends):
            continue
        rises = np.interp(ends, at, values) - np.interp(ends - window_s, at, values)
        i = first_highest(rises)
        found = Extreme(float(rises[i]) / window_s * 60, float(ends[i]))
        best = found if best is None or found.value > best.value + ON_LIMIT else best
    return best
