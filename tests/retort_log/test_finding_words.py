"""How numbers and times stand in a finding's words."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from crematory.units import NBSP
from retort_log.finding import CHECK, Finding, amount, clock, lasted, mean_over, times
from retort_log.readings import Interval


@pytest.mark.parametrize(
    ("value", "unit", "beside", "text"),
    [
        (1600.0, "degF", None, "1,600 °F"),
        (1599.98, "degF", 1600, "1,599.98 °F"),  # never rounded onto its limit
        (1599.998, "degF", 1600, "1,599.998 °F"),
        (871.11, "degC", 850, "871.1 °C"),
        (0.92229, "second", 1, "0.92 s"),
        (0.0512, "grain/ft**3", 0.08, "0.0512 gr/ft³"),
        (-0.001, "percent", None, "-0.001 %"),
        (0, "percent", 10, "0 %"),
        (100, "ppm", None, "100 ppm"),
    ],
)
def test_amounts(value: float, unit: str, beside: float | None, text: str) -> None:
    assert amount(value, unit, beside).replace(NBSP, " ") == text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0, "0 s"),
        (0.4, "less than 1 s"),
        (45, "45 s"),
        (390, "6.5 min"),
        (3599, "1 h"),
        (7200, "2 h"),
        (7500, "2 h 05 min"),
    ],
)
def test_lengths_of_time(seconds: float, text: str) -> None:
    assert lasted(seconds).replace(NBSP, " ") == text


def test_means_are_named_by_their_window() -> None:
    assert (mean_over(3600), mean_over(600)) == ("one-hour mean", "10-minute mean")


def test_times_are_those_of_the_facility() -> None:
    at = datetime(2026, 3, 2, 15, 4, tzinfo=UTC)
    zone = ZoneInfo("America/New_York")
    assert clock(at, zone) == "10:04"
    base = at.timestamp()
    spans = [Interval(base + 600 * i, base + 600 * i + 60 * i) for i in range(6)]
    assert times(spans[:1], zone) == "10:04"
    assert times(spans[:2], zone) == "10:04 and 10:14–10:15"
    assert (
        times(spans, zone)
        == "10:04, 10:14–10:15, 10:24–10:26 and 3 more times, the last 10:54–10:59"
    )


def test_a_finding_sends_to_the_authority_once() -> None:
    assert Finding("a", "A", "Found.").words == f"Found. {CHECK}"
    assert Finding("a", "A", f"Found. {CHECK}").words == f"Found. {CHECK}"
