"""Quantities as typed and as shown.

Factors: NIST SP 811 (1 lb = 0.45359237 kg and 1 ft = 0.3048 m exactly, 1 in³ = 16.387064 mL,
t/°C = (t/°F − 32) / 1.8). Nothing here asks the registry what it should answer.
"""

import re
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crematory import units
from crematory.units import KINDS, QuantityError, convert, entry_text, parse_quantity, show_quantity

NBSP = "\u00a0"
KIND_NAMES = st.sampled_from(sorted(KINDS))


@pytest.mark.parametrize(
    ("amount", "unit", "to", "expected"),
    [
        ("1", "lb", "kg", "0.45359237"),
        ("1", "inch**3", "ml", "16.387064"),
        ("1", "foot", "m", "0.3048"),
        ("16", "oz", "lb", "1"),
        ("32", "degF", "degC", "0"),
        ("900", "degC", "degF", "1652"),
        ("850", "degC", "degF", "1562"),
        ("871.0", "degC", "degF", "1599.8"),
    ],
)
def test_conversion_is_exact(amount: str, unit: str, to: str, expected: str) -> None:
    assert convert(Decimal(amount), unit, to) == Decimal(expected)


def test_conversion_does_not_depend_on_what_was_asked_before() -> None:
    units.registry.cache_clear()
    # At the default precision, for another unit: the registry keeps the yard's factor from here.
    units.registry().Quantity(Decimal(1), "inch").to("m")
    assert convert(Decimal(1), "foot", "m") == Decimal("0.3048")


@pytest.mark.parametrize(("fahrenheit", "celsius"), [("1600", "871.1111"), ("1800", "982.2222")])
def test_permit_temperatures(fahrenheit: str, celsius: str) -> None:
    assert round(convert(Decimal(fahrenheit), "degF", "degC"), 4) == Decimal(celsius)


@pytest.mark.parametrize(
    ("cubic_inches", "millilitres"),
    [("180", "2949.672"), ("176.370", "2890.183"), ("200", "3277.413")],
)
def test_volume_of_remains_by_the_rule_of_thumb(cubic_inches: str, millilitres: str) -> None:
    result = convert(Decimal(cubic_inches), "inch**3", "ml")
    # 80 kg is 176.3698 lb, given to three decimals: 0.0005 in³ is 0.009 mL.
    assert abs(result - Decimal(millilitres)) < Decimal("0.01")


@pytest.mark.parametrize(
    ("text", "kind", "unit", "stored"),
    [
        ("182 lb", "mass", "kg", "82.554"),
        ("182lb", "mass", "kg", "82.554"),
        ("182", "mass", "lb", "82.554"),
        ("182", "mass", "kg", "182.000"),
        (" 182\u00a0LBS. ", "mass", "kg", "82.554"),
        ("82,5 kg", "mass", "lb", "82.500"),
        ("0,500 kg", "mass", "lb", "0.500"),
        (".5 kg", "mass", "lb", "0.500"),
        ("2,450 g", "mass", "lb", "2.450"),
        ("12 lb 4 oz", "mass", "kg", "5.557"),
        ("12lb4oz", "mass", "kg", "5.557"),
        ("1,640 °F", "temperature", "degC", "893.33"),
        ("1 640 °F", "temperature", "degC", "893.33"),
        ("1640 F", "temperature", "degC", "893.33"),
        ("1640 f", "temperature", "degC", "893.33"),
        ("1640 deg F", "temperature", "degC", "893.33"),
        ("1640 º F", "temperature", "degC", "893.33"),
        ("1640 ℉", "temperature", "degC", "893.33"),
        ("1.640,5 °F", "temperature", "degC", "893.61"),
        ("1,640.5 °F", "temperature", "degC", "893.61"),
        ("1640", "temperature", "degF", "893.33"),
        ("893", "temperature", "degC", "893.00"),
        ("−18 °C", "temperature", "degF", "-18.00"),
        ("200 in3", "volume", "l", "3.2774"),
        ("200 in³", "volume", "l", "3.2774"),
        ("200 cu. in.", "volume", "l", "3.2774"),
        ("200", "volume", "inch**3", "3.2774"),
        ("3.2 L", "volume", "inch**3", "3.2000"),
        ("3200 ml", "volume", "inch**3", "3.2000"),
        ("6 ft 4 in", "length", "cm", "193.04"),
        ("6' 4\"", "length", "cm", "193.04"),
        ("6’4”", "length", "cm", "193.04"),
        ("1.93 m", "length", "inch", "193.00"),
    ],
)
def test_what_people_type_is_read(text: str, kind: units.KindName, unit: str, stored: str) -> None:
    result = parse_quantity(text, kind, unit)
    assert str(result) == stored


