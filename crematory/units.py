"""Quantities as people type and read them; stored in SI as Decimal. One pint registry.

Stored units: mass in kg (3 decimals), temperature in °C (2), volume in L (4), length in cm (2).
Rounding to the stored step keeps the order of values, so a limit that went through
`parse_quantity` compares rightly with a reading that did: 1,600 °F is 871.11 on both sides.
"""

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal, localcontext
from functools import cache, lru_cache
from typing import Literal

import pint

KindName = Literal["mass", "temperature", "volume", "length", "activity"]
UnitSystem = Literal["us", "metric"]

NBSP = "\u00a0"
LONGEST_INPUT = 40
# Enough digits for every input of LONGEST_INPUT characters times any conversion factor.
_PRECISION = 100
_FINEST = Decimal("1e-15")


class QuantityError(ValueError):
    """What was typed is no usable quantity; the message tells the person what to do."""


@dataclass(frozen=True)
class Kind:
    """One kind of quantity: how it is stored, limited, written and shown."""

    name: KindName
    stored_unit: str
    step: Decimal
    minimum: Decimal
    maximum: Decimal
    shown_in: Mapping[UnitSystem, str]
    spellings: Mapping[str, str]
    examples: str
    # A larger unit that may be followed by a smaller one, and how many of it fill the larger.
    compound: tuple[str, str, int] | None = None


def _spellings(**units: str) -> dict[str, str]:
    return {word: unit for unit, words in units.items() for word in words.split()}


# Default limits are wide: they catch a slip of the unit or of the finger. A field tightens them.
KINDS: Mapping[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind(
            name="mass",
            stored_unit="kg",
            step=Decimal("0.001"),
            minimum=Decimal("0.001"),
            maximum=Decimal("450"),  # about twice a usual chamber limit; common practice, no source
            shown_in={"us": "lb", "metric": "kg"},
            spellings=_spellings(
                kg="kg kgs kilo kilos kilogram kilograms",
                g="g gram grams",
                lb="lb lbs pound pounds",
                oz="oz ounce ounces",
            ),
            examples="“182 lb”, “12 lb 4 oz” or “82.5 kg”",
            compound=("lb", "oz", 16),
        ),
        Kind(
            name="temperature",
            stored_unit="degC",
            step=Decimal("0.01"),
            minimum=Decimal("-60"),
            maximum=Decimal("1700"),  # upper end of a type B thermocouple, ASTM E230
            shown_in={"us": "degF", "metric": "degC"},
            spellings=_spellings(
                degC="°c c degc degreec degreesc celsius °celsius degreescelsius",
                degF="°f f degf degreef degreesf fahrenheit °fahrenheit degreesfahrenheit",
            ),
            examples="“1640 °F” or “893 °C”",
        ),
        Kind(
            name="volume",
            stored_unit="l",
            step=Decimal("0.0001"),
            minimum=Decimal("0.0001"),
            maximum=Decimal("20000"),  # far above a combustion chamber; common practice, no source
            shown_in={"us": "inch**3", "metric": "l"},
            spellings=_spellings(
                **{
                    "l": "l liter liters litre litres",
                    "ml": "ml milliliter milliliters millilitre millilitres cm3 cc",
                    "inch**3": "in3 cuin cubicin cubicinch cubicinches",
                    "ft**3": "ft3 cuft cubicft cubicfoot cubicfeet",
                }
            ),
            examples="“200 in3” or “3.2 L”",
        ),
        Kind(
            name="length",
            stored_unit="cm",
            step=Decimal("0.01"),
            minimum=Decimal("0.01"),
            maximum=Decimal("1000"),  # longer than any container; common practice, no source
            shown_in={"us": "inch", "metric": "cm"},
            spellings=_spellings(
                mm="mm millimeter millimeters millimetre millimetres",
                cm="cm centimeter centimeters centimetre centimetres",
                m="m meter meters metre metres",
                inch='in inch inches "',
                foot="ft foot feet '",
            ),
            examples="“76 in”, “6 ft 4 in” or “193 cm”",
            compound=("foot", "inch", 12),
        ),
        Kind(
            name="activity",
            stored_unit="megabecquerel",
            step=Decimal("0.001"),
            minimum=Decimal("0.001"),
            maximum=Decimal("100000"),  # far above any dose to a person; common practice, no source
            shown_in={"us": "millicurie", "metric": "megabecquerel"},
            spellings=_spellings(
                kilobecquerel="kbq",
                megabecquerel="mbq megabecquerel megabecquerels",
                gigabecquerel="gbq",
                microcurie="uci μci",
                millicurie="mci millicurie millicuries",
            ),
            examples="“40 mCi” or “1480 MBq”",
        ),
    )
}

