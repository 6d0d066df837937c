"""What a run's record shows beside its permit: judged where stated, told where not recorded."""

from dataclasses import replace
from datetime import datetime, time, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from retort_log.findings import CHECK, findings
from retort_log.permit_profiles import for_unit, profile
from retort_log.permit_rules import (
    Concentration,
    Mark,
    Opacity,
    PermitRules,
)
from retort_log.readings import Trace, joined
from retort_log.thermocouples import Thermocouple
from tests.retort_log.runs import (
    AT,
    HOURLY,
    MINIMUM,
    START,
    TEN_MINUTES,
    codes,
    limit,
    permit,
    read,
    record,
    the,
    words,
)
from tests.retort_log.series import floats, traces


def test_what_is_not_stated_is_not_judged() -> None:
    found = findings(record(90, {"secondary": read(90, lambda m: 500.0)}), permit())
    assert not any(one.is_breach or one.needs_settling or one.limit for one in found)
    assert codes(found) == {"charge_temperature", "coverage", "peak_secondary"}


def test_every_finding_sends_to_the_authority() -> None:
    rules = replace(
        HOURLY,
        residence=limit("1", "second"),
        charging=limit("1600", "degF"),
        charge_rate=limit("200", "lb/hour"),
        hours=(time(8), time(9)),
        opacity=Opacity(limit("10", "percent")),
        concentrations={"CO": Concentration(limit("100", "ppm"))},
        oxygen_minimum=limit("6", "percent"),
        recording_interval=limit("15", "minute"),
    )
    for heat in ({}, {"secondary": read(90, lambda m: 1500.0 + m)}):
        found = findings(record(90, heat), rules)
        assert len(found) >= 8
        assert all(one.words.endswith(CHECK) and one.words.count(CHECK) == 1 for one in found)


def test_what_nobody_recorded_is_a_finding() -> None:
    rules = replace(
        HOURLY,
        residence=limit("1", "second"),
        charging=limit("1600", "degF"),
        charge_rate=limit("200", "lb/hour"),
        opacity=Opacity(limit("10", "percent")),
        concentrations={"CO": Concentration(limit("100", "ppm"))},
        oxygen_minimum=limit("6", "percent"),
    )
    found = findings(record(90), rules)
    assert codes(found) == {
        "not_recorded_charge",
        "not_recorded_secondary",
        "not_recorded_residence",
        "not_recorded_opacity",
        "not_recorded_co",
        "not_recorded_oxygen",
        "not_recorded_charge_mass",
    }
    assert not any(one.is_breach for one in found)
    assert the("not_recorded_secondary", found).needs_settling
    assert "volume and the flow" in the("not_recorded_residence", found).words


# 30 min at 1,500 °F and 30 min at 1,700 °F: the 1-hour mean of New York (6 NYCRR 219-4.4) is
# 1,600 and passes; a 10-minute rule at 1,600 °F does not.
def test_the_permit_s_own_mean_decides() -> None:
    step = read(60, lambda m: 1500.0 if m < 30 else 1600.0 if m == 30 else 1700.0)
    one = record(60, {"secondary": step})
    assert "below_minimum" not in codes(findings(one, profile("us-ny-2020")))
    assert the("minimum_kept", findings(one, HOURLY)).value == pytest.approx(1600)
    by_ten = the("below_minimum", findings(one, TEN_MINUTES))
    assert by_ten.is_breach
    assert by_ten.since == AT + timedelta(minutes=10)
    at_once = the("below_minimum", findings(one, MINIMUM))
    assert at_once.since == AT
    assert at_once.until == AT + timedelta(minutes=30)
    assert "for 30 min: 15:00–15:30" in words(at_once)
    assert at_once.value == 1500
    assert at_once.citation == "permit 7, condition 3"


# OAR 340-230-0210(1): 1,800 °F where installed on or after 13 March 1993, 1,600 °F before.
@pytest.mark.parametrize(("day", "is_breach"), [(13, True), (12, False)])
def test_oregon_asks_the_day_of_installation(day: int, is_breach: bool) -> None:
    rules = for_unit("us-or", datetime(1993, 3, day).date())
    found = findings(record(90, {"secondary": read(90, lambda m: 1700.0)}), rules)
    assert any(one.code == "below_minimum" for one in found) is is_breach
    assert not the("charge_temperature", found).is_breach


