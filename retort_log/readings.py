"""One channel's readings, and the line that is drawn through them. Pure: no Django, no database.

`Trace` holds what was read. `draw` makes of it the `Line` from one instant to another: straight
between neighbours no further apart than `max_gap_s`, and nothing at all across a longer distance.
Such a distance is a gap; in it nothing is invented, judged or counted. Whatever is reckoned on a
line is exact for that line, crossings solved and not searched for.

Instants are seconds since any one epoch. A limit is tested in the unit of its text, so `draw`
takes that unit. Differences below `ON_LIMIT` come from the arithmetic of binary numbers and count
as none: a value that close to a limit is on it, and a value on a limit keeps it.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from functools import cached_property
from typing import Self

import numpy as np
from numpy.typing import NDArray

from crematory.units import convert

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# Far below what any instrument resolves, far above the rounding of float64 at 2,000 degrees.
ON_LIMIT = 1e-7
# What summing up leaves over. An instant since 1970 is known to a quarter of a microsecond.
NOTHING_S = 1e-3
TOUCH_S = 1e-6
# A typed temperature is stored in °C with two decimals, which is finer than a hundredth of a °F.
TYPED_DECIMALS = 2
TEMPERATURES = ("degC", "degF")


class ReadingsError(ValueError):
    """Readings that cannot be of one channel; the message says which and when."""


@dataclass(frozen=True)
class Interval:
    """From one instant to another, in seconds since the epoch; both belong to it."""

    start: float
    end: float

    @property
    def seconds(self) -> float:
        """How long it is; nought for a single reading that stands between two gaps."""
        return self.end - self.start


def factors(unit: str, to: str) -> tuple[float, float]:
    """Return a and b of a × value + b, which converts; exact for °C to °F and back."""
    if unit == to:
        return 1.0, 0.0
    zero = convert(Decimal(0), unit, to)
    return float((convert(Decimal(900), unit, to) - zero) / 900), float(zero)


@dataclass(frozen=True, eq=False)
class Trace:
    """What one channel read. Sorted when it is made; NaN is no value and leaves no reading.

    A reading given twice counts once. Two different values at one instant are refused, since
    nobody could say which one counts. `is_typed` says that a person read and typed it.
    Raises ReadingsError for readings that contradict one another or are not finite.
    """

    seconds: Floats
    values: Floats
    unit: str  # as pint reads it: "degC", "degF", "percent", "ppm", "kilowatt"
    is_typed: bool = False

    def __post_init__(self) -> None:
        at = np.asarray(self.seconds, dtype=np.float64)
        values = np.asarray(self.values, dtype=np.float64)
        if at.ndim != 1 or at.shape != values.shape:
            raise ReadingsError("Each reading needs one instant and one value.")
        known = ~np.isnan(values)
        if not known.all():
            at, values = at[known], values[known]
        at, values = _sorted(at, values)
        at.flags.writeable = values.flags.writeable = False
        object.__setattr__(self, "seconds", at)
        object.__setattr__(self, "values", values)

    @classmethod
    def of(
        cls,
        readings: Iterable[tuple[datetime, Decimal | float | None]],
        unit: str,
        *,
        is_typed: bool = False,
    ) -> Self:
        """Make a trace of (aware datetime, value) pairs; None is no value. Epoch: Unix."""
        pairs = [(at.timestamp(), np.nan if v is None else float(v)) for at, v in readings]
        columns = np.array(pairs, dtype=np.float64).reshape(-1, 2)
        return cls(columns[:, 0], columns[:, 1], unit, is_typed)

    def __len__(self) -> int:
        return len(self.seconds)

    def to(self, unit: str) -> "Trace":
        """Return it in another unit; typed temperatures are rounded to a hundredth of a degree.

        1,600 °F typed is stored as 871.11 °C, which is 1,599.998 °F: it was 1,600. A logger's
        values stay as they are.
        """
        if unit == self.unit and not self.is_typed:
            return self
        slope, shift = factors(self.unit, unit)
        values = self.values * slope + shift
        if self.is_typed and unit in TEMPERATURES:
            values = np.round(values, TYPED_DECIMALS)
        return Trace(self.seconds, values, unit, self.is_typed)

    def until(self, instant: float) -> "Trace":
        """Return what was read up to this instant, itself included."""
        keep = self.seconds <= instant
        return Trace(self.seconds[keep], self.values[keep], self.unit, self.is_typed)


def _sorted(at: Floats, values: Floats) -> tuple[Floats, Floats]:
    if not (np.isfinite(at).all() and np.isfinite(values).all()):
        raise ReadingsError("An instant or a value is not finite.")
    if (at[1:] > at[:-1]).all():
        return at.copy(), values.copy()
    order = np.lexsort((values, at))
    at, values = at[order], values[order]
    same = np.diff(at) == 0
    clash = same & (np.diff(values) != 0)
    if clash.any():
        i = int(np.argmax(clash))
        raise ReadingsError(
            f"Two values at {_when(float(at[i]))}: {values[i]:g} and {values[i + 1]:g}."
        )
    keep = np.concatenate((np.ones(min(1, len(at)), dtype=bool), ~same))
    return at[keep], values[keep]


def _when(seconds: float) -> str:
    return datetime.fromtimestamp(seconds, UTC).isoformat(sep=" ")


def merged(recorder: Trace | None, hand: Trace | None, unit: str, max_gap_s: float) -> Trace:
    """Return both in one unit; a reading by hand counts only in a gap of the recorder.

    Where two neighbouring samples of the recorder are no further apart than `max_gap_s`, the
    recorder says what the chamber did and a reading by hand between them does not count. Between
    samples further apart, before the first and after the last, every reading by hand counts. At
    the very instant of a sample the sample counts.
    """
    if recorder is None or not len(recorder):
        return hand.to(unit) if hand else Trace(np.empty(0), np.empty(0), unit)
    if hand is None or not len(hand):
        return recorder.to(unit)
    ours, theirs = recorder.to(unit), hand.to(unit)
    after = np.searchsorted(ours.seconds, theirs.seconds)
    edges = np.concatenate(([-np.inf], ours.seconds, [np.inf]))
    in_gap = edges[after + 1] - edges[after] > max_gap_s
    in_gap &= ~np.isin(theirs.seconds, ours.seconds)
    return Trace(
        np.concatenate((ours.seconds, theirs.seconds[in_gap])),
        np.concatenate((ours.values, theirs.values[in_gap])),
        unit,
    )


def joined(parts: Sequence[Trace]) -> Trace:
    """Put the parts of one channel's log together; all of one unit, in any order."""
    if len({(part.unit, part.is_typed) for part in parts}) != 1:
        raise ReadingsError("Parts of one log must be of one unit and one origin.")
    return Trace(
        np.concatenate([part.seconds for part in parts]),
        np.concatenate([part.values for part in parts]),
        parts[0].unit,
        parts[0].is_typed,
    )


