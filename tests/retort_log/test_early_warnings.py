"""Warnings come before a limit is crossed, and none after it."""

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

import pytest

from retort_log.early_warnings import warnings
from retort_log.findings import RunRecord, findings
from retort_log.permit_rules import Averaging, PermitRules
from retort_log.readings import Trace
from tests.retort_log.runs import AT, MINIMUM, START, limit, permit, read, words


def live(minutes: float, secondary: Trace | None, rules: PermitRules = MINIMUM) -> dict[str, str]:
    traces = {"secondary": secondary} if secondary else {}
    now = RunRecord(AT, AT + timedelta(minutes=minutes), traces=traces)
    return {one.code: words(one) for one in warnings(now, rules)}


def test_a_falling_chamber_is_told_with_the_minutes_left() -> None:
    found = live(30, read(30, lambda m: 1688 - 2 * m))
    assert list(found) == ["falling_secondary"]
    assert "1,628 °F" in found["falling_secondary"]
    assert "at this rate it is below 1,600 °F in 14 min" in found["falling_secondary"]
    faster = live(30, read(30, lambda m: 1752 - 4 * m))
    assert "in 8 min" in faster["falling_secondary"]


@pytest.mark.parametrize(
    "shape",
    [
        lambda m: 1700.0,  # steady, far above
        lambda m: 1610 + m / 2,  # close and rising
        lambda m: 1900 - 4 * m,  # falling, but far above for the next quarter of an hour
        lambda m: 1650 - 2 * m,  # already below: that is a finding
    ],
)
def test_otherwise_nothing_is_said(shape: Callable[[float], float]) -> None:
    assert live(30, read(30, shape)) == {}


def test_steady_and_close_to_the_limit_is_told() -> None:
    assert list(live(30, read(30, lambda m: 1610.0))) == ["close_secondary"]


def test_a_mean_is_drawn_on_as_the_permit_averages() -> None:
    # The chamber is already below its minimum, the mean of an hour is not yet.
    rules = replace(MINIMUM, averaging=Averaging.TIME, averaging_min=60)

    def falling(m: float) -> float:
        return 1660 - 3 * max(0.0, m - 60)

    heat = read(95, falling)
    early = RunRecord(AT, AT + timedelta(minutes=95), traces={"secondary": heat})
    (found,) = warnings(early, rules)
    assert "its one-hour mean is below 1,600 °F in" in words(found)
    assert "below_minimum" not in {one.code for one in findings(early, rules)}
    # It crosses where 1.5 x²/60 = 60: x = 49 minutes after it began to fall.
    assert found.until is not None
    assert (found.until - AT).total_seconds() / 60 == pytest.approx(60 + 48.99, abs=0.01)
    after = {"secondary": read(115, falling)}
    late = replace(early, now=AT + timedelta(minutes=115), traces=after)
    assert warnings(late, rules) == ()
    assert "below_minimum" in {one.code for one in findings(late, rules)}


@pytest.mark.parametrize(("age", "is_told"), [(11, False), (12, True), (15, True), (16, False)])
def test_the_next_reading_is_called_for_in_time(age: int, is_told: bool) -> None:
    rules = permit(recording_interval=limit("15", "minute"))
    found = live(30 + age, read(30, lambda m: 1700.0, step_s=600), rules)
    assert ("reading_due" in found) is is_told
    if is_told:
        assert "read by 15:45" in found["reading_due"]
    assert ("reading_due" in live(age, None, rules)) is is_told


def test_oxygen_that_falls_is_told() -> None:
    gas = read(30, lambda m: 9 - 0.08 * m, "percent")
    now = RunRecord(AT, AT + timedelta(minutes=30), traces={"oxygen": gas})
    (found,) = warnings(now, permit(oxygen_minimum=limit("6", "percent")))
    assert found.code == "falling_oxygen"


def test_once_the_burner_is_off_nothing_is_about_to_happen() -> None:
    off = AT + timedelta(minutes=30)
    heat = {"secondary": read(30, lambda m: 1690 - 2 * m)}
    assert warnings(RunRecord(AT, off, burner_off_at=off, traces=heat), MINIMUM) == ()


def test_old_readings_tell_nothing_of_what_comes() -> None:
    assert live(60, read(30, lambda m: 1690 - 2 * m)) == {}
    assert AT.timestamp() == START


def test_a_chamber_below_what_its_mean_has_to_keep_is_told() -> None:
    rules = replace(MINIMUM, averaging=Averaging.TIME, averaging_min=60)
    heat = read(90, lambda m: 1700.0 if m < 85 else 1590.0)
    found = live(90, heat, rules)
    assert "below the 1,600 °F that its one-hour mean has to keep" in found["close_secondary"]
