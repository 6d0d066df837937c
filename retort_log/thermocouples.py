"""How far a new thermocouple may be off: ASTM E230, initial tolerances. Pure.

Read in pages of makers of wire that reprint the standard's table. The tolerance is the larger of
a fixed one and a share of the temperature in °C. It holds for new wire: one that has been hot for
long is worse, and nobody knows by how much without comparing it.
"""

from dataclasses import dataclass
from typing import Literal

TypeName = Literal["K", "N", "R", "S", "B"]


class ThermocoupleError(ValueError):
    """A temperature or type outside the table."""


@dataclass(frozen=True)
class Tolerance:
    """A row of the table: fixed in °C and as a share, standard and special, and its range."""

    fixed_c: float
    share: float
    special_fixed_c: float | None
    special_share: float | None
    lowest_c: float
    highest_c: float


_BASE = Tolerance(2.2, 0.0075, 1.1, 0.004, 0, 1260)
_NOBLE = Tolerance(1.5, 0.0025, 0.6, 0.001, 0, 1480)
TOLERANCES: dict[str, Tolerance] = {
    "K": _BASE,
    "N": _BASE,
    "R": _NOBLE,
    "S": _NOBLE,
    "B": Tolerance(0.0, 0.005, None, None, 870, 1700),
}


@dataclass(frozen=True)
class Thermocouple:
    """What measures a chamber: its type, and whether it was bought with special tolerance."""

    type: TypeName
    is_special: bool = False

    def tolerance_c(self, temperature_c: float) -> float:
        """Return the tolerance at this temperature, in °C either way.

        In °F it is 1.8 times as much. Raises ThermocoupleError outside the table's range, and
        for a special tolerance that the table does not have.
        """
        row = TOLERANCES[self.type]
        if not row.lowest_c <= temperature_c <= row.highest_c:
            raise ThermocoupleError(
                f"The table for type {self.type} ends at {row.lowest_c:g} and {row.highest_c:g} °C."
            )
        fixed, share = row.fixed_c, row.share
        if self.is_special:
            if row.special_fixed_c is None or row.special_share is None:
                raise ThermocoupleError(f"There is no special tolerance for type {self.type}.")
            fixed, share = row.special_fixed_c, row.special_share
        return max(fixed, share * temperature_c)

    def proves(self, reading_c: float, minimum_c: float) -> bool:
        """True where the chamber reached the minimum even if the reading is too high by all."""
        return reading_c - self.tolerance_c(reading_c) >= minimum_c
