"""Is a reading plausible beside its neighbours? Pure: no database in here.

A doubt is a question to the person who typed, never a refusal: who looked again and confirms is
right. Temperatures are °C. Every limit below is a choice of this design, no source: wide enough
that a chamber at work is not questioned, narrow enough for the usual slips of the finger. A
secondary chamber that is colder than the primary one is possible and is not questioned.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from crematory.units import convert

# No chamber changes faster than this; two readings of one minute count as a minute apart.
FASTEST_C_PER_MIN = Decimal(150)
# What a chamber may do within `SOON` and still be "about the same", for the slips below.
NEAR_C = Decimal(50)
# Chambers closer to one another than this look alike; swapping them is no visible slip.
APART_C = Decimal(100)
# A slip is only seen where the value lies this far from what was read last.
FAR_C = Decimal(200)
SOON = timedelta(minutes=30)
MINUTE = timedelta(minutes=1)

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


def doubts(new: Temperatures, neighbours: list[Temperatures]) -> tuple[str, ...]:
    """Return why the new reading looks wrong beside the ones before and after it, by code.

    The codes: "swapped"; "jump_primary" and "jump_secondary"; "unit_primary" and
    "unit_secondary" (°F typed for °C, or the reverse); "digit_primary" and "digit_secondary"
    (a digit too many or too few). No doubt where there is no neighbour.
    """
    found: list[str] = []
    for neighbour in neighbours:
        if _are_swapped(new, neighbour):
            found.append("swapped")
            continue
        found += [
            f"{slip}_{chamber}"
            for chamber in CHAMBERS
            if (slip := _slip(new, neighbour, chamber)) is not None
        ]
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
    minutes = Decimal(max(abs(new.at - other.at), MINUTE) // timedelta(seconds=1)) / 60
    return "jump" if abs(value - before) > FASTEST_C_PER_MIN * minutes else None


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
