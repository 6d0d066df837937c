"""Formulae against published numbers; the source stands beside each."""

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crematory.units import convert
from retort_log.combustion import (
    CombustionError,
    Energy,
    Flow,
    TemperatureUnit,
    at_reference_oxygen,
    grains_to_mg,
    largest_flow,
    mg_to_grains,
    mg_to_ppm,
    of_btu,
    ppm_to_mg,
    residence_seconds,
)
from retort_log.emissions import PER_BODY, emitted_grams
from retort_log.permit_rules import Mark
from retort_log.readings import draw
from retort_log.thermocouples import Thermocouple, ThermocoupleError
from tests.retort_log.series import measured, needs_furnace_test

approx = pytest.approx
SCFM_1000 = Flow(1000, "ft**3", 68)


# Gas law. The EPA's standard is 68 °F; some trade flows are at 60 or 70 °F.
@pytest.mark.parametrize(("standard", "acfm"), [(68, 3903.33), (60, 3963.42), (70, 3888.6)])
def test_a_standard_flow_grows_with_heat(standard: float, acfm: float) -> None:
    assert Flow(1000, "ft**3", standard).at(1600, "degF") == approx(acfm, rel=1e-4)


# Residence is volume over actual flow. New York asks for 1 s (6 NYCRR 219-4.4), Oregon for 0.5 s
# (OAR 340-230-0210).
def test_sixty_cubic_feet_fail_new_york_and_pass_oregon() -> None:
    stays = residence_seconds(60, "ft**3", SCFM_1000, 1600, "degF")
    assert stays == approx(0.92229, abs=1e-4)
    assert 0.5 <= stays < 1


@pytest.mark.parametrize(
    ("volume", "fahrenheit", "scfm"),
    [(60, 1600, 922.29), (61, 1600, 937.66), (61, 1400, 1038.50), (61, 1800, 854.67)],
)
def test_the_largest_flow_for_one_second(volume: float, fahrenheit: float, scfm: float) -> None:
    found = largest_flow(volume, "ft**3", 1, SCFM_1000, fahrenheit, "degF")
    assert found == approx(scfm, abs=0.01)


# A test by the EPA at a cemetery in New York: about 61 ft³, blower up to 600 scfm, "more than 1 s".
@pytest.mark.parametrize(
    ("fahrenheit", "seconds"), [(1400, 1.7308), (1600, 1.5628), (1800, 1.4245)]
)
def test_a_tested_unit_holds_its_gas_for_more_than_a_second(
    fahrenheit: float, seconds: float
) -> None:
    stays = residence_seconds(61, "ft**3", Flow(600, "ft**3", 68), fahrenheit, "degF")
    assert stays == approx(seconds, abs=1e-3)
    assert stays > 1


@settings(deadline=None)
@given(st.floats(600, 1200), st.floats(0, 0.4), st.floats(0.8, 1.2))
def test_residence_is_the_same_in_every_unit(
    celsius: float, moisture: float, pressure: float
) -> None:
    feet = Flow(1000, "ft**3", 68, "degF", moisture, pressure)
    metres = Flow(1000 * 0.3048**3, "m**3", 20, "degC", moisture, pressure)
    one = residence_seconds(60, "ft**3", feet, celsius * 1.8 + 32, "degF")
    other = residence_seconds(60 * 0.3048**3, "m**3", metres, celsius, "degC")
    assert one == approx(other)
    dry = Flow(1000, "ft**3", 68, "degF", 0, pressure)
    longer = residence_seconds(60, "ft**3", dry, celsius, "degC")
    assert one == approx(longer * (1 - moisture))


def test_an_actual_flow_is_not_corrected() -> None:
    assert Flow(3000, "ft**3", None).at(1600, "degF") == 3000


@pytest.mark.parametrize(
    ("volume", "flow", "temperature", "unit"),
    [
        (0, SCFM_1000, 1600, "degF"),
        (60, Flow(0, "ft**3", 68), 1600, "degF"),
        (60, Flow(1000, "ft**3", 68, moisture=1.0), 1600, "degF"),
        (60, SCFM_1000, -459.67, "degF"),
        (60, SCFM_1000, -273.15, "degC"),
    ],
)
def test_senseless_flows_are_refused(
    volume: float, flow: Flow, temperature: float, unit: TemperatureUnit
) -> None:
    with pytest.raises(CombustionError):
        residence_seconds(volume, "ft**3", flow, temperature, unit)


# The oxygen correction: A is 20.9 in Quebec's s. 71 and EPA Method 19, 21 in 40 CFR 60.284.
@pytest.mark.parametrize(
    ("measured_value", "oxygen", "reference", "ambient", "expected"),
    [
        (60, 12, 7, 20.9, 93.708),
        (60, 12, 7, 21, 93.333),
        (20, 15, 11, 21, 33.333),
        (20, 15, 11, 20.9, 33.559),
        (20, 11, 11, 20.9, 20.0),
    ],
)
def test_concentrations_at_the_reference_oxygen(
    measured_value: float, oxygen: float, reference: float, ambient: float, expected: float
) -> None:
    found = at_reference_oxygen(measured_value, oxygen, reference, ambient)
    assert found.value == approx(expected, abs=1e-3)
    assert not found.is_capped
    assert not found.is_near


