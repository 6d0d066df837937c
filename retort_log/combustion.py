"""Formulae of what burns and what leaves the stack. Pure: plain values in, plain values out.

Ideal gas throughout. Factors are definitions unless a source is named. Errors of the results are
those of what goes in: a flow known to 5 % gives a residence time known to 5 %.
"""

from dataclasses import dataclass
from typing import Literal

# Absolute zero, by definition of the scales.
ZERO_C = -273.15
ZERO_F = -459.67
TemperatureUnit = Literal["degF", "degC"]
VolumeUnit = Literal["ft**3", "m**3"]
FT3_M3 = 0.3048**3
GRAIN_MG = 64.79891
JOULE_PER_BTU = 1055.05585262  # International Table
BTU_PER_THERM = 100_000
KJ_PER_KWH = 3600
KJ_PER_THERM = JOULE_PER_BTU * BTU_PER_THERM / 1000
BTU_PER_FT3_GAS = 1029  # Federal Register 2007, read in a page that quotes it
BTU_PER_GALLON_PROPANE = 91_333  # as above
CO2_KG_PER_MMBTU_GAS = 53.06  # 40 CFR part 98, table C-1
GAS_CONSTANT = 8.314462618  # J/(mol K), SI
ATMOSPHERE_PA = 101_325
CO_G_PER_MOL = 28.010
# The oxygen correction explodes near the oxygen of air. Beyond this factor the value says more
# about the oxygen reading than about the stack: a choice of this design, without a source.
LARGEST_FACTOR = 10.0
NEAR_FACTOR = 4.0


class CombustionError(ValueError):
    """Input for which a formula has no meaning; the message names it."""


@dataclass(frozen=True)
class Flow:
    """A gas flow through a chamber, a minute, in the volume unit.

    `standard` is the temperature at which it is stated, in `standard_unit`: the standard of the
    EPA is 68 °F, trade also uses 60 and 70 °F. None: it is the actual flow at the chamber's
    temperature. `moisture` is the share of water by volume where the flow is stated dry.
    `pressure_ratio` is the pressure of the standard over that of the chamber.
    """

    per_minute: float
    volume_unit: VolumeUnit
    standard: float | None
    standard_unit: TemperatureUnit = "degF"
    moisture: float = 0.0
    pressure_ratio: float = 1.0

    def at(self, temperature: float, unit: TemperatureUnit) -> float:
        """Return the actual flow a minute at this temperature, in the flow's volume unit."""
        if not (self.per_minute > 0 and 0 <= self.moisture < 1 and self.pressure_ratio > 0):
            raise CombustionError("The flow, its moisture or its pressure makes no sense.")
        hot = kelvin(temperature, unit)
        cold = hot if self.standard is None else kelvin(self.standard, self.standard_unit)
        return self.per_minute * hot / cold * self.pressure_ratio / (1 - self.moisture)


def kelvin(temperature: float, unit: TemperatureUnit) -> float:
    """Return an absolute temperature in K; raises CombustionError at or below absolute zero."""
    zero, size = (ZERO_F, 1.8) if unit == "degF" else (ZERO_C, 1.0)
    if temperature <= zero:
        raise CombustionError(f"{temperature} {unit} is not above absolute zero.")
    return (temperature - zero) / size


def residence_seconds(
    volume: float, volume_unit: VolumeUnit, flow: Flow, temperature: float, unit: TemperatureUnit
) -> float:
    """Return how long the gas stays in a volume at this temperature: volume over actual flow.

    Raises CombustionError for a volume or flow that is not positive.
    """
    if volume <= 0:
        raise CombustionError("The chamber has no volume.")
    in_flow_unit = volume * _volume_factor(volume_unit, flow.volume_unit)
    return 60 * in_flow_unit / flow.at(temperature, unit)


def largest_flow(
    volume: float,
    volume_unit: VolumeUnit,
    seconds: float,
    flow: Flow,
    temperature: float,
    unit: TemperatureUnit,
) -> float:
    """Return the greatest flow a minute that stays so many seconds; stated as `flow` is."""
    stays = residence_seconds(volume, volume_unit, flow, temperature, unit)
    return flow.per_minute * stays / seconds