@pytest.mark.parametrize(
    ("text", "kind", "says"),
    [
        ("12 furlongs", "mass", "“furlongs” is a unit of length, not of mass"),
        ("12 kg", "temperature", "“kg” is a unit of mass, not of temperature"),
        ("12 in", "volume", "“in” is a unit of length, not of volume"),
        ("12 acres", "volume", "“acres” is a unit of area"),
        ("90 minutes", "mass", "“minutes” is a unit of time"),
        ("12 zorks", "mass", "The unit “zorks” is not known"),
        ("893 K", "temperature", "The unit “K” is not known"),
        ("1e3 kg", "mass", "The unit “e” is not known"),
        ("12 kg*kg", "mass", "is not known"),
        ("-5 lb", "mass", "must be more than zero"),
        ("0", "mass", "must be more than zero"),
        ("0.0004 kg", "mass", "must be more than zero"),
        ("451 kg", "mass", "above the most that is accepted here, 992.1 lb (450.0 kg)"),
        ("5000 °C", "temperature", "above the most that is accepted here, 3,092 °F (1,700 °C)"),
        ("-400 °C", "temperature", "below the least that is accepted here, -76 °F (-60 °C)"),
        ("nan", "mass", "cannot be read as a mass"),
        ("inf", "temperature", "cannot be read as a temperature"),
        ("-Infinity kg", "mass", "cannot be read"),
        ("1,640,5 F", "temperature", "cannot be read"),
        ("1.640.500 F", "temperature", "cannot be read"),
        ("82.5.3 kg", "mass", "cannot be read"),
        ("kg", "mass", "cannot be read"),
        ("٣ kg", "mass", "cannot be read"),
        ("", "mass", "The mass is missing"),
        (" \u00a0 ", "volume", "The volume is missing"),
        ("9" * 300, "mass", "too long for a mass"),
        ("9" * 39, "mass", "above the most"),
        ("\ufdfa" * 30, "mass", "too long for a mass"),
        ("12 lb 16 oz", "mass", "fewer than 16 oz"),
        ("12 kg 4 oz", "mass", "only as lb and oz"),
        ("12 lb 4.5.6 oz", "mass", "only as lb and oz"),
        ("6 ft 12 in", "length", "fewer than 12 in"),
    ],
)
def test_nonsense_is_refused_with_advice(text: str, kind: units.KindName, says: str) -> None:
    with pytest.raises(QuantityError) as refusal:
        parse_quantity(text, kind, KINDS[kind].stored_unit)
    message = str(refusal.value).replace(NBSP, " ")
    assert says in message
    assert KINDS[kind].examples in message


@given(text=st.text() | st.text(alphabet="0123456789.,-+ '\"°³eEflbkgozincuCFL"), kind=KIND_NAMES)
def test_no_text_raises_anything_but_a_quantity_error(text: str, kind: units.KindName) -> None:
    spec = KINDS[kind]
    try:
        result = parse_quantity(text, kind, spec.stored_unit)
    except QuantityError:
        return
    assert spec.minimum <= result <= spec.maximum
    assert result.as_tuple().exponent == spec.step.as_tuple().exponent