# A rule in °F is tested in °F: 871.0 °C is 1,599.8 °F (definition).
@pytest.mark.parametrize(
    ("celsius", "is_typed", "is_breach"),
    [(871.0, True, True), (871.11, True, False), (871.12, False, False), (871.11, False, True)],
)
def test_degrees_are_compared_in_the_permit_s_unit(
    celsius: float, is_typed: bool, is_breach: bool
) -> None:
    trace = read(90, lambda m: celsius, unit="degC")
    typed = Trace(trace.seconds, trace.values, "degC", is_typed=True)
    one = record(90, hand={"secondary": typed}) if is_typed else record(90, {"secondary": trace})
    found = findings(one, MINIMUM)
    assert ("below_minimum" in codes(found)) is is_breach
    if is_breach:
        shown = words(the("below_minimum", found))
        assert "1,599.8 °F" in shown or "1,599.998 °F" in shown


def test_after_burner_off_nothing_is_judged() -> None:
    cooling = read(180, lambda m: 1650.0 if m <= 90 else 1650 - 10 * (m - 90))
    assert "below_minimum" not in codes(findings(record(90, {"secondary": cooling}), MINIMUM))


@pytest.mark.parametrize(("fahrenheit", "settles"), [(1599.0, True), (1601.0, False)])
def test_a_run_shorter_than_the_window_is_not_judged(fahrenheit: float, settles: bool) -> None:
    one = record(50, {"secondary": read(50, lambda m: fahrenheit)})
    found = the("shorter_than_window", findings(one, HOURLY))
    assert not found.is_breach
    assert found.needs_settling is settles
    assert found.value == fahrenheit
    still_on = replace(one, burner_off_at=None)
    assert not the("shorter_than_window", findings(still_on, HOURLY)).needs_settling


def test_a_gap_is_told_and_means_across_it_are_not_judged() -> None:
    whole = read(240, lambda m: 1500.0)
    keep = (whole.seconds <= START + 6000) | (whole.seconds >= START + 7800)
    holed = Trace(whole.seconds[keep], whole.values[keep], "degF")
    rules = replace(HOURLY, recording_interval=limit("5", "minute"))
    found = findings(record(240, {"secondary": holed}), rules)
    gap = the("gap_in_record", found)
    assert (gap.value, gap.limit, gap.is_breach) == (30, 5, True)
    assert gap.intervals == ((AT + timedelta(minutes=100), AT + timedelta(minutes=130)),)
    assert the("means_not_judged", found).value == pytest.approx(90)
    assert the("means_not_judged", found).needs_settling
    assert the("below_minimum", found).since == AT + timedelta(minutes=60)
    not_stated = findings(record(240, {"secondary": holed}), HOURLY)
    assert not the("gap_in_record", not_stated).is_breach


def test_a_last_reading_as_old_as_the_permit_allows_leaves_nothing_to_settle() -> None:
    one = record(125, {"secondary": read(120, lambda m: 1700.0)})
    rules = replace(HOURLY, recording_interval=limit("15", "minute"))
    found = findings(one, rules)
    assert the("means_not_judged", found).value == pytest.approx(5)
    assert not any(finding.needs_settling for finding in found)


def test_hand_readings_fill_a_recorder_s_gap() -> None:
    recorder = read(30, lambda m: 1650.0)
    hand = Trace(
        START + floats([600, 2400, 3000, 3600]), floats([10, 1650, 1650, 1650]), "degF", True
    )
    one = record(60, {"secondary": recorder}, hand={"secondary": hand})
    found = findings(one, replace(MINIMUM, recording_interval=limit("10", "minute")))
    assert not any(finding.is_breach for finding in found)


def test_how_much_is_recorded_is_told() -> None:
    early = read(81, lambda m: 1650.0, step_s=180)
    found = the("coverage", findings(record(90, {"secondary": early}), MINIMUM))
    assert found.value == pytest.approx(90)
    assert "The longest time without a reading was 9 min." in words(found)
    assert "Left out, and not judged: 16:21–16:30." in words(found)
    whole = the("coverage", findings(record(81, {"secondary": early}), MINIMUM))
    assert (whole.value, whole.intervals) == (100, ())


def test_events_within_a_breach_are_named() -> None:
    dip = read(90, lambda m: 1550.0 if 30 <= m <= 40 else 1650.0)
    happened = (("door_opened", AT + timedelta(minutes=30)), ("fault", AT + timedelta(minutes=70)))
    found = the("below_minimum", findings(record(90, {"secondary": dip}, events=happened), MINIMUM))
    assert "Recorded in that time: door opened 15:30." in found.words
    by_mean = the(
        "below_minimum",
        findings(record(90, {"secondary": dip}, events=happened), TEN_MINUTES),
    )
    assert "door opened 15:30" in by_mean.words


def test_right_after_the_charge_nothing_is_missing_yet() -> None:
    one = replace(record(3), burner_off_at=None)
    assert codes(findings(one, MINIMUM)) == {"not_recorded_charge"}
    later = replace(record(20), burner_off_at=None)
    assert "not_recorded_secondary" in codes(findings(later, MINIMUM))


