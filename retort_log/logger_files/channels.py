"""What a column measures and in which unit, by its heading. Pure.

The words are those that the trade and instruments use, English and Spanish; common practice, no
source. A guess fills a form that a person looks over; it decides nothing.
"""

import re
from collections.abc import Mapping
from decimal import Decimal
from functools import cache

from crematory.units import convert

TEMPERATURES = ("primary", "secondary", "stack")
CHANNELS = (*TEMPERATURES, "oxygen", "co", "opacity", "flow", "draft", "burner_kw")
TEMPERATURE_UNITS = ("degC", "degF", "kelvin")

# Canonical names; any other spelling is kept as it stands.
_UNITS: Mapping[str, tuple[str, ...]] = {
    "degC": ("c", "°c", "degc", "celsius", "gradosc", "gradc"),
    "degF": ("f", "°f", "degf", "fahrenheit", "gradosf"),
    "kelvin": ("k", "kelvin"),
    "%": ("%", "pct", "percent", "vol%", "%vol", "vol.%"),
    "ppm": ("ppm", "ppmv"),
    "mg/m3": ("mg/m3", "mg/nm3"),
    "kW": ("kw",),
    "Pa": ("pa",),
    "mbar": ("mbar",),
    "inH2O": ("inwc", "inh2o", "inwg", "wc", "w.c.", "in.w.c."),
    "mmH2O": ("mmh2o", "mmwc"),
    "m3/h": ("m3/h", "m3h", "nm3/h"),
    "ft3/h": ("ft3/h", "cfh", "scfh"),
    "ms": ("ms", "msec", "milliseconds"),
    "s": ("s", "sec", "secs", "second", "seconds", "segundos"),
    "min": ("min", "mins", "minute", "minutes", "minutos"),
    "h": ("h", "hr", "hrs", "hour", "hours", "horas"),
    "kW/m2": ("kw/m2",),
}
_SPELLINGS = {word: unit for unit, words in _UNITS.items() for word in words}
_FOLD = str.maketrans({"º": "°", "˚": "°", "³": "3", "²": "2", "₂": "2", "\ufffd": "°"})

_CHANNEL_WORDS: tuple[tuple[str, str], ...] = (
    ("oxygen", r"\bo2\b|oxygen|ox[ií]geno"),
    ("co", r"\bco\b|carbon monoxide|mon[oó]xido"),
    ("opacity", r"opacity|opacidad|smoke density"),
    ("draft", r"draft|draught|\btiro\b|chamber pressure"),
    ("flow", r"\bflow\b|gas rate|caudal"),
    ("burner_kw", r"burner (?:power|output|kw)|hrr ?burner|\bkw\b.*burner|quemador kw"),
    ("stack", r"\bstack\b|\bflue\b|chimney|chimenea"),
    ("secondary", r"secondary|\bsec\b|after ?burner|after ?chamber|secundari[ao]|\bscc\b"),
    ("primary", r"primary|\bprim?\b|main chamber|primari[ao]|\bpcc\b"),
)
_NUMBERED = re.compile(
    r"(?:ch|chan|channel|canal|tc|ai|in|input|analog|t|temp|sensor|probe|pv)?[ _.#-]*[0-9]{1,3}",
    re.I,
)
_BRACKETED = re.compile(r"[(\[]([^()\[\]]{1,20})[)\]]")
_NOT_TEMPERATURE = re.compile(r"set ?point|\bsp\b|alarm|output|valve|status|damper", re.I)

# Wide enough for the noise around nought of a sensor at rest; choices of this design.
_BOUNDS: Mapping[str, tuple[float, float]] = {"%": (-10.0, 110.0), "ppm": (-1_000.0, 1_000_000.0)}
_WIDEST = 1e9


def unit_of(text: str) -> str | None:
    """The canonical name of a unit as it is written in a file, or None."""
    folded = text.translate(_FOLD).strip(" ()[]\"'").casefold()
    folded = re.sub(r"deg(?:rees?)?\.?\s*|\s+", lambda m: "deg" if "deg" in m[0] else "", folded)
    found = _SPELLINGS.get(folded)
    if found is None and folded.startswith("deg"):
        found = _SPELLINGS.get(folded[3:])
    return found


def heading_unit(heading: str) -> str | None:
    """The unit that a heading names: in brackets, after a comma or as its last word."""
    for bracketed in _BRACKETED.findall(heading):
        if unit := unit_of(bracketed):
            return unit
    words = [w for w in re.split(r"[\s,_/:;()\[\]-]+", heading.translate(_FOLD)) if w]
    last = heading.translate(_FOLD).split(",")[-1]
    if "," in heading and (unit := unit_of(last)):
        return unit
    # A single letter at the end counts only in capitals or with its degree sign.
    if len(words) > 1 and (len(words[-1]) > 1 or words[-1] in "CFK%"):
        return unit_of(words[-1])
    return None


def channel_of(heading: str, unit: str | None) -> str | None:
    """The channel that a heading speaks of, or None where nobody could say."""
    plain = re.sub(r"[_\-.]+", " ", heading.translate(_FOLD)).casefold()
    for channel, words in _CHANNEL_WORDS:
        if not re.search(words, plain):
            continue
        if channel not in TEMPERATURES:
            return channel
        if unit in (None, *TEMPERATURE_UNITS) and not _NOT_TEMPERATURE.search(plain):
            return channel
    return None


def is_numbered(heading: str) -> bool:
    """True for "CH1", "Channel 2", "TC 3": a number that says nothing of what is measured."""
    bare = _BRACKETED.sub("", heading).strip()
    words = bare.split()
    if len(words) > 1 and unit_of(words[-1]):
        bare = " ".join(words[:-1])
    return _NUMBERED.fullmatch(bare) is not None


@cache
def bounds(unit: str) -> tuple[float, float]:
    """The least and the most that a value in this unit can be.

    Temperatures: absolute zero and 2000 °C, above every thermocouple in use (type B ends at
    1700 °C, ASTM E230).
    """
    if unit not in TEMPERATURE_UNITS:
        return _BOUNDS.get(unit, (-_WIDEST, _WIDEST))
    low, high = (convert(Decimal(end), "degC", unit) for end in ("-273.15", "2000"))
    return float(low), float(high)


def outside(value: float, unit: str) -> str | None:
    """The code of the refusal of a value outside physical sense, or None."""
    low, high = bounds(unit)
    if low <= value <= high:
        return None
    if unit in TEMPERATURE_UNITS:
        return "too_cold" if value < low else "too_hot"
    return "out_of_range"
