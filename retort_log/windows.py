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

from retort_log.crossings import Extreme, united
from retort_log.permit_rules import Averaging
from retort_log.readings import ON_LIMIT, Floats, Interval, Line


@dataclass(frozen=True, eq=False)
class Means:
    """The trailing means over one window, as pieces between the instants where they bend.

    A piece begins at `starts` and lasts `lengths`; its mean is c0 + c1·τ + c2·τ² with τ the
    seconds since it began. A piece without length is a mean that held at one instant only.
    """

    window_s: float
    starts: Floats
    lengths: Floats
    c0: Floats
    c1: Floats
    c2: Floats
    judgeable_s: float  # from the first full window to the line's end, nought where there is none
    provisional: float | None  # the mean over the whole line where it is shorter than the window

    @property
    def judged_s(self) -> float:
        """For how long the mean is known."""
        return float(self.lengths.sum())

    @property
    def not_judged_s(self) -> float:
        """For how long a full window would have ended, but a gap lies in it."""
        return max(0.0, self.judgeable_s - self.judged_s)

    @property
    def is_short(self) -> bool:
        """True where the line is shorter than one window, so that nothing can be judged."""
        return self.provisional is not None

    def below(self, limit: float) -> tuple[Interval, ...]:
        """Return when the mean is below the limit, as instants at which its window ends."""
        return self._negative(1.0, limit)

    def above(self, limit: float) -> tuple[Interval, ...]:
        """Return when the mean is above the limit, as instants at which its window ends."""
        return self._negative(-1.0, limit)

    def seconds_below(self, limit: float) -> float:
        """For how long the mean is below the limit, in seconds."""
        return sum(found.seconds for found in self.below(limit))

    def lowest(self) -> Extreme | None:
        """Return the lowest mean and the end of its window; None where none is known."""
        found = self._highest(-1.0)
        return found and Extreme(-found.value, found.at)

    def highest(self) -> Extreme | None:
        """Return the highest mean and the end of its window; None where none is known."""
        return self._highest(1.0)

    def _negative(self, sign: float, limit: float) -> tuple[Interval, ...]:
        shifted = sign * (self.c0 - limit)
        return united(
            negative_pieces(self.starts, self.lengths, shifted, sign * self.c1, sign * self.c2)
        )

    def _highest(self, sign: float) -> Extreme | None:
        if not len(self.starts):
            return None
        c0, c1, c2 = sign * self.c0, sign * self.c1, sign * self.c2
        with np.errstate(divide="ignore", invalid="ignore"):
            top = np.where(c2 < 0, -c1 / (2 * c2), 0.0)
        taus = np.stack((np.zeros_like(c0), np.clip(top, 0.0, self.lengths), self.lengths), axis=1)
        values = c0[:, None] + c1[:, None] * taus + c2[:, None] * taus**2
        row, column = np.unravel_index(int(np.argmax(values)), values.shape)
        return Extreme(float(values[row, column]), float(self.starts[row] + taus[row, column]))


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
    return Means(window_s, *columns, max(0.0, length - window_s), provisional)


def _over_time(line: Line, window_s: float) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    parts = [_stretch(line, first, last, window_s) for first, last in line.stretches]
    starts, lengths, c0, c1, c2 = np.concatenate([np.empty((5, 0)), *parts], axis=1)
    return starts, lengths, c0, c1, c2


def _stretch(line: Line, first: int, last: int, window_s: float) -> Floats:
    """Return the pieces of one stretch without a gap: starts, lengths and coefficients."""
    # Seconds since the stretch began, so that no digits are lost in the epoch.
    at, values = line.at[first : last + 1] - line.at[first], line.values[first : last + 1]
    ends = np.sort(np.concatenate((at[at >= window_s], at[at + window_s <= at[-1]] + window_s)))
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


def negative_pieces(
    starts: Floats, lengths: Floats, c0: Floats, c1: Floats, c2: Floats
) -> list[tuple[float, float]]:
    """Return in order where parabolas c0 + c1·τ + c2·τ² over [0, length] are below nought.

    Each piece is cut at its roots; a part counts where its middle is below by more than rounding.
    """
    roots = _roots(c0, c1, c2)
    cuts = np.clip(np.nan_to_num(np.sort(roots, axis=0)), 0.0, lengths)
    edges = np.concatenate((np.zeros((1, len(starts))), cuts, lengths[None, :]))
    edges = np.sort(edges, axis=0)
    middles = (edges[1:] + edges[:-1]) / 2
    is_below = c0 + middles * (c1 + middles * c2) < -ON_LIMIT
    # A part of no length is a cut, save where the whole piece has none and holds at an instant.
    is_part = (edges[1:] > edges[:-1]) | ((lengths == 0) & (np.arange(len(middles)) == 0)[:, None])
    piece, part = np.nonzero((is_below & is_part).T)
    begins, ends = starts[piece] + edges[part, piece], starts[piece] + edges[part + 1, piece]
    return list(zip(begins.tolist(), ends.tolist(), strict=True))


def _roots(c0: Floats, c1: Floats, c2: Floats) -> Floats:
    """Return both roots, NaN where there is none; without the cancelling of close numbers."""
    with np.errstate(divide="ignore", invalid="ignore"):
        q = -(c1 + np.copysign(np.sqrt(c1 * c1 - 4 * c2 * c0), c1)) / 2
        roots = np.stack((q / c2, c0 / q))
    roots[~np.isfinite(roots)] = np.nan
    return roots
