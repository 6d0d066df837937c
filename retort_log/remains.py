"""Is the mass of cremated remains plausible for this person? Pure; masses in kilograms.

The check is an alarm for gross errors (an adult's remains in a child's file, a part left
behind), not an identification, and it never rejects by itself: a manager looks again.

Sources: Warren & Maples 1997, J Forensic Sci 42(3): 91 adults, 876 to 3,784 g; shares of body
mass 3.5 % (adults) and 2.5 % (children). Bass & Jantz 2004: another region is about 500 g
heavier. No published spread for the share of body mass was found; the factor of three to each
side of the published share is a choice of this design.
"""

from dataclasses import dataclass
from decimal import Decimal

ADULT_LOWEST_KG = Decimal("0.876")
ADULT_HIGHEST_KG = Decimal("3.784") + Decimal("0.500")
SHARE_OF_BODY_MASS = {True: Decimal("0.035"), False: Decimal("0.025")}
SHARE_FACTOR = 3
ADULT_FROM_YEARS = 18


@dataclass(frozen=True)
class Range:
    """Plausible masses in kg, both ends included, and how the range was made."""

    lowest_kg: Decimal
    highest_kg: Decimal
    reasoning: str

    def holds(self, mass_kg: Decimal) -> bool:
        """True when the mass lies within the range."""
        return self.lowest_kg <= mass_kg <= self.highest_kg


def plausible_range(age_years: int | None, body_mass_kg: Decimal | None) -> Range:
    """Return the plausible range for a person of this age (None: unknown, taken as adult)."""
    adult = age_years is None or age_years >= ADULT_FROM_YEARS
    low, high = ADULT_LOWEST_KG, ADULT_HIGHEST_KG
    why = "adults weighed by Warren & Maples 1997 (0.876 to 3.784 kg), 0.5 kg wider by region"
    if not adult:
        low, high = Decimal("0.001"), ADULT_LOWEST_KG * 3
        why = "a person under 18: no published range for the age alone"
    if body_mass_kg:
        expected = body_mass_kg * SHARE_OF_BODY_MASS[adult]
        low = max(low, expected / SHARE_FACTOR) if not adult else min(low, expected)
        high = min(high, expected * SHARE_FACTOR) if not adult else high
        why += f"; {SHARE_OF_BODY_MASS[adult]:.1%} of body mass would be {expected:.2f} kg"
    return Range(low, high, why)
