"""Is a reading plausible beside its neighbours? Pure: no database in here.

A doubt is a question to the person who typed, never a refusal: who looked again and confirms is
right. Temperatures are °C. Every limit below is a choice of this design, without a source and not
measured at any machine: wide enough that a chamber at work is seldom questioned, narrow enough
for the usual slips of the finger. A heated chamber rises faster than a hot one cools: brickwork
gives off its heat slowly. A secondary chamber that is colder than the primary one is possible
and is not questioned.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from crematory.units import convert

# No chamber is heated or cools faster than this, beyond what it may do at any time (`NEAR_C`).
FASTEST_RISE_C_PER_MIN = Decimal(50)
FASTEST_FALL_C_PER_MIN = Decimal(20)
# What a chamber may do within a moment and still be "about the same".
NEAR_C = Decimal(50)
# Chambers closer to one another than this look alike; swapping them is no visible slip.
APART_C = Decimal(100)
# A slip is only seen where the value lies this far from what was read last.
FAR_C = Decimal(200)
# Chambers of one machine further apart than this, and not so before, are questioned.
TOO_FAR_APART_C = Decimal(350)
SOON = timedelta(minutes=30)
# How old a reading may be that opens a gate; one that is older is stale.
FRESH = timedelta(minutes=15)

CHAMBERS = ("primary", "secondary")


@dataclass(frozen=True)
class Temperatures:
    """Both chambers at one time, in °C."""

    at: datetime
    primary_c: Decimal
    secondary_c: Decimal

    def of(self, chamber: str) -> Decimal:
        """Return the temperature of one chamber, "primary" or "secondary"."""
        return self.primary_c if chamber == "primary" else self.secondary_c


@dataclass(frozen=True)
class Limits:
    """The temperatures of a machine at which a gate opens, in °C."""

    sweep_c: Decimal
    charging_c: Decimal


def doubts(
    new: Temperatures, neighbours: list[Temperatures], limits: Limits | None = None
) -> tuple[str, ...]:
    """Return why the new reading looks wrong beside the ones before and after it, by code.

    The codes: "swapped"; for each chamber "rise" and "fall" (faster than a chamber can), "unit"
    (°F typed for °C, or the reverse), "digit" (a digit too many or too few), as in
    "fall_primary"; "opens_primary" and "opens_secondary" where a gate would open on a big change
    since the reading before; "apart" where the chambers lie absurdly far from one another and
    did not before. Without a neighbour only that last one can be seen.
    """
    found = ["apart"] if _are_too_far_apart(new, neighbours) else []
    for neighbour in neighbours:
        if _are_swapped(new, neighbour):
            return ("swapped",)
        slips = ((_slip(new, neighbour, chamber), chamber) for chamber in CHAMBERS)
        found += [f"{slip}_{chamber}" for slip, chamber in slips if slip is not None]
        found += _opened(new, neighbour, limits) if limits else []
    return tuple(dict.fromkeys(found))


def _is_soon(one: Temperatures, other: Temperatures) -> bool:
    return abs(one.at - other.at) <= SOON


def _are_near(one: Decimal, other: Decimal) -> bool:
    return abs(one - other) <= NEAR_C


def _are_swapped(new: Temperatures, other: Temperatures) -> bool:
    """True where each chamber reads about what the other one did, and they were apart."""
    return (
        _is_soon(new, other)
        and abs(other.primary_c - other.secondary_c) > APART_C
        and _are_near(new.primary_c, other.secondary_c)
        and _are_near(new.secondary_c, other.primary_c)
    )


def _slip(new: Temperatures, other: Temperatures, chamber: str) -> str | None:
    """Return the likeliest slip, or None: a known one first, then any jump."""
    value, before = new.of(chamber), other.of(chamber)
    if _is_soon(new, other) and abs(value - before) >= FAR_C:
        for slip, meant in MEANT.items():
            if any(_are_near(guess, before) for guess in meant(value)):
                return slip
    earlier, later = (value, before) if new.at < other.at else (before, value)
    minutes = Decimal(abs(new.at - other.at) // timedelta(seconds=1)) / 60
    return _too_fast(later - earlier, minutes)


def _too_fast(change: Decimal, minutes: Decimal) -> str | None:
    """Return "rise" or "fall" where no chamber changes by so much in this time."""
    if change > NEAR_C + FASTEST_RISE_C_PER_MIN * minutes:
        return "rise"
    return "fall" if -change > NEAR_C + FASTEST_FALL_C_PER_MIN * minutes else None


def _opened(new: Temperatures, before: Temperatures, limits: Limits) -> list[str]:
    """Return the gates that only this reading would open, on a big change since the last one."""
    if new.at < before.at:
        return []
    cooled = new.primary_c <= limits.sweep_c < before.primary_c
    heated = new.secondary_c >= limits.charging_c > before.secondary_c
    opened = []
    if cooled and before.primary_c - new.primary_c >= FAR_C:
        opened.append("opens_primary")
    if heated and new.secondary_c - before.secondary_c >= FAR_C:
        opened.append("opens_secondary")
    return opened


def _are_too_far_apart(new: Temperatures, neighbours: list[Temperatures]) -> bool:
    """True where the chambers lie absurdly far apart, and in no reading beside this one did."""
    gaps = [abs(t.primary_c - t.secondary_c) for t in (new, *neighbours)]
    return gaps[0] > TOO_FAR_APART_C >= max(gaps[1:], default=Decimal(0))


def _in_other_unit(value: Decimal) -> tuple[Decimal, ...]:
    """What was meant if the number was read in the wrong unit."""
    return convert(value, "degF", "degC"), convert(value, "degC", "degF")


def _with_other_digits(value: Decimal) -> tuple[Decimal, ...]:
    """What was meant if a digit is missing or one too many, typed in either unit."""
    fahrenheit = convert(value, "degC", "degF")
    typed_f = (fahrenheit * 10, fahrenheit / 10)
    return value * 10, value / 10, *(convert(f, "degF", "degC") for f in typed_f)


MEANT: dict[str, Callable[[Decimal], tuple[Decimal, ...]]] = {
    "unit": _in_other_unit,
    "digit": _with_other_digits,
}