@pytest.mark.parametrize(("oxygen", "reference"), [(20.9, 7), (21, 7), (-0.1, 7), (12, 20.9)])
def test_the_oxygen_of_air_has_no_correction(oxygen: float, reference: float) -> None:
    with pytest.raises(CombustionError, match=r"[Oo]xygen"):
        at_reference_oxygen(60, oxygen, reference, 20.9)


def test_near_the_oxygen_of_air_the_factor_is_cut_and_that_is_said() -> None:
    near, beyond = (at_reference_oxygen(1, oxygen, 7) for oxygen in (18, 20.8))
    assert (near.is_near, near.is_capped) == (True, False)
    assert (beyond.is_near, beyond.is_capped, beyond.value) == (True, True, 10.0)


# Definitions: 1 grain = 64.79891 mg, 1 ft = 0.3048 m; ideal gas, CO of 28.010 g/mol.
def test_units_of_concentration() -> None:
    assert grains_to_mg(0.08) == approx(183.068, abs=0.01)
    assert mg_to_grains(grains_to_mg(0.08)) == approx(0.08)
    assert ppm_to_mg(100) == approx(124.967, abs=0.01)
    assert ppm_to_mg(100, at_c=25) == approx(114.490, abs=0.01)
    assert mg_to_ppm(ppm_to_mg(100, at_c=25), at_c=25) == approx(100)


# International Table Btu by definition; propane of 91,333 Btu a gallon (Federal Register 2007).
def test_units_of_energy() -> None:
    therm = of_btu(100_000)
    assert therm.therms == approx(1)
    assert therm.mj == approx(105.50559, abs=1e-4)
    assert therm.kwh == approx(29.30711, abs=1e-4)
    assert of_btu(1.5e6).propane_gallons == approx(16.423, abs=1e-3)
    assert of_btu(3.2e6).kwh == approx(937.83, abs=0.01)
    assert of_btu(1029).gas_ft3 == approx(1)


# 37 MBq to the millicurie, by definition.
def test_an_activity_converts_by_definition() -> None:
    assert float(convert(Decimal("193.6"), "millicurie", "megabecquerel")) == approx(7163.2)


# A furnace test measured by NIST (Composite Beam, test 3): the burner's record ends at 6,150 s.
@needs_furnace_test
def test_a_measured_burner_in_therms() -> None:
    burned = draw(measured("HRRburner", "kilowatt"), "kilowatt", 60, 0, 14_760).integral()
    assert Energy(burned).therms == approx(162.157, rel=1e-4)
    assert Energy(burned).mj == approx(17_108.51, rel=1e-4)
    assert Energy(burned).kwh == approx(4752.36, rel=1e-4)


# ASTM E230, as makers of wire reprint it.
@pytest.mark.parametrize(
    ("thermocouple", "tolerance"),
    [
        (Thermocouple("K"), 6.533),
        (Thermocouple("K", is_special=True), 3.484),
        (Thermocouple("S"), 2.178),
        (Thermocouple("N"), 6.533),
        (Thermocouple("R", is_special=True), 0.871),
        (Thermocouple("B"), 4.356),
    ],
)
def test_tolerances_of_thermocouples(thermocouple: Thermocouple, tolerance: float) -> None:
    assert thermocouple.tolerance_c(871.11) == approx(tolerance, abs=1e-3)


def test_the_larger_of_both_tolerances_counts() -> None:
    assert Thermocouple("K").tolerance_c(100) == 2.2
    assert Thermocouple("S").tolerance_c(100) == 1.5


@pytest.mark.parametrize(
    ("thermocouple", "celsius"),
    [(Thermocouple("K"), 1261), (Thermocouple("B"), 800), (Thermocouple("B", True), 1000)],
)
def test_outside_the_table_nothing_is_known(thermocouple: Thermocouple, celsius: float) -> None:
    with pytest.raises(ThermocoupleError):
        thermocouple.tolerance_c(celsius)


def test_a_reading_close_to_its_minimum_proves_nothing() -> None:
    minimum = (1600 - 32) / 1.8
    assert not Thermocouple("K").proves((1605 - 32) / 1.8, minimum)
    assert Thermocouple("K").proves((1612 - 32) / 1.8, minimum)
    assert Thermocouple("S").proves((1605 - 32) / 1.8, minimum)


# EMEP/EEA guidebook 5.C.1.b.v, Tier 1, from memory.
def test_what_a_thousand_bodies_put_out() -> None:
    grams = emitted_grams(1000)
    assert grams["NOx"] == approx(825_000)
    assert grams["Hg"] == approx(1490)
    assert grams["PM2.5"] == approx(34_700)
    assert grams["PCDD/F"] == approx(27e-6)
    assert grams["Pb"] == approx(30.03)


def test_every_factor_says_that_it_is_from_memory() -> None:
    assert {factor.mark for factor in PER_BODY.values()} == {Mark.MEMORY}
    assert all("from memory" in factor.citation for factor in PER_BODY.values())
    with pytest.raises(ValueError, match="negative"):
        emitted_grams(-1)
