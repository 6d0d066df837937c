"""Records of invented runs, and permits, for the tests of findings."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

from crematory.units import NBSP
from retort_log.finding import Finding
from retort_log.permit_rules import Averaging, Limit, Mark, PermitRules
from retort_log.readings import Trace
from retort_log.run_record import RunRecord
from tests.retort_log.series import floats

AT = datetime(2026, 3, 2, 15, 0, tzinfo=UTC)
START = AT.timestamp()


def limit(value: str, unit: str, mark: Mark = Mark.FOUND) -> Limit:
    return Limit(Decimal(value), unit, "permit 7, condition 3", mark)


def permit(**stated: Any) -> PermitRules:
    return PermitRules("house", "Permit 7", **stated)


def read(
    minutes: int, shape: Callable[[float], float], unit: str = "degF", step_s: int = 60
) -> Trace:
    seconds = [float(s) for s in range(0, minutes * 60 + 1, step_s)]
    values = floats([shape(s / 60) for s in seconds])
    return Trace(START + floats(seconds), values, unit)


def record(minutes: int, given: Mapping[str, Trace] | None = None, **more: Any) -> RunRecord:
    end = AT + timedelta(minutes=minutes)
    return RunRecord(AT, end, burner_off_at=end, traces=given or {}, **more)


def codes(found: tuple[Finding, ...]) -> set[str]:
    return {one.code for one in found}


def words(found: Finding) -> str:
    """The words with plain spaces."""
    return found.words.replace(NBSP, " ")


def the(code: str, found: tuple[Finding, ...]) -> Finding:
    (one,) = [one for one in found if one.code == code]
    return one


MINIMUM = permit(secondary_minimum=limit("1600", "degF"))
HOURLY = replace(MINIMUM, averaging=Averaging.TIME, averaging_min=60)
TEN_MINUTES = replace(HOURLY, averaging_min=10)
