"""How large a container must be, and how remains are parted among several. Pure.

Masses in kilograms with whole grams, volumes in litres.

- One cubic inch for each pound of body mass, known before the cremation: common practice, no
  source. (One cubic centimetre a kilogram, which is written too, is 36 times too small.)
- Volume by the mass that was weighed: processed remains pack to between 0.6 and 1.1 kg a litre, a
  choice of this design. The mean adult of Warren & Maples 1997, 2.430 kg, in the 180 cubic inches
  of a body of 180 lb would be 0.82.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from enum import StrEnum

from crematory.units import convert

LOOSEST_KG_PER_L = Decimal("0.6")
DENSEST_KG_PER_L = Decimal("1.1")
GRAMS_PER_KG = 1000
STEP_L = Decimal("0.0001")  # as volumes are stored


class Fit(StrEnum):
    """Whether a mass goes into a container."""

    YES = "yes"  # however loosely it packs
    PERHAPS = "perhaps"  # only if it packs densely
    NO = "no"  # not even at its densest


class SplitError(ValueError):
    """Remains cannot be parted as asked; the text says why, for people."""


@dataclass(frozen=True)
class Volumes:
    """The least volume that may hold a mass, and the one that holds it in any case; litres."""

    least_l: Decimal
    ample_l: Decimal


@dataclass(frozen=True)
class Part:
    """A container to fill: with a mass that is set (a keepsake), or with its share of the rest."""

    volume_l: Decimal
    mass_kg: Decimal | None = None


def volume_by_body(body_mass_kg: Decimal) -> Decimal:
    """Return the volume in litres to have ready for a body of this mass (without container)."""
    return convert(convert(body_mass_kg, "kg", "lb"), "inch**3", "l")


def volumes_by_mass(mass_kg: Decimal) -> Volumes:
    """Return between which volumes the weighed remains lie, rounded so that both hold true."""
    return Volumes(
        (mass_kg / DENSEST_KG_PER_L).quantize(STEP_L, ROUND_FLOOR),
        (mass_kg / LOOSEST_KG_PER_L).quantize(STEP_L, ROUND_CEILING),
    )


def fit(mass_kg: Decimal, volume_l: Decimal) -> Fit:
    """Say whether remains of this mass go into a container of this volume."""
    if mass_kg > volume_l * DENSEST_KG_PER_L:
        return Fit.NO
    return Fit.YES if mass_kg <= volume_l * LOOSEST_KG_PER_L else Fit.PERHAPS


def split(mass_kg: Decimal, parts: Sequence[Part]) -> list[Decimal]:
    """Part remains among containers; the masses add up to the whole, to the gram.

    A part with a set mass gets it. The others share what is left by their volumes; the grams that
    rounding leaves over go where most was cut off, the first of equals first. Raises SplitError
    where it does not work out: masses that are no whole grams, too much set, no container for
    what is left, or one that cannot hold its share.
    """
    whole = _grams(mass_kg)
    if any(part.volume_l <= 0 for part in parts):
        raise SplitError("A container without volume holds nothing.")
    grams = [0 if part.mass_kg is None else _grams(part.mass_kg) for part in parts]
    shared = [at for at, part in enumerate(parts) if part.mass_kg is None]
    left = whole - sum(grams)
    _check(left, len(shared))
    for at, share in zip(shared, _shares(left, [parts[at].volume_l for at in shared]), strict=True):
        grams[at] = share
    masses = [Decimal(one) / GRAMS_PER_KG for one in grams]
    for position, (part, mass) in enumerate(zip(parts, masses, strict=True), start=1):
        if fit(mass, part.volume_l) == Fit.NO:
            raise SplitError(
                f"Container {position} of {part.volume_l} L cannot hold {mass} kg: use a larger "
                "one, or one more."
            )
    return masses


def _grams(mass_kg: Decimal) -> int:
    grams = mass_kg * GRAMS_PER_KG
    if grams <= 0 or grams != int(grams):
        raise SplitError(f"{mass_kg} kg is no mass in whole grams above nought.")
    return int(grams)


def _check(left: int, shared: int) -> None:
    """Refuse where the set masses and the containers for the rest do not match the whole."""
    if left < 0:
        raise SplitError(f"The parts that are set are {-left} g more than there is.")
    if left and not shared:
        raise SplitError(f"{left} g are left over, and no container is there for them.")
    if left < shared:
        raise SplitError(f"{left} g are left over for {shared} containers: one would stay empty.")


def _shares(left: int, volumes: Sequence[Decimal]) -> list[int]:
    """Share whole grams by volume, by largest remainders, so that none stays empty."""
    total = sum(volumes)
    exact = [left * volume / total for volume in volumes]
    shares = [int(one) for one in exact]
    by_rest = sorted(range(len(volumes)), key=lambda at: (shares[at] - exact[at], at))
    for at in by_rest[: left - sum(shares)]:
        shares[at] += 1
    while 0 in shares:  # a small keepsake beside a large urn gets its gram from the urn
        shares[shares.index(max(shares))] -= 1
        shares[shares.index(0)] += 1
    return shares
