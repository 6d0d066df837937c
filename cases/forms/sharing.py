"""Proposing what each container is filled with: the parts add up to the whole, to the gram."""

from collections.abc import Sequence
from decimal import Decimal

from crematory.units import (
    KindName,
    QuantityError,
    UnitSystem,
    default_unit,
    entry_text,
    parse_quantity,
)
from retort_log.containers import Part, SplitError, split


def proposed(
    mass_kg: Decimal, rows: Sequence[tuple[str, str]], units: UnitSystem
) -> tuple[str, ...]:
    """Return the mass of each row as a field takes it; a row is volume and mass as typed.

    Rows without a mass share what is left; where every row has one, the last gets the rest.
    Raises SplitError, its text for people.
    """
    masses = [mass.strip() for _, mass in rows]
    if all(masses):
        masses[-1] = ""
    parts = [
        Part(
            _read(volume, "volume", units, position),
            _read(mass, "mass", units, position) if mass else None,
        )
        for position, ((volume, _), mass) in enumerate(zip(rows, masses, strict=True), start=1)
    ]
    return tuple(entry_text(one, "mass", units) for one in split(mass_kg, parts))


def _read(typed: str, kind: KindName, units: UnitSystem, position: int) -> Decimal:
    if not typed.strip():
        raise SplitError(f"Write the {kind} of container {position} first.")
    try:
        return parse_quantity(typed, kind, default_unit(kind, units))
    except QuantityError as error:
        raise SplitError(f"Container {position}: {error}") from error