_SYMBOLS = {
    "degF": "°F",
    "degC": "°C",
    "inch**3": "in³",
    "l": "L",
    "inch": "in",
    "megabecquerel": "MBq",
    "millicurie": "mCi",
}
_DIMENSIONS = {
    "[mass]": "mass",
    "[temperature]": "temperature",
    "[length]": "length",
    "[length] ** 2": "area",
    "[length] ** 3": "volume",
    "[time]": "time",
}
# Typed for the degree sign, quotes or minus; mapped first, since NFKC would turn º into o.
_LOOKALIKES = str.maketrans({"º": "°", "˚": "°", "−": "-", "′": "'", "’": "'", "″": '"', "”": '"'})
_QUANTITY = re.compile(r"(?P<sign>[+-]?) *(?P<number>[0-9.,]+(?: [0-9]{3}(?![0-9]))*)(?P<unit>.*)")
_SECOND = re.compile(r"(?P<first>[^0-9]+)(?P<number>[0-9][0-9.,]*)(?P<unit>[^0-9]+)")
_GROUPED = re.compile(r"[1-9][0-9]{0,2}([,. ])[0-9]{3}(?:\1[0-9]{3})*(?:(?!\1)[.,][0-9]+)?")


@cache
def registry() -> pint.UnitRegistry:
    """The only unit registry of the site, built at first use, reckoning in Decimal."""
    return pint.UnitRegistry(non_int_type=Decimal)


def default_unit(kind: KindName, units: UnitSystem) -> str:
    """The registry's name of the unit in which a facility writes this kind of quantity."""
    return KINDS[kind].shown_in[units]


def unit_symbol(unit: str) -> str:
    """How a unit of the registry is written for people: "degF" gives "°F"."""
    return _SYMBOLS.get(unit, unit)


@lru_cache(maxsize=4096)
def convert(value: Decimal, unit: str, to: str) -> Decimal:
    """Convert by the registry's factors (1 lb = 0.45359237 kg; NIST SP 811), to 15 decimals.

    The registry keeps factors at the precision at which they were first asked for; cutting
    their tails makes the result the same whatever was converted before.
    """
    with localcontext() as context:
        context.prec = _PRECISION
        return Decimal(registry().Quantity(value, unit).to(to).magnitude).quantize(_FINEST)


def parse_quantity(
    text: str,
    kind: KindName,
    default_unit: str,
    *,
    minimum: Decimal | None = None,
    maximum: Decimal | None = None,
) -> Decimal:
    """Read what a person typed; the result is in the kind's stored unit, rounded to its step.

    A plain number is in `default_unit`. A comma before exactly three digits separates
    thousands ("1,640"); any other single comma is a decimal comma ("82,5", "0,500").
    `minimum` and `maximum` are in the stored unit, both allowed values themselves.
    Raises QuantityError, and nothing else, for every text that is no such quantity.
    """
    spec = KINDS[kind]
    typed = _tidy(text, spec)
    match = _QUANTITY.fullmatch(typed)
    number = match and _number(match["number"])
    if match is None or number is None:
        raise QuantityError(f"“{typed}” cannot be read as {_a(kind)}. {_advice(spec)}")
    amount, unit = _amount(number, match["unit"], spec, default_unit)
    with localcontext() as context:
        context.prec = _PRECISION
        signed = -amount if match["sign"] == "-" else amount
        stored = convert(signed, unit, spec.stored_unit).quantize(spec.step)
    low = spec.minimum if minimum is None else minimum
    high = spec.maximum if maximum is None else maximum
    _check_limits(stored, typed, spec, low, high)
    return stored


def _tidy(text: str, spec: Kind) -> str:
    """One form for every way to type it; never longer than LONGEST_INPUT, unfolded or not."""
    head = text.translate(_LOOKALIKES)[: LONGEST_INPUT + 1]
    typed = " ".join(unicodedata.normalize("NFKC", head).split())
    if not typed:
        raise QuantityError(f"The {spec.name} is missing. {_advice(spec)}")
    if max(len(text), len(typed)) > LONGEST_INPUT:
        raise QuantityError(f"That is too long for {_a(spec.name)}. {_advice(spec)}")
    return typed


def _a(name: str) -> str:
    """The name with its article."""
    return f"an {name}" if name[0] in "aeiou" else f"a {name}"


def _advice(spec: Kind) -> str:
    return f"Write a number and its unit, for example {spec.examples}."


def _number(digits: str) -> Decimal | None:
    """Read digits with thousands separators or a decimal comma; None if they make no number."""
    grouped = _GROUPED.fullmatch(digits)
    if grouped and (grouped[1] != "." or "," in digits):
        digits = digits.replace(grouped[1], "")
    digits = digits.replace(",", ".")
    if not re.fullmatch(r"[0-9]+(?:\.[0-9]*)?|\.[0-9]+", digits):
        return None
    return Decimal(digits)