def test_a_gap_in_a_gas_s_record_is_told() -> None:
    gas = read(60, lambda m: 8.0, "percent")
    found = findings(record(90, {"oxygen": gas}), permit(oxygen_minimum=limit("6", "percent")))
    assert the("gap_in_oxygen", found).value == 30
    assert the("gap_in_oxygen", found).needs_settling


# arrêté of 4 May 1992, art. 5 (units for animals): the PRIMARY chamber at 500 °C before charging.
@pytest.mark.parametrize(("celsius", "is_breach"), [(499, True), (500, False)])
def test_the_charging_chamber_may_be_the_primary(celsius: float, is_breach: bool) -> None:
    heat = {
        "primary": read(90, lambda m: celsius, "degC"),
        "secondary": read(90, lambda m: 900.0, "degC"),
    }
    found = findings(record(90, heat), profile("fr-animal-1992"))
    assert ("charged_cold" in codes(found)) is is_breach


def test_just_after_the_charge_the_last_reading_before_it_counts() -> None:
    before = Trace(START - floats([1200, 300]), floats([1200, 1400]), "degF")
    rules = replace(MINIMUM, charging=limit("1400", "degF"))
    found = the("charge_temperature", findings(record(0, {"secondary": before}), rules))
    assert found.since == AT - timedelta(minutes=5)
    old = Trace(START - floats([1200]), floats([1400]), "degF")
    assert "not_recorded_charge" in codes(findings(record(0, {"secondary": old}), rules))


def test_time_to_reach_peak_and_rise_are_told() -> None:
    heat = read(90, lambda m: min(1700.0, 1500 + 10 * m))
    found = findings(record(90, {"secondary": heat}), MINIMUM)
    assert the("time_to_reach", found).value == pytest.approx(10)
    assert the("peak_secondary", found).since == AT + timedelta(minutes=20)
    assert the("rise_secondary", found).value == pytest.approx(10)
    never = findings(record(90, {"secondary": read(90, lambda m: 1500.0)}), MINIMUM)
    assert the("time_to_reach", never).value is None


# ASTM E230: type K is within 11.8 °F at 1,600 °F, so 1,605 °F cannot prove 1,600.
@pytest.mark.parametrize(("fahrenheit", "is_told"), [(1605.0, True), (1620.0, False)])
def test_a_thermocouple_s_tolerance_is_an_advice(fahrenheit: float, is_told: bool) -> None:
    heat = {"secondary": read(90, lambda m: fahrenheit)}
    found = findings(record(90, heat, thermocouple=Thermocouple("K")), MINIMUM)
    assert ("within_tolerance" in codes(found)) is is_told
    assert not any(one.is_breach for one in found)


def test_a_figure_from_memory_says_so() -> None:
    rules = permit(secondary_minimum=limit("1600", "degF", Mark.MEMORY))
    found = findings(record(90, {"secondary": read(90, lambda m: 1500.0)}), rules)
    assert "from memory" in the("below_minimum", found).citation


def judged(trace: Trace, rules: PermitRules) -> list[tuple[str, Any, Any, Any]]:
    # Not at whole seconds, as a logger's clock is not.
    shifted = Trace(trace.seconds * 1.000137 + START + 0.1234, trace.values, trace.unit)
    found = findings(record(60, {"secondary": shifted}), rules)
    return [
        (
            one.code,
            one.value and pytest.approx(one.value, abs=1e-5),
            one.since and pytest.approx(one.since.timestamp(), abs=0.05),
            len(one.intervals),
        )
        for one in found
    ]


RULES = st.sampled_from([MINIMUM, HOURLY, TEN_MINUTES, permit(charging=limit("1600", "degF"))])


@settings(max_examples=60, deadline=None)
@given(traces(), RULES, st.data())
def test_order_parts_unit_and_points_on_the_line_change_nothing(
    trace: Trace, rules: PermitRules, data: st.DataObject
) -> None:
    expected = judged(trace, rules)
    order = data.draw(st.permutations(range(len(trace))))
    cut = data.draw(st.integers(0, len(trace)))
    parts = [
        Trace(trace.seconds[list(rows)], trace.values[list(rows)], "degF")
        for rows in (order[:cut], order[cut:])
    ]
    assert judged(joined(parts), rules) == expected
    in_celsius = Trace(trace.seconds, (trace.values - 32) / 1.8, "degC")
    assert judged(in_celsius, rules) == expected
    middles = (trace.seconds[1:] + trace.seconds[:-1]) / 2
    fuller = Trace(
        np.concatenate((trace.seconds, middles)),
        np.concatenate((trace.values, (trace.values[1:] + trace.values[:-1]) / 2)),
        "degF",
    )
    assert judged(fuller, rules) == expected
