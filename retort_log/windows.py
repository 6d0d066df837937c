"""Trailing means over a window, and when they are below or above a limit. Pure.

The mean at an instant is over the window that ends there. Two ways, as a permit says
(`retort_log.permit_rules.Averaging`):

- TIME: the mean over time of the line. It is a piece of a parabola between the instants at which
  the line bends at either end of the window, so crossings are roots of a quadratic, and exact.
- SAMPLES: the mean of the samples later than (end − window) and not later than the end, one mean
  at each sample; it stands until the next sample. Thinning the samples changes it, as it must.

No window reaches back before the line's start, which for a run is the charge: the first full
window ends one window's length after it. Until then there is only the mean since the start, which
is shown as provisional and never judged. A window that touches a gap is not judged either; for
how long none could be judged is `Means.not_judged_s`.
"""

from dataclasses import dataclass

import numpy as np

from retort_log.curves import Curve
from retort_log.permit_rules import Averaging
from retort_log.readings import NOTHING_S, ON_LIMIT, Floats, Line


@dataclass(frozen=True, eq=False)
class Means(Curve):
    """The trailing means over one window, each at the instant at which its window ends."""

    judgeable_s: float  # from the first full window to the line's end, nought where there is none
    is_short: bool  # the line is shorter than one window, so that nothing can be judged
    provisional: float | None  # then the mean over what is covered of it

    @property
    def not_judged_s(self) -> float:
        """For how long a full window would have ended, but a gap lies in it."""
        missing = self.judgeable_s - self.covered_s
        return missing if missing > NOTHING_S else 0.0


def trailing_means(line: Line, window_s: float, averaging: Averaging) -> Means:
    """Return the trailing means of a line over a window of so many seconds.

    Raises ValueError for a window without length, or for Averaging.INSTANT, which has none.
    """
    if averaging is Averaging.INSTANT or window_s <= 0:
        raise ValueError("There is a mean only over a window.")
    length = line.end - line.start
    by_time = averaging is Averaging.TIME
    columns = _over_time(line, window_s) if by_time else _of_samples(line, window_s)
    is_short = length < window_s
    read = line.values[line.is_read]
    known = line.mean() if by_time else read.mean() if len(read) else None
    provisional = float(known) if is_short and known is not None else None
    return Means(*columns, max(0.0, length - window_s), is_short, provisional)


def _over_time(line: Line, window_s: float) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    parts = [_stretch(line, first, last, window_s) for first, last in line.stretches]
    starts, lengths, c0, c1, c2 = np.concatenate([np.empty((5, 0)), *parts], axis=1)
    return starts, lengths, c0, c1, c2


def _stretch(line: Line, first: int, last: int, window_s: float) -> Floats:
    """Return the pieces of one stretch without a gap: starts, lengths and coefficients."""
    # Seconds since the stretch began, so that no digits are lost in the epoch.
    at, values = line.at[first : last + 1] - line.at[first], line.values[first : last + 1]
    both = (at[at >= window_s], at[at + window_s <= at[-1]] + window_s)
    ends = np.sort(np.concatenate(both), kind="stable")  # quick on two runs that are in order
    if not len(ends):
        return np.empty((5, 0))
    starts, lengths = (ends, np.zeros(1)) if len(ends) == 1 else (ends[:-1], np.diff(ends))
    at_end, at_begin = np.interp(ends, at, values), np.interp(ends - window_s, at, values)
    sums = summed(at, values)
    means = (
        summed_at(ends, at, values, sums) - summed_at(ends - window_s, at, values, sums)
    ) / window_s
    slope = (at_end - at_begin) / window_s
    with np.errstate(divide="ignore", invalid="ignore"):
        bend = np.where(lengths > 0, np.resize(np.diff(slope), len(starts)) / (2 * lengths), 0.0)
    n = len(starts)
    return np.stack((starts + line.at[first], lengths, means[:n], slope[:n], bend))


def summed(at: Floats, values: Floats) -> Floats:
    """Return the integral from the first point to each."""
    return np.concatenate(([0.0], np.cumsum(np.diff(at) * (values[1:] + values[:-1]) / 2)))


def summed_at(instants: Floats, at: Floats, values: Floats, sums: Floats) -> Floats:
    """Return the integral from the first point to any instant on the line."""
    i = np.clip(np.searchsorted(at, instants, side="right") - 1, 0, len(at) - 1)
    here = np.interp(instants, at, values)
    return np.asarray(sums[i] + (instants - at[i]) * (values[i] + here) / 2)


def _of_samples(line: Line, window_s: float) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    parts = [_sample_means(line, first, last, window_s) for first, last in line.stretches]
    starts, lengths, c0 = np.concatenate([np.empty((3, 0)), *parts], axis=1)
    return starts, lengths, c0, np.zeros_like(c0), np.zeros_like(c0)


def _sample_means(line: Line, first: int, last: int, window_s: float) -> Floats:
    whole, is_read = line.at[first : last + 1], line.is_read[first : last + 1]
    at, values = whole[is_read], line.values[first : last + 1][is_read]
    is_full = at >= whole[0] + window_s - ON_LIMIT
    begin = np.searchsorted(at, at[is_full] - window_s + ON_LIMIT)
    end = np.flatnonzero(is_full) + 1
    base = values[:1].sum()  # sums of differences keep the digits that sums of values lose
    sums = np.concatenate(([0.0], np.cumsum(values - base)))
    means = base + (sums[end] - sums[begin]) / (end - begin)
    until_next = np.diff(np.append(at, max(at[-1], whole[-1])))[is_full] if len(at) else at
    return np.stack((at[is_full], until_next, means))