def _amount(number: Decimal, rest: str, spec: Kind, default: str) -> tuple[Decimal, str]:
    """The amount and its unit, from the first number and all that follows it."""
    if not rest.strip():
        return number, default
    pair = _SECOND.fullmatch(rest)
    if spec.compound is None or pair is None:
        return number, _unit(rest, spec)
    second = _number(pair["number"])
    larger, smaller, count = spec.compound
    named = (_unit(pair["first"], spec), _unit(pair["unit"], spec))
    if second is None or named != (larger, smaller) or second >= count:
        raise QuantityError(
            f"Two parts are read only as {unit_symbol(larger)} and {unit_symbol(smaller)}, "
            f"with fewer than {count} {unit_symbol(smaller)}. {_advice(spec)}"
        )
    return number * count + second, smaller


def _unit(written: str, spec: Kind) -> str:
    key = re.sub(r"[\s.^*]", "", written.casefold())
    if key in spec.spellings:
        return spec.spellings[key]
    dimension = _dimension(key)
    if dimension and dimension != spec.name:
        problem = f"“{written.strip()}” is a unit of {dimension}, not of {spec.name}."
    else:
        problem = f"The unit “{written.strip()}” is not known for {_a(spec.name)}."
    raise QuantityError(f"{problem} {_advice(spec)}")


def _dimension(key: str) -> str | None:
    """What a unit measures, so that the message can say so; None when nobody knows it."""
    for kind in KINDS.values():
        if key in kind.spellings:
            return kind.name
    # The registry evaluates expressions: it is only ever asked about a bare word.
    if not re.fullmatch(r"[a-z]{1,20}", key) or key not in registry():
        return None
    return _DIMENSIONS.get(str(registry().get_dimensionality(key)))


def _check_limits(value: Decimal, typed: str, spec: Kind, low: Decimal, high: Decimal) -> None:
    if low <= value <= high:
        return
    if value <= 0 < low:
        problem = f"{_a(spec.name).capitalize()} must be more than zero; “{typed}” is not."
    elif value < low:
        problem = f"“{typed}” is below the least that is accepted here, {_both(low, spec)}."
    else:
        problem = f"“{typed}” is above the most that is accepted here, {_both(high, spec)}."
    raise QuantityError(f"{problem} Check the number and its unit, for example {spec.examples}.")


def _both(value: Decimal, spec: Kind) -> str:
    return show_quantity(value, spec.name, "us", both=True)


@lru_cache(maxsize=4096)
def show_quantity(value: Decimal, kind: KindName, units: UnitSystem, both: bool = False) -> str:
    """Write a stored value for people: "1,640 °F (893 °C)", with non-breaking spaces.

    A temperature is never rounded onto a limit: it keeps one decimal unless it is whole to
    within 0.05. Beside it, in brackets, whole °C are enough, save near a multiple of ten,
    where limits in °C lie.
    """
    shown_in = KINDS[kind].shown_in
    text = _shown(value, kind, shown_in[units], beside=False)
    if not both:
        return text
    other: UnitSystem = "metric" if units == "us" else "us"
    return f"{text}{NBSP}({_shown(value, kind, shown_in[other], beside=True)})"


def _shown(value: Decimal, kind: KindName, unit: str, *, beside: bool) -> str:
    amount = convert(value, KINDS[kind].stored_unit, unit)
    if kind == "temperature":
        decimals = _temperature_decimals(amount, whole_is_enough=beside and unit == "degC")
    else:
        decimals = _decimals(amount, unit)
    rounded = _rounded(amount, decimals)
    # Minus nought would be read as below nought.
    return f"{rounded or abs(rounded):,f}{NBSP}{unit_symbol(unit)}"


def _temperature_decimals(amount: Decimal, *, whole_is_enough: bool) -> int:
    whole = _rounded(amount, 0)
    if abs(amount - whole) <= Decimal("0.05"):
        return 0
    return 0 if whole_is_enough and whole % 10 else 1


def _decimals(amount: Decimal, unit: str) -> int:
    """Litres, and masses under ten, need a second decimal to tell one person's from another's.

    An activity decays by orders of magnitude: below ten it keeps more of its digits.
    """
    if unit in ("megabecquerel", "millicurie"):
        return 1 if abs(amount) >= 10 else 3
    return 2 if unit == "l" or (unit in ("lb", "kg") and abs(amount) < 10) else 1


def _rounded(amount: Decimal, decimals: int) -> Decimal:
    with localcontext() as context:
        context.prec = _PRECISION
        return amount.quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_UP)


def entry_text(value: Decimal, kind: KindName, units: UnitSystem) -> str:
    """Write a stored value for a form in the fewest decimals that read back as that value.

    Saving a form that nobody changed must not change what is stored.
    """
    spec, unit = KINDS[kind], default_unit(kind, units)
    amount = convert(value, spec.stored_unit, unit)
    text = ""
    for decimals in range(8):
        rounded = _rounded(amount, decimals)
        text = f"{rounded or abs(rounded):f} {unit_symbol(unit)}"
        if convert(rounded, unit, spec.stored_unit).quantize(spec.step) == value:
            break
    return text