def test_a_field_may_set_its_own_limits() -> None:
    limits = {"minimum": Decimal("1"), "maximum": Decimal("226.796")}
    assert parse_quantity("500 lb", "mass", "lb", **limits) == Decimal("226.796")
    with pytest.raises(QuantityError, match="above the most"):
        parse_quantity("500.1 lb", "mass", "lb", **limits)
    with pytest.raises(QuantityError, match="below the least"):
        parse_quantity("2 lb", "mass", "lb", **limits)


def test_a_reading_under_a_fahrenheit_limit_stays_under_it_when_stored() -> None:
    limit = parse_quantity("1600 °F", "temperature", "degC")
    assert parse_quantity("871.0 °C", "temperature", "degF") < limit
    assert parse_quantity("1599.9 °F", "temperature", "degF") < limit
    assert parse_quantity("871.12 °C", "temperature", "degF") >= limit
    assert parse_quantity("1600 °F", "temperature", "degF") >= limit


@pytest.mark.parametrize(
    ("value", "kind", "system", "both", "shown"),
    [
        ("893.33", "temperature", "us", True, "1,640 °F (893 °C)"),
        ("893.33", "temperature", "metric", True, "893.3 °C (1,640 °F)"),
        ("871.00", "temperature", "us", False, "1,599.8 °F"),
        ("871.00", "temperature", "us", True, "1,599.8 °F (871 °C)"),
        ("871.11", "temperature", "us", False, "1,600 °F"),
        ("849.60", "temperature", "us", True, "1,561.3 °F (849.6 °C)"),
        ("849.60", "temperature", "metric", False, "849.6 °C"),
        ("-0.01", "temperature", "metric", False, "0 °C"),
        ("-18.00", "temperature", "us", True, "-0.4 °F (-18 °C)"),
        ("82.554", "mass", "us", True, "182.0 lb (82.6 kg)"),
        ("82.554", "mass", "metric", True, "82.6 kg (182.0 lb)"),
        ("2.450", "mass", "metric", False, "2.45 kg"),
        ("3.2774", "volume", "us", True, "200.0 in³ (3.28 L)"),
        ("193.04", "length", "us", True, "76.0 in (193.0 cm)"),
    ],
)
def test_quantities_are_shown(
    value: str, kind: units.KindName, system: units.UnitSystem, both: bool, shown: str
) -> None:
    assert show_quantity(Decimal(value), kind, system, both) == shown.replace(" ", NBSP)


@given(st.decimals(min_value=700, max_value=1100, places=2))
def test_no_temperature_is_shown_at_a_limit_that_it_misses(celsius: Decimal) -> None:
    for limit in (1400, 1600, 1800):
        shown = show_quantity(celsius, "temperature", "us")
        distance = abs(celsius * 9 / 5 + 32 - limit)
        assert (shown == f"{limit:,}{NBSP}°F") == (distance <= Decimal("0.05"))


@given(data=st.data(), kind=KIND_NAMES, system=st.sampled_from(["us", "metric"]))
def test_saving_an_unchanged_form_changes_nothing(
    data: st.DataObject, kind: units.KindName, system: units.UnitSystem
) -> None:
    spec = KINDS[kind]
    places = -int(spec.step.as_tuple().exponent)
    value = data.draw(st.decimals(spec.minimum, spec.maximum, places=places))
    text = entry_text(value, kind, system)
    assert parse_quantity(text, kind, "kg") == value
    assert re.fullmatch(r"-?[0-9]+(\.[0-9]+)? \S+", text)


def test_round_numbers_come_back_as_they_were_typed() -> None:
    assert entry_text(Decimal("871.11"), "temperature", "us") == "1600 °F"
    assert entry_text(Decimal("82.554"), "mass", "us") == "182 lb"
    assert entry_text(Decimal("82.500"), "mass", "metric") == "82.5 kg"


def test_there_is_one_registry() -> None:
    assert units.registry() is units.registry()
