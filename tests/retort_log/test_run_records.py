"""What of events and upkeep enters the record of a run: opacity by eye, the thermocouple."""

from datetime import datetime, timedelta

import numpy as np
import pytest

from cases.models import Case
from crematory.models import StaffMember
from retort_log import blocks
from retort_log.logger_acts import store
from retort_log.models import Controller, Run, RunEvent, UpkeepDone
from retort_log.recorded import to_ms
from retort_log.run_records import record_of
from retort_log.thermocouples import Thermocouple
from tests import cast

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)


@pytest.fixture
def run(case: Case) -> Run:
    """A person burns."""
    return cast.bring(case, "in_retort").run


def smoke(run: Run, member: StaffMember, at: datetime, opacity: list[int]) -> None:
    RunEvent.objects.create(
        retort=run.retort,
        run=run,
        kind=RunEvent.Kind.VISIBLE_EMISSION,
        at=at,
        recorded_at=at,
        recorded_by=member,
        opacity=opacity,
    )


def calibrated(run: Run, member: StaffMember, days: int, **told: object) -> None:
    stated: dict[str, object] = {"subject": "Secondary", "passed": True, **told}
    at = run.charged_at - timedelta(days=days)
    UpkeepDone.objects.create(
        retort=run.retort,
        kind="thermocouple",
        done_at=at,
        recorded_at=at,
        recorded_by=member,
        done_by="Example Instruments",
        **stated,
    )


def test_opacity_read_by_eye_is_15_seconds_apart(run: Run, operator: StaffMember) -> None:
    at = run.charged_at + 10 * MINUTE
    smoke(run, operator, at, [5, 10, 20])
    read = record_of(run, at + 9 * MINUTE).hand["opacity"]
    assert (read.unit, list(read.values)) == ("percent", [5, 10, 20])
    assert list(read.seconds - at.timestamp()) == [0, 15, 30]


def test_two_observers_of_one_moment_contradict_nothing(run: Run, operator: StaffMember) -> None:
    at = run.charged_at + 10 * MINUTE
    smoke(run, operator, at, [5, 30])
    smoke(run, operator, at, [15, 10])
    assert list(record_of(run, at + MINUTE).hand["opacity"].values) == [15, 30]


def test_no_reading_by_eye_is_no_channel(run: Run, operator: StaffMember) -> None:
    smoke(run, operator, run.charged_at + MINUTE, [])
    assert "opacity" not in record_of(run, run.charged_at + 9 * MINUTE).hand


def test_a_recorder_of_opacity_counts_instead(run: Run, operator: StaffMember) -> None:
    at = run.charged_at + 10 * MINUTE
    smoke(run, operator, at, [5, 10])
    written = blocks.series_of(["opacity"], ["percent"], np.array([to_ms(at)]), np.array([[7.0]]))
    controller = Controller.objects.create(retort=run.retort, host="127.0.0.1")
    store(run.retort, written, at, controller=controller)
    record = record_of(run, at + 9 * MINUTE)
    assert "opacity" not in record.hand
    assert list(record.traces["opacity"].values) == [7.0]


def test_the_newest_passed_calibration_of_the_secondary_tells_the_thermocouple(
    run: Run, operator: StaffMember
) -> None:
    now = run.charged_at + 9 * MINUTE
    assert record_of(run, now).thermocouple is None
    calibrated(run, operator, 90, figures={"type": "K", "special": "no"})
    calibrated(run, operator, 30, figures={"type": "N", "special": "yes"})
    calibrated(run, operator, 20, figures={"type": "S"}, passed=False)
    calibrated(run, operator, 10, figures={"type": "B"}, subject="primary")
    calibrated(run, operator, -1, figures={"type": "R"})
    assert record_of(run, now).thermocouple == Thermocouple("N", is_special=True)


@pytest.mark.parametrize("figures", [{}, {"type": "J"}, {"type": ""}])
def test_an_unknown_type_is_none(run: Run, operator: StaffMember, figures: dict[str, str]) -> None:
    calibrated(run, operator, 1, figures=figures)
    assert record_of(run, run.charged_at + MINUTE).thermocouple is None
