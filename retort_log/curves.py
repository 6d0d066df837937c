"""What runs in pieces of parabolas: means over a window, or products of two lines. Pure.

Two lines that are straight between their bends have a product, and a mean over time, that is a
parabola between them. When it is below or above a limit is exact: roots of a quadratic.
"""

from dataclasses import dataclass

import numpy as np

from retort_log.crossings import Extreme, first_highest, united
from retort_log.readings import ON_LIMIT, Bools, Floats, Interval


@dataclass(frozen=True, eq=False)
class Curve:
    """Pieces of parabolas, in order of time.

    A piece begins at `starts` and lasts `lengths`; its value is c0 + c1·τ + c2·τ² with τ the
    seconds since it began. A piece without length is a value that held at one instant only.
    """

    starts: Floats
    lengths: Floats
    c0: Floats
    c1: Floats
    c2: Floats

    @property
    def covered_s(self) -> float:
        """For how long the value is known."""
        return float(self.lengths.sum())

    def below(self, limit: float) -> tuple[Interval, ...]:
        """Return when it is below the limit."""
        return self._negative(1.0, limit)

    def above(self, limit: float) -> tuple[Interval, ...]:
        """Return when it is above the limit."""
        return self._negative(-1.0, limit)

    def seconds_below(self, limit: float) -> float:
        """For how long it is below the limit, in seconds."""
        return sum((found.seconds for found in self.below(limit)), 0.0)

    def lowest(self) -> Extreme | None:
        """Return the lowest value and when it was first reached; None where none is known."""
        found = self._highest(-1.0)
        return found and Extreme(-found.value, found.at)

    def highest(self) -> Extreme | None:
        """Return the highest value and when it was first reached; None where none is known."""
        return self._highest(1.0)

    def _negative(self, sign: float, limit: float) -> tuple[Interval, ...]:
        c0, c1, c2 = sign * (self.c0 - limit), sign * self.c1, sign * self.c2
        return united(negative_pieces(self.starts, self.lengths, c0, c1, c2))

    def _highest(self, sign: float) -> Extreme | None:
        if not len(self.starts):
            return None
        taus, values = turning_values(self.lengths, sign * self.c0, sign * self.c1, sign * self.c2)
        row, column = np.unravel_index(first_highest(values.ravel()), values.shape)
        return Extreme(float(values[row, column]), float(self.starts[row] + taus[row, column]))


def turning_values(lengths: Floats, c0: Floats, c1: Floats, c2: Floats) -> tuple[Floats, Floats]:
    """Return for each piece τ and value at its begin, at its top if it has one, and at its end."""
    with np.errstate(divide="ignore", invalid="ignore"):
        top = np.where(c2 < 0, -c1 / (2 * c2), 0.0)
    taus = np.stack((np.zeros_like(c0), np.clip(top, 0.0, lengths), lengths), axis=1)
    return taus, c0[:, None] + taus * (c1[:, None] + taus * c2[:, None])


def negative_pieces(
    starts: Floats, lengths: Floats, c0: Floats, c1: Floats, c2: Floats
) -> list[tuple[float, float]]:
    """Return in order where parabolas c0 + c1·τ + c2·τ² over [0, length] are below nought."""
    edges, is_below = negative_parts(lengths, c0, c1, c2)
    # A part of no length is a cut, save where the whole piece has none and holds at an instant.
    is_part = (edges[1:] > edges[:-1]) | ((lengths == 0) & (np.arange(3) == 0)[:, None])
    piece, part = np.nonzero((is_below & is_part).T)
    begins, ends = starts[piece] + edges[part, piece], starts[piece] + edges[part + 1, piece]
    return list(zip(begins.tolist(), ends.tolist(), strict=True))


def negative_parts(lengths: Floats, c0: Floats, c1: Floats, c2: Floats) -> tuple[Floats, Bools]:
    """Cut each piece at its roots into three parts: their four edges, and which are below nought.

    A part is below where its middle is, by more than rounding.
    """
    one, other = _roots(c0, c1, c2)
    first = np.clip(np.fmin(one, other), 0.0, lengths)
    second = np.clip(np.fmax(one, other), 0.0, lengths)
    is_cut = ~np.isnan(first)
    nothing = np.zeros_like(lengths)
    edges = np.stack(
        (nothing, np.where(is_cut, first, 0.0), np.where(is_cut, second, 0.0), lengths)
    )
    middles = (edges[1:] + edges[:-1]) / 2
    return edges, c0 + middles * (c1 + middles * c2) < -ON_LIMIT


def _roots(c0: Floats, c1: Floats, c2: Floats) -> tuple[Floats, Floats]:
    """Return both roots, NaN where there is none; without the cancelling of close numbers."""
    with np.errstate(divide="ignore", invalid="ignore"):
        q = -(c1 + np.copysign(np.sqrt(c1 * c1 - 4 * c2 * c0), c1)) / 2
        one, other = q / c2, c0 / q
    return np.where(np.isfinite(one), one, np.nan), np.where(np.isfinite(other), other, np.nan)