def _volume_factor(unit: VolumeUnit, to: VolumeUnit) -> float:
    size = {"ft**3": FT3_M3, "m**3": 1.0}
    return size[unit] / size[to]


@dataclass(frozen=True)
class AtReference:
    """A concentration at the reference oxygen, and the factor that made it.

    `is_near` warns that the measured oxygen is close to that of air. `is_capped` says that the
    factor was cut at LARGEST_FACTOR: the value is then a lower bound and judges nothing.
    """

    value: float
    factor: float
    is_near: bool
    is_capped: bool


def at_reference_oxygen(
    concentration: float, oxygen: float, reference: float, ambient: float = 20.9
) -> AtReference:
    """Return concentration × (A − O2 of the rule) / (A − O2 measured), all dry, O2 in per cent.

    A is the oxygen of air as the rule states it: 20.9 (EPA Method 19, from memory; Quebec s. 71)
    or 21 (40 CFR 60.284). Raises CombustionError where the measured oxygen is no less than A, or
    negative: then nothing burns there, or the analyser draws air.
    """
    if not 0 <= oxygen < ambient:
        raise CombustionError(f"Oxygen of {oxygen} % is not between 0 and {ambient} %.")
    if not 0 <= reference < ambient:
        raise CombustionError(f"A reference of {reference} % oxygen is not below {ambient} %.")
    factor = (ambient - reference) / (ambient - oxygen)
    used = min(factor, LARGEST_FACTOR)
    return AtReference(concentration * used, used, used > NEAR_FACTOR, factor > LARGEST_FACTOR)


def ppm_to_mg(ppm: float, molar_mass: float = CO_G_PER_MOL, at_c: float = 0.0) -> float:
    """Return mg/m³ at 101.325 kPa and this temperature in °C; the molar mass in g/mol (CO)."""
    return ppm * molar_mass * ATMOSPHERE_PA / (GAS_CONSTANT * kelvin(at_c, "degC")) / 1000


def mg_to_ppm(mg: float, molar_mass: float = CO_G_PER_MOL, at_c: float = 0.0) -> float:
    """Return ppm by volume; the reverse of `ppm_to_mg`."""
    return mg / ppm_to_mg(1.0, molar_mass, at_c)


def grains_to_mg(grains_per_ft3: float) -> float:
    """Return mg/m³ for grains a cubic foot, both at the same state (gr/dscf to mg/dscm)."""
    return grains_per_ft3 * GRAIN_MG / FT3_M3


def mg_to_grains(mg_per_m3: float) -> float:
    """Return grains a cubic foot; the reverse of `grains_to_mg`."""
    return mg_per_m3 * FT3_M3 / GRAIN_MG


@dataclass(frozen=True)
class Energy:
    """An amount of energy, kept in kJ."""

    kj: float

    @property
    def mj(self) -> float:
        """In megajoules."""
        return self.kj / 1000

    @property
    def kwh(self) -> float:
        """In kilowatt-hours."""
        return self.kj / KJ_PER_KWH

    @property
    def therms(self) -> float:
        """In therms of 100,000 Btu (International Table)."""
        return self.kj / KJ_PER_THERM

    @property
    def btu(self) -> float:
        """In Btu (International Table)."""
        return self.kj * 1000 / JOULE_PER_BTU

    @property
    def gas_ft3(self) -> float:
        """As natural gas, in cubic feet of 1,029 Btu."""
        return self.btu / BTU_PER_FT3_GAS

    @property
    def propane_gallons(self) -> float:
        """As propane, in US gallons of 91,333 Btu."""
        return self.btu / BTU_PER_GALLON_PROPANE


def of_btu(btu: float) -> Energy:
    """Return the energy of so many Btu (International Table)."""
    return Energy(btu * JOULE_PER_BTU / 1000)
