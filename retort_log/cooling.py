"""When will a chamber be cool enough to be swept? A forecast from its readings. Pure.

The law is Newton's: T(t) = Ta + (T0 - Ta)·e^(-kt), fitted by least squares to the readings since
the burner went off. A chamber cools in two ways, so it is fitted to both:

- toward the room, from all readings and from the later half of them. The later half gives the
  expected time: the walls give back heat, so that the fall slows down;
- toward surroundings whose temperature is fitted as well: the walls, still hot. This gives the
  latest time, and leaves it open where they are hotter than the limit.

How good that is was tried on a furnace that somebody else measured (NIST composite beam test 3;
no cremation; a reading every 15 s), each time with the first third of the cooling. Counted from
the burner's end, 800 °F after 135 s was foretold within one reading; 200 °C after 1,440 s came
355 s later than expected, and 100 °C after 4,830 s came 1,612 s later: hot walls carry on. The
true time lay between the earliest and the latest each time, but each time the latest was open.
Counted from the peak, while the burner was only turned down, 800 °F after 2,130 s was expected
after 6,797 s: before the burner is off the law does not hold. So a forecast is for planning the
day; only a reading says that a chamber is cool.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from math import inf, isfinite, log, sqrt

import numpy as np
from numpy.typing import NDArray

from retort_log.student import two_sided

Floats = NDArray[np.float64]

ROOM_C = 20.0  # where no room temperature is given; common practice, no source
CONFIDENCE = 0.95
FEWEST_READINGS = 3
FEWEST_FOR_WALLS = 5
FEWEST_FOR_HALVES = 6
MOST_FITTED = 400  # more readings are thinned out evenly: a page must not wait for them
# Cooling times from a second to about four months, closely enough to be refined from the best.
RATES = np.logspace(-7, 0, 281)
FARTHEST = timedelta(days=7)


@dataclass(frozen=True)
class Fit:
    """A fitted cooling; seconds count from its first reading, temperatures are in °C."""

    ambient_c: float
    start_c: float
    rate_per_s: float
    # Covariance of start_c and rate_per_s (ambient given); None where too few readings are left.
    covariance: Floats | None
    dof: int

    def crossing(self, limit_c: float) -> float | None:
        """Return after how many seconds the curve is at the limit; None where it never is."""
        if limit_c <= self.ambient_c or self.start_c <= self.ambient_c:
            return None
        return log((self.start_c - self.ambient_c) / (limit_c - self.ambient_c)) / self.rate_per_s

    def half_width(self, limit_c: float) -> float:
        """Return half of the 95 % interval of the crossing, in seconds; nought where unknown.

        By the slopes of the crossing against both parameters (delta method) and Student's t.
        """
        crossing = self.crossing(limit_c)
        if self.covariance is None or crossing is None:
            return 0.0
        above = self.start_c - self.ambient_c
        slopes = np.array([1 / (above * self.rate_per_s), -crossing / self.rate_per_s])
        variance = float(slopes @ self.covariance @ slopes)
        width = two_sided(CONFIDENCE, self.dof) * sqrt(max(variance, 0.0))
        return width if isfinite(width) else inf


@dataclass(frozen=True)
class Cooling:
    """A forecast, or the reason why there is none."""

    at: datetime | None
    earliest: datetime | None
    latest: datetime | None  # None beside a forecast: cannot be foreseen
    is_reached: bool
    reason: str  # how the forecast was made, or why there is none
    readings: int  # how many since the burner went off


def fit(seconds: Floats, celsius: Floats, ambient_c: float | None) -> Fit:
    """Fit a cooling; the ambient temperature is fitted as well where it is None.

    Raises ValueError for fewer readings than what is fitted, or where all are of one moment.
    """
    parameters = 2 if ambient_c is not None else 3
    since = seconds - seconds[0] if seconds.size else seconds
    if since.size < parameters or not since[-1] > 0:
        raise ValueError(f"{since.size} readings are too few to fit {parameters} values")
    low, high = _bracket(since, celsius, ambient_c)
    rate = _narrowed(since, celsius, ambient_c, low, high)
    _, ambient, above = _linear(since, celsius, ambient_c, np.array([rate]))
    dof = int(since.size) - parameters
    covariance = None
    if ambient_c is not None and dof > 0:
        covariance = _covariance(since, celsius, ambient_c, float(above[0]), rate)
    return Fit(float(ambient[0]), float(ambient[0] + above[0]), rate, covariance, dof)


def _linear(
    since: Floats, celsius: Floats, ambient_c: float | None, rates: Floats
) -> tuple[Floats, Floats, Floats]:
    """For each rate, the rest (sum of squares) and the best ambient and height above it."""
    falls = np.exp(-np.outer(rates, since))
    if ambient_c is not None:
        ambient = np.full(rates.size, ambient_c)
        above = falls @ (celsius - ambient_c) / np.sum(falls**2, axis=1)
    else:
        middle = falls.mean(axis=1, keepdims=True)
        spread = np.sum((falls - middle) ** 2, axis=1)
        slope = (falls - middle) @ (celsius - celsius.mean())
        above = np.divide(slope, spread, out=np.zeros_like(slope), where=spread > 0)
        ambient = celsius.mean() - above * middle[:, 0]
    rest = celsius - ambient[:, None] - above[:, None] * falls
    return np.sum(rest**2, axis=1), ambient, above


def _bracket(since: Floats, celsius: Floats, ambient_c: float | None) -> tuple[float, float]:
    rests, _, _ = _linear(since, celsius, ambient_c, RATES)
    best = int(np.argmin(rests))
    return float(RATES[max(best - 1, 0)]), float(RATES[min(best + 1, RATES.size - 1)])


def _narrowed(
    since: Floats, celsius: Floats, ambient_c: float | None, low: float, high: float
) -> float:
    """Close in on the best rate, eleven points at a time: each round leaves a fifth."""
    for _ in range(24):
        rates = np.linspace(low, high, 11)
        best = int(np.argmin(_linear(since, celsius, ambient_c, rates)[0]))
        low, high = float(rates[max(best - 1, 0)]), float(rates[min(best + 1, 10)])
    return (low + high) / 2


def _covariance(
    since: Floats, celsius: Floats, ambient_c: float, above: float, rate: float
) -> Floats | None:
    falls = np.exp(-rate * since)
    rest = celsius - ambient_c - above * falls
    slopes = np.stack([falls, -above * since * falls], axis=1)
    variance = float(rest @ rest) / (since.size - 2)
    try:
        return np.asarray(np.linalg.inv(slopes.T @ slopes) * variance)
    except np.linalg.LinAlgError:
        return None


def expected_cool(
    readings: Sequence[tuple[datetime, Decimal]],
    burner_off: datetime,
    limit_c: Decimal,
    room_c: Decimal | None = None,
) -> Cooling:
    """Return when the chamber is expected at or below the limit; temperatures in °C.

    Readings from before the burner went off are left out. `room_c` is taken as 20 °C where it is
    not known. Never raises: what gives no forecast gives its reason.
    """
    since_off = sorted((at, float(value)) for at, value in readings if at >= burner_off)
    limit, room = float(limit_c), ROOM_C if room_c is None else float(room_c)
    count = len(since_off)
    if since_off and since_off[-1][1] <= limit:
        reached = _reached(since_off, limit)
        return Cooling(reached, reached, reached, True, "a reading is at or below the limit", count)
    if why := _hopeless(since_off, limit, room):
        return Cooling(None, None, None, False, why, count)
    return _forecast(_thinned(since_off), limit, room, count, is_room_known=room_c is not None)


def _reached(since_off: list[tuple[datetime, float]], limit: float) -> datetime:
    """Return the first reading of those that end at or below the limit."""
    first = since_off[-1][0]
    for at, value in reversed(since_off):
        if value > limit:
            break
        first = at
    return first


def _hopeless(since_off: list[tuple[datetime, float]], limit: float, room: float) -> str:
    if len({at for at, _ in since_off}) < FEWEST_READINGS:
        return f"too few readings since the burner went off: {FEWEST_READINGS} are needed"
    if limit <= room:
        return "the limit is not above the temperature of the room"
    if since_off[-1][1] >= since_off[0][1]:
        return "the chamber is not cooling: the last reading is not below the first"
    return ""


def _thinned(since_off: list[tuple[datetime, float]]) -> list[tuple[datetime, float]]:
    step = -(-len(since_off) // MOST_FITTED)
    # Counted from the end, so that the newest reading always stays.
    return since_off[::-1][::step][::-1]


def _forecast(
    kept: list[tuple[datetime, float]],
    limit: float,
    room: float,
    count: int,
    *,
    is_room_known: bool,
) -> Cooling:
    origin = kept[0][0]
    seconds = np.array([(at - origin).total_seconds() for at, _ in kept])
    celsius = np.array([value for _, value in kept])
    spans = [_span(seconds, celsius, limit, room)]
    if len(kept) >= FEWEST_FOR_HALVES:
        half = len(kept) // 2
        spans.append(_span(seconds[half:], celsius[half:], limit, room))
    found = [span for span in spans if span is not None]
    newest = float(seconds[-1])
    if not found or found[-1][1] > FARTHEST.total_seconds():
        return Cooling(None, None, None, False, "the chamber cools too slowly to say", count)
    early, late = min(one[0] for one in found), max(one[2] for one in found)
    walls = _toward_walls(seconds, celsius, limit)
    is_open = walls is None or max(late, walls) > FARTHEST.total_seconds()
    reason = (
        f"{count} readings since the burner went off, cooling toward the room at {room:.0f} °C"
        f"{'' if is_room_known else ' (assumed)'}; 95 % by the scatter of the readings, widened "
        "for walls that are still hot"
    )
    if len(kept) < FEWEST_FOR_WALLS:
        reason += f"; with fewer than {FEWEST_FOR_WALLS} readings the latest time is open"

    def moment(after: float) -> datetime:
        return origin + timedelta(seconds=max(after, newest))

    latest = None if is_open or walls is None else moment(max(late, walls))
    return Cooling(moment(found[-1][1]), moment(early), latest, False, reason, count)


def _span(
    seconds: Floats, celsius: Floats, limit: float, room: float
) -> tuple[float, float, float] | None:
    """Earliest, expected and latest by one fit toward the room, in seconds of the series."""
    try:
        found = fit(seconds, celsius, room)
    except ValueError:
        return None
    crossing = found.crossing(limit)
    if crossing is None:
        return None
    half, begin = found.half_width(limit), float(seconds[0])
    return begin + crossing - half, begin + crossing, begin + crossing + half


def _toward_walls(seconds: Floats, celsius: Floats, limit: float) -> float | None:
    """Return when the limit is reached by a fit of the walls too; None: never, or unknown."""
    if seconds.size < FEWEST_FOR_WALLS:
        return None
    crossing = fit(seconds, celsius, None).crossing(limit)
    return crossing if crossing is not None and isfinite(crossing) else None
