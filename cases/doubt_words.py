"""A doubtful reading as a question to the person who typed it."""

from crematory.templatetags.crematory import when
from crematory.units import UnitSystem, show_quantity
from retort_log.acts import ReadingDoubted
from retort_log.readings import CHAMBERS

WORDS = {
    "swapped": "Primary and secondary look swapped.",
    "apart": "The two chambers lie further apart than the chambers of one machine do.",
    "rise_primary": "The primary chamber would have risen faster than a chamber can.",
    "rise_secondary": "The secondary chamber would have risen faster than a chamber can.",
    "fall_primary": "The primary chamber would have cooled faster than a chamber can.",
    "fall_secondary": "The secondary chamber would have cooled faster than a chamber can.",
    "unit_primary": "The primary chamber looks typed in the other unit (°F or °C).",
    "unit_secondary": "The secondary chamber looks typed in the other unit (°F or °C).",
    "digit_primary": "The primary chamber looks as if a digit were missing or too many.",
    "digit_secondary": "The secondary chamber looks as if a digit were missing or too many.",
    "opens_primary": "It would be cool enough to sweep after one big change.",
    "opens_secondary": "It would be hot enough to charge after one big change.",
}


def question(doubted: ReadingDoubted, units: UnitSystem) -> str:
    """Return the question: what was typed, what the reading beside it says, what looks wrong."""
    typed = "; ".join(_line(doubted, chamber, units) for chamber in _asked(doubted))
    found = " ".join(WORDS[code] for code in doubted.doubts)
    beside = f" Beside the reading of {when(doubted.neighbour.at)}." if doubted.neighbour else ""
    return f"Is this right? {typed}.{beside} {found}"


def _asked(doubted: ReadingDoubted) -> list[str]:
    """The chambers that are in doubt, the secondary one first, as in the form."""
    named = [c for c in reversed(CHAMBERS) if any(d.endswith(c) for d in doubted.doubts)]
    whole = {"swapped", "apart"} & set(doubted.doubts)
    return list(reversed(CHAMBERS)) if whole or not named else named


def _line(doubted: ReadingDoubted, chamber: str, units: UnitSystem) -> str:
    """What was typed for one chamber, and what it was in the reading beside."""
    value = show_quantity(doubted.new.of(chamber), "temperature", units)
    if doubted.neighbour is None:
        return f"{chamber.capitalize()} chamber: typed {value}"
    of = {"primary": doubted.neighbour.primary_c, "secondary": doubted.neighbour.secondary_c}
    other = show_quantity(of[chamber], "temperature", units)
    return f"{chamber.capitalize()} chamber: typed {value}, beside {other}"
