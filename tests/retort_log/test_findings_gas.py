"""Findings on smoke, residence, concentrations, the charge and the hours."""

from datetime import time, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from retort_log.combustion import Flow
from retort_log.findings import findings
from retort_log.permit_rules import (
    Concentration,
    Opacity,
)
from retort_log.readings import Trace, joined
from tests.retort_log.runs import (
    AT,
    START,
    codes,
    limit,
    permit,
    read,
    record,
    the,
    words,
)
from tests.retort_log.series import floats


# New York, 6 NYCRR 219-4.4(a): a six-minute mean of 10 % or more is a breach.
@pytest.mark.parametrize(("percent", "code"), [(10.0, "opacity_over"), (9.99, "opacity")])
def test_smoke(percent: float, code: str) -> None:
    rules = permit(opacity=Opacity(limit("10", "percent"), limit_is_breach=True))
    seen = Trace(START + 15 * floats(list(range(24))), np.full(24, percent), "percent")
    found = the(code, findings(record(90, {"opacity": seen}), rules))
    assert found.value == pytest.approx(percent)
    few = Trace(seen.seconds[:23], seen.values[:23], "percent")
    told = the("not_recorded_opacity", findings(record(90, {"opacity": few}), rules))
    assert "23 readings" in told.words


# Florida, 62-296.401(1)(a): 5 %, and up to 15 % for one six-minute period in any hour.
def test_smoke_that_is_excused_once_an_hour() -> None:
    rules = permit(opacity=Opacity(limit("5", "percent"), limit("15", "percent")))
    seen = Trace(START + 15 * floats(list(range(24))), np.full(24, 12.0), "percent")
    again = Trace(seen.seconds + 1800, seen.values, "percent")
    assert "excuses" in the("opacity", findings(record(90, {"opacity": seen}), rules)).words
    twice = findings(record(90, {"opacity": joined([seen, again])}), rules)
    assert the("opacity_over", twice).since == AT + timedelta(minutes=30)


# 60 ft³ at 1,000 scfm (68 °F) and 1,600 °F: 0.9223 s fails New York's 1 s, passes Oregon's 0.5 s.
@pytest.mark.parametrize(("seconds", "code"), [("1", "residence_short"), ("0.5", "residence")])
def test_residence(seconds: str, code: str) -> None:
    one = record(
        90,
        {"secondary": read(90, lambda m: 1600.0)},
        chamber_volume_m3=60 * 0.3048**3,
        flow=Flow(1000, "ft**3", 68),
    )
    found = the(code, findings(one, permit(residence=limit(seconds, "second"))))
    assert found.value == pytest.approx(0.92229, abs=1e-4)


def test_residence_with_a_recorded_flow_is_solved() -> None:
    # At 1,600 °F 60 ft³ hold for one second up to 922.29 scfm (gas law); the flow passes it once.
    one = record(
        100,
        {
            "secondary": read(100, lambda m: 1600.0),
            "flow": read(100, lambda m: 900.0 + m, "ft**3/minute", step_s=300),
        },
        chamber_volume_m3=60 * 0.3048**3,
        flow=Flow(1000, "ft**3", 68),
    )
    found = the("residence_short", findings(one, permit(residence=limit("1", "second"))))
    assert found.since is not None
    assert (found.since - AT).total_seconds() == pytest.approx(22.29 * 60, abs=1)


def test_concentrations_are_judged_at_the_reference_oxygen() -> None:
    # 60 ppm at 12 % oxygen are 93.708 ppm at 7 % (A = 20.9).
    gases = {"co": read(90, lambda m: 60.0, "ppm"), "oxygen": read(90, lambda m: 12.0, "percent")}
    kept, over = (
        permit(concentrations={"CO": Concentration(limit(value, "ppm"), Decimal(7), over_min=60)})
        for value in ("93.71", "93.70")
    )
    found = the("co_kept", findings(record(90, gases), kept))
    assert found.value == pytest.approx(93.708, abs=1e-3)
    assert the("co_over", findings(record(90, gases), over)).is_breach
    alone = findings(record(90, {"co": gases["co"]}), kept)
    assert the("not_recorded_co_oxygen", alone).needs_settling


def test_oxygen_of_air_judges_nothing_and_that_is_said() -> None:
    gases = {
        "co": read(90, lambda m: 60.0, "ppm"),
        "oxygen": read(90, lambda m: 20.8 if 30 <= m <= 40 else 12.0, "percent"),
    }
    rules = permit(concentrations={"CO": Concentration(limit("100", "ppm"), Decimal(7))})
    found = findings(record(90, gases), rules)
    assert "12 min" in words(the("not_recorded_co_oxygen", found))
    assert the("co_kept", found).value == pytest.approx(93.708, abs=1e-3)


# 100 ppm of CO are 124.967 mg/m³ at 0 °C (ideal gas).
def test_carbon_monoxide_in_ppm_beside_a_limit_in_mg() -> None:
    rules = permit(concentrations={"CO": Concentration(limit("124", "mg/m**3"))})
    found = findings(record(90, {"co": read(90, lambda m: 100.0, "ppm")}), rules)
    assert the("co_over", found).value == pytest.approx(124.967, abs=1e-3)
    back = permit(concentrations={"CO": Concentration(limit("100", "ppm"))})
    same = findings(record(90, {"co": read(90, lambda m: 124.96, "mg/m**3")}), back)
    assert the("co_kept", same).value == pytest.approx(99.995, abs=1e-3)


def test_too_short_for_an_hourly_mean_is_told() -> None:
    rules = permit(concentrations={"CO": Concentration(limit("100", "ppm"), over_min=60)})
    found = findings(record(50, {"co": read(50, lambda m: 500.0, "ppm")}), rules)
    assert codes(found) >= {"not_recorded_co_mean"}


def test_oxygen_below_its_minimum() -> None:
    gas = read(90, lambda m: 5.0 if 30 <= m <= 40 else 7.0, "percent")
    found = findings(record(90, {"oxygen": gas}), permit(oxygen_minimum=limit("6", "percent")))
    assert the("oxygen_low", found).since == AT + timedelta(minutes=29.5)


@pytest.mark.parametrize(
    ("mass", "is_breach"), [("90.718", False), ("90.719", False), ("90.730", True)]
)
def test_the_charge_beside_the_rated_capacity(mass: str, is_breach: bool) -> None:
    rules = permit(charge_rate=limit("200", "lb/hour"))
    found = findings(record(90, mass_kg=Decimal(mass)), rules)
    assert ("charge_rate_over" in codes(found)) is is_breach


@pytest.mark.parametrize(
    ("first", "last", "outside_min"),
    [
        (time(7), time(19), 0),
        (time(7), time(11), 30),  # charged at 10:00 New York, 90 minutes
        (time(10, 30), time(19), 30),
        (time(18), time(10, 30), 60),  # through the night
        (time(12), time(13), 90),
        (time(0), time(0), 0),  # all day
    ],
)
def test_hours_of_operation_in_the_given_zone(first: time, last: time, outside_min: int) -> None:
    one = record(90, zone=ZoneInfo("America/New_York"))
    found = findings(one, permit(hours=(first, last), hours_citation="permit 7, condition 9"))
    if outside_min:
        assert the("outside_hours", found).value == outside_min
        assert "(EST)" in the("outside_hours", found).words
    else:
        assert the("hours_kept", found).citation == "permit 7, condition 9"
