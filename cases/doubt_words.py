"""A doubtful reading as a question to the person who typed it."""

from django.utils import timezone

from crematory.templatetags.crematory import when
from crematory.units import UnitSystem, show_quantity
from retort_log.acts import ReadingDoubted
from retort_log.doubts import CHAMBERS
from retort_log.selectors import Standing

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

BOTH = {
    "rise": "Each chamber would have risen faster than a chamber can.",
    "fall": "Each chamber would have cooled faster than a chamber can.",
    "unit": "Each chamber looks typed in the other unit (°F or °C).",
    "digit": "Each chamber looks as if a digit were missing or too many.",
}


def question(doubted: ReadingDoubted, units: UnitSystem) -> str:
    """Return the question: what was typed, what the reading beside it says, what looks wrong."""
    typed = " ".join(_line(doubted, chamber, units) for chamber in _asked(doubted))
    return f"Is this right? {typed} {' '.join(_reasons(doubted.doubts))}"


def _reasons(found: tuple[str, ...]) -> list[str]:
    """What looks wrong, in words; what is said of both chambers is said once."""
    words = []
    for code in found:
        kind, _, chamber = code.rpartition("_")
        if f"{kind}_primary" in found and f"{kind}_secondary" in found and kind in BOTH:
            if chamber == "primary":
                words.append(BOTH[kind])
        else:
            words.append(WORDS[code])
    return words


def _asked(doubted: ReadingDoubted) -> list[str]:
    """The chambers that are in doubt, the secondary one first, as in the form."""
    if {"swapped", "apart"} & set(doubted.doubts):
        return list(reversed(CHAMBERS))
    return [c for c in reversed(CHAMBERS) if any(d.endswith(f"_{c}") for d in doubted.doubts)]


def _line(doubted: ReadingDoubted, chamber: str, units: UnitSystem) -> str:
    """What was typed for one chamber, and what it was in the reading beside."""
    value = show_quantity(doubted.new.of(chamber), "temperature", units)
    beside = doubted.neighbour
    if beside is None:
        return f"{chamber.capitalize()} chamber: typed {value}."
    other = beside.primary_c if chamber == "primary" else beside.secondary_c
    shown = show_quantity(other, "temperature", units)
    return f"{chamber.capitalize()} chamber: typed {value} ({shown} at {_at(doubted, beside)})."


def _at(doubted: ReadingDoubted, beside: Standing) -> str:
    """When the reading beside was taken; the day only where it is another one."""
    at, new = timezone.localtime(beside.at), timezone.localtime(doubted.new.at)
    return f"{at:%H:%M}" if at.date() == new.date() else when(beside.at)
