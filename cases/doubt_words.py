"""A doubtful reading as a question to the person who typed it."""

from crematory.templatetags.crematory import when
from crematory.units import UnitSystem, show_quantity
from retort_log.acts import ReadingDoubted

WORDS = {
    "swapped": "primary and secondary look swapped",
    "jump_primary": "the primary chamber would have changed faster than a chamber can",
    "jump_secondary": "the secondary chamber would have changed faster than a chamber can",
    "unit_primary": "the primary chamber looks typed in the other unit (°F or °C)",
    "unit_secondary": "the secondary chamber looks typed in the other unit (°F or °C)",
    "digit_primary": "the primary chamber looks as if a digit were missing or too many",
    "digit_secondary": "the secondary chamber looks as if a digit were missing or too many",
}


def question(doubted: ReadingDoubted, units: UnitSystem) -> str:
    """Return the question: what looks wrong, and what the reading beside it says."""
    beside = doubted.neighbour
    secondary = show_quantity(beside.secondary_c, "temperature", units, both=True)
    primary = show_quantity(beside.primary_c, "temperature", units, both=True)
    found = "; ".join(WORDS[code] for code in doubted.doubts)
    return (
        f"Is this right? Beside the reading of {when(beside.at)} (secondary {secondary}, "
        f"primary {primary}), {found}."
    )
