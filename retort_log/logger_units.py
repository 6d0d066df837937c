"""The units of loggers' channels: as files say them, as they are kept, and what suits a channel.

Kept are the spellings of the registry of units, which findings and charts read.
"""

from collections.abc import Iterable, Mapping

from retort_log.logger_files.channels import TEMPERATURE_UNITS, TEMPERATURES

# As files say it, and as the registry and the findings do; all other spellings are the same.
SPELLINGS: Mapping[str, str] = {
    "%": "percent",
    "mg/m3": "mg/m**3",
    "m3/h": "m**3/hour",
    "ft3/h": "ft**3/hour",
    "kW": "kilowatt",
    "Pa": "pascal",
    "mbar": "millibar",
    "inH2O": "inch_H2O",
    "mmH2O": "millimeter_H2O",
    "kW/m2": "kilowatt/m**2",
}
WORDS: Mapping[str, str] = {
    "degC": "°C",
    "degF": "°F",
    "kelvin": "K",
    "mg/m3": "mg/m³",
    "m3/h": "m³/h",
    "ft3/h": "ft³/h",
    "inH2O": "in H₂O",
    "mmH2O": "mm H₂O",
    "kW/m2": "kW/m²",
}
_OF_CHANNEL: Mapping[str, tuple[str, ...]] = {
    **dict.fromkeys(TEMPERATURES, TEMPERATURE_UNITS),
    "oxygen": ("%",),
    "opacity": ("%",),
    "co": ("ppm", "mg/m3", "%"),
    "flow": ("m3/h", "ft3/h"),
    "draft": ("Pa", "mbar", "inH2O", "mmH2O"),
    "burner_kw": ("kW",),
}
UNITS: tuple[str, ...] = tuple(dict.fromkeys(u for units in _OF_CHANNEL.values() for u in units))


def kept_unit(unit: str) -> str:
    """Return a file's unit as it is kept."""
    return SPELLINGS.get(unit, unit)


def unit_words(unit: str) -> str:
    """Return a unit, spelled as in files or as kept, for people: "mg/m3" gives "mg/m³"."""
    in_file = next((said for said, kept in SPELLINGS.items() if kept == unit), unit)
    return WORDS.get(in_file, in_file)


def unsuited(channel: str, unit: str) -> str | None:
    """Return why a channel cannot be in this unit, in words; None where it can."""
    suited = _OF_CHANNEL.get(channel)
    if suited is None:
        return None if unit in UNITS else f"No unit is known for {channel}. Choose one."
    if unit in suited:
        return None
    known = " or ".join(unit_words(one) for one in suited)
    return f"{channel.replace('_', ' ').capitalize()} is in {known}. Choose its unit."


def kept_units_of(channel: str, units: Iterable[str]) -> list[str]:
    """Return those of some units, spelled as they are kept, that suit a channel."""
    suited = {kept_unit(unit) for unit in _OF_CHANNEL.get(channel, ())}
    return [unit for unit in units if unit in suited]
