"""Two lines together: their values at the same instants, and their product. Pure."""

import numpy as np

from retort_log.curves import Curve
from retort_log.readings import Bools, Floats, Line


def paired(one: Line, other: Line) -> tuple[Line, Floats]:
    """Return `one` with the other's points added, and the other's values at all of them.

    Only what both know is left; a piece is joined where both are.
    """
    at = np.union1d(one.at, other.at)
    known_one, joined_one = _known(one, at)
    known_other, joined_other = _known(other, at)
    keep = np.flatnonzero(known_one & known_other)
    joined = (joined_one & joined_other)[:-1]
    are_neighbours = np.diff(keep) == 1
    is_joined = are_neighbours & joined[keep[:-1]] if len(keep) else np.zeros(0, dtype=bool)
    at = at[keep]
    if not len(at):
        empty = np.empty(0)
        return Line(one.start, one.end, empty, empty, np.zeros(0, bool), np.zeros(0, bool)), empty
    is_read = np.isin(at, one.at[one.is_read])
    values = np.interp(at, one.at, one.values)
    line = Line(one.start, one.end, at, values, is_joined, is_read)
    return line, np.interp(at, other.at, other.values)


def _known(line: Line, at: Floats) -> tuple[Bools, Bools]:
    """Say for each instant whether the line has a value there, and whether it goes on after it."""
    if not len(line.at):
        nothing = np.zeros(len(at), dtype=bool)
        return nothing, nothing
    i = np.searchsorted(line.at, at, side="right") - 1
    goes_on = (i >= 0) & np.append(line.is_joined, False)[i]
    return goes_on | ((i >= 0) & (line.at[i] == at)), goes_on


def product(line: Line, values: Floats) -> Curve:
    """Return the product of a line and other values at its points, straight between them too.

    A point that no line touches gives a piece without length.
    """
    if not len(line.at):
        return Curve(*np.empty((5, 0)))
    length = np.diff(line.at)
    first, rise = line.values[:-1], np.diff(line.values) / length
    other, other_rise = values[:-1], np.diff(values) / length
    has_line = np.append(line.is_joined, False) | np.append(False, line.is_joined)
    alone = ~has_line
    pieces = np.stack(
        (line.at[:-1], length, first * other, first * other_rise + rise * other, rise * other_rise)
    )
    single = np.zeros((5, int(alone.sum())))
    single[0], single[2] = line.at[alone], (line.values * values)[alone]
    both = np.concatenate((pieces[:, line.is_joined], single), axis=1)
    return Curve(*both[:, np.argsort(both[0], kind="stable")])