@dataclass(frozen=True, eq=False)
class Line:
    """The line through the readings from `start` to `end`, cut there; made by `draw`.

    `is_joined[i]` says that a line runs from point i to point i + 1. Points are strictly
    increasing in time; the first and last may lie between readings, where the line was cut, and
    are then no readings: `is_read`.
    """

    start: float
    end: float
    at: Floats
    values: Floats
    is_joined: Bools
    is_read: Bools

    @cached_property
    def lengths(self) -> Floats:
        """Seconds from each point to the next, nought where no line runs."""
        return np.diff(self.at) * self.is_joined

    @property
    def covered_s(self) -> float:
        """For how long a line runs."""
        return float(self.lengths.sum())

    @cached_property
    def gaps(self) -> tuple[Interval, ...]:
        """All that no line covers, both edges included: with `covered_s` it fills the whole."""
        if not len(self.at):
            return (Interval(self.start, self.end),) if self.end > self.start else ()
        breaks = np.flatnonzero(~self.is_joined)
        starts = [self.start, *self.at[breaks].tolist(), float(self.at[-1])]
        ends = [float(self.at[0]), *self.at[breaks + 1].tolist(), self.end]
        return tuple(Interval(a, b) for a, b in zip(starts, ends, strict=True) if b > a)

    @property
    def longest_gap_s(self) -> float:
        """The longest gap, nought where all is covered."""
        return max((gap.seconds for gap in self.gaps), default=0.0)

    @cached_property
    def stretches(self) -> tuple[tuple[int, int], ...]:
        """First and last point of each stretch that is drawn without a break."""
        if not len(self.at):
            return ()
        breaks = np.flatnonzero(~self.is_joined)
        firsts = [0, *(breaks + 1).tolist()]
        return tuple(zip(firsts, [*breaks.tolist(), len(self.at) - 1], strict=True))

    def integral(self) -> float:
        """Value × seconds over what is covered; kilowatts give kilojoules. Gaps add nothing."""
        means = (self.values[1:] + self.values[:-1]) / 2
        return float((means * self.lengths).sum())

    def mean(self) -> float | None:
        """The mean over what is covered; None where nothing is."""
        return self.integral() / self.covered_s if self.covered_s else None

    def value_at(self, instant: float) -> float | None:
        """The line's value, or the reading of that very instant; None in a gap."""
        i = int(np.searchsorted(self.at, instant))
        if i < len(self.at) and self.at[i] == instant:
            return float(self.values[i])
        if i in (0, len(self.at)) or not self.is_joined[i - 1]:
            return None
        return float(np.interp(instant, self.at[i - 1 : i + 1], self.values[i - 1 : i + 1]))


def draw(trace: Trace, unit: str, max_gap_s: float, start: float, end: float) -> Line:
    """Draw the line through the readings, from `start` to `end`, in this unit.

    A reading before `start` or after `end` still says where the line enters or leaves, if it is
    near enough. Raises ReadingsError where `end` is before `start` or `max_gap_s` is no distance.
    """
    if not (end >= start and max_gap_s > 0):
        raise ReadingsError("The end lies before the start, or no distance counts as near.")
    trace = trace.to(unit)
    at, values = trace.seconds, trace.values
    lo = int(np.searchsorted(at, start))
    hi = int(np.searchsorted(at, end, side="right"))
    head = _cut(at, values, lo, start, max_gap_s)
    tail = _cut(at, values, hi, end, max_gap_s) if end > start else []
    new_at = np.concatenate(([t for t, _ in head], at[lo:hi], [t for t, _ in tail]))
    new_values = np.concatenate(([v for _, v in head], values[lo:hi], [v for _, v in tail]))
    is_read = np.ones(len(new_at), dtype=bool)
    is_read[: len(head)] = is_read[len(new_at) - len(tail) :] = False
    return Line(start, end, new_at, new_values, np.diff(new_at) <= max_gap_s, is_read)


def _cut(
    at: Floats, values: Floats, after: int, instant: float, max_gap_s: float
) -> list[tuple[float, float]]:
    """Return the point of the line at this instant, if it lies between two near readings."""
    if after in (0, len(at)) or instant in (at[after - 1], at[after]):
        return []
    if at[after] - at[after - 1] > max_gap_s:
        return []
    value = np.interp(instant, at[after - 1 : after + 1], values[after - 1 : after + 1])
    return [(instant, float(value))]
