"""Every unit that a logger's file can give is one that the registry, a trace and findings read."""

from decimal import Decimal

import numpy as np
import pytest
from numpy.typing import NDArray

from crematory.units import convert
from retort_log.blocks import Channel, Series
from retort_log.logger_acts import LoggerRefused
from retort_log.logger_files.channels import _UNITS, CHANNELS, unit_of
from retort_log.logger_units import (
    UNITS,
    kept_unit,
    kept_units_of,
    unit_words,
    unsuited,
)
from retort_log.modbus import registers
from retort_log.readings import Trace

# What findings and charts ask a channel for.
ASKED = {
    "primary": "degF",
    "secondary": "degC",
    "stack": "degF",
    "oxygen": "percent",
    "opacity": "percent",
    "co": None,  # judged in the unit of its text; ppm and mg/m³ are told apart by findings
    "flow": "m**3/hour",
    "draft": "pascal",
    "burner_kw": "kilowatt",
}
OF_TIME = {"ms", "s", "min", "h"}
NO_CHANNEL = {"kW/m2"}


@pytest.mark.parametrize("said", sorted(_UNITS))
def test_every_unit_of_a_heading_can_be_read(said: str) -> None:
    kept = kept_unit(said)
    assert isinstance(convert(Decimal(1), kept, kept), Decimal)
    assert said in UNITS or said in OF_TIME | NO_CHANNEL


@pytest.mark.parametrize("channel", CHANNELS)
def test_every_unit_that_suits_a_channel_reaches_what_asks_for_it(channel: str) -> None:
    suited = [unit for unit in UNITS if unsuited(channel, unit) is None]
    assert suited
    for unit in suited:
        trace = Trace(np.array([0.0, 1.0]), np.array([1.0, 900.0]), kept_unit(unit))
        to = ASKED[channel] or trace.unit
        exact = float(convert(Decimal(900), trace.unit, to))
        assert trace.to(to).values[1] == pytest.approx(exact)
        assert Series((Channel(channel, kept_unit(unit)),), *_one()).values().shape == (1, 1)


def _one() -> tuple[NDArray[np.int64], NDArray[np.int32]]:
    return np.array([0], np.int64), np.array([[1]], np.int32)


def test_a_kelvin_is_a_temperature() -> None:
    trace = Trace(np.array([0.0]), np.array([1144.15]), "kelvin")
    assert trace.to("degC").values[0] == pytest.approx(871.0)


@pytest.mark.parametrize("unit", registers.UNITS)
def test_what_a_controller_says_suits_some_channel(unit: str) -> None:
    assert any(unit in kept_units_of(channel, [unit]) for channel in CHANNELS)
    assert unit_words(unit)


def test_words_for_units_of_files_and_as_kept() -> None:
    assert unit_words("mg/m3") == unit_words("mg/m**3") == "mg/m³"
    assert unit_words(kept_unit("%")) == "%"
    assert unit_of("mg/Nm³") == "mg/m3"


@pytest.mark.parametrize(
    ("channel", "unit"),
    [("primary", "ppm"), ("oxygen", "degC"), ("co", ""), ("draft", "kW"), ("so2", "")],
)
def test_what_does_not_suit(channel: str, unit: str) -> None:
    assert unsuited(channel, unit)


def test_a_channel_of_another_name_needs_a_known_unit() -> None:
    assert unsuited("so2", "ppm") is None
    assert LoggerRefused("log_unit", "words").text == "words"
