"""Clocks that run in days and years: the check values of the texts."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.deadline_days import (
    Counting,
    Earliest,
    anniversary,
    free_after_notice,
    free_from,
    keep_for_ever,
    keep_through,
    keep_through_calendar,
    not_later_than,
    not_later_than_years,
)
from cases.deadlines import Bound, Kind, exactly, no_limit, on_day

CHICAGO, SYDNEY, NEW_YORK = (
    ZoneInfo(key) for key in ("America/Chicago", "Australia/Sydney", "America/New_York")
)
C = exactly(datetime(2026, 1, 15, 14, 0, tzinfo=CHICAGO))  # the cremation of the check values
ON_DAY, AFTER_DAY = Earliest.ON_DAY, Earliest.AFTER_DAY
DAYS = st.dates(date(2001, 1, 1), date(2035, 1, 1))


@pytest.mark.parametrize(
    ("days", "earliest", "first_day", "source"),
    [
        (30, AFTER_DAY, date(2026, 2, 15), "NC 90-210.130(b): day 30 is 14 Feb"),
        (30, ON_DAY, date(2026, 2, 14), "OH 4717.27(B): may deliver from day 30"),
        (60, ON_DAY, date(2026, 3, 16), "OH 4717.27(C)"),
        (60, AFTER_DAY, date(2026, 3, 17), "SC 32-8-345(D), IL 18/40(d): day 60 is 16 Mar"),
        (90, AFTER_DAY, date(2026, 4, 16), "MT 37-19-706(2): day 90 is 15 Apr"),
        (120, AFTER_DAY, date(2026, 5, 16), "NY PHL 4202(4): day 120 is 15 May"),
        (121, ON_DAY, date(2026, 5, 16), "TX 716.302(c): not earlier than the 121st day"),
        (180, ON_DAY, date(2026, 7, 14), "CO 12-135-302(2): 180 days"),
    ],
)
def test_unclaimed_remains_are_free_from_the_day_of_the_text(
    days: int, earliest: Earliest, first_day: date, source: str
) -> None:
    due = free_from(C, days, CHICAGO, earliest=earliest)
    midnight = datetime.combine(first_day, datetime.min.time(), CHICAGO)
    assert due.at == midnight, source
    assert due.over(midnight)
    assert not due.over(midnight - timedelta(minutes=1))


def test_florida_counts_to_the_time_of_the_cremation() -> None:
    # 497.607(3): 120 days from the time of cremation, by the clock on the wall.
    done = exactly(datetime(2026, 1, 15, 14, 0, tzinfo=NEW_YORK))
    due = free_from(done, 120, NEW_YORK, Counting.TIME)
    assert due.at == datetime(2026, 5, 15, 14, 0, tzinfo=NEW_YORK)


@pytest.mark.parametrize(
    ("wall", "days", "expected"),
    [
        (datetime(2026, 3, 7, 2, 30), 1, datetime(2026, 3, 8, 8, 30, tzinfo=UTC)),  # skipped
        (datetime(2026, 10, 31, 1, 30), 1, datetime(2026, 11, 1, 7, 30, tzinfo=UTC)),  # twice
    ],
)
def test_a_clock_time_skipped_or_shown_twice_gives_the_later_instant(
    wall: datetime, days: int, expected: datetime
) -> None:
    due = free_from(exactly(wall.replace(tzinfo=CHICAGO)), days, CHICAGO, Counting.TIME)
    assert due.at == expected


def test_washington_waits_ninety_days_and_sixty_from_the_contact() -> None:
    # WAC 308-47-070: held from 15 Jan, contact 15 Apr, not before 14 Jun.
    zone = ZoneInfo("America/Los_Angeles")
    held = free_from(on_day(date(2026, 1, 15), zone), 90, zone, earliest=ON_DAY)
    contact = on_day(date(2026, 4, 15), zone)
    due = free_after_notice(held, contact, 60, zone, ON_DAY)
    assert due.at == datetime(2026, 6, 14, tzinfo=zone)
    early = free_after_notice(held, on_day(date(2026, 2, 1), zone), 60, zone, ON_DAY)
    assert (early.at, early.bound) == (due.at, Bound.EXACT)
    assert free_after_notice(held, None, 60, zone).kind is Kind.UNKNOWN
    assert free_after_notice(free_from(None, 90, zone), contact, 60, zone).kind is Kind.UNKNOWN


def test_new_south_wales_waits_fourteen_days_from_the_notice() -> None:
    # s.109(2): notice 15 Jan, the 29th has ended, free from the 30th.
    notice = on_day(date(2026, 1, 15), SYDNEY)
    due = free_after_notice(no_limit("reasonable time"), notice, 14, SYDNEY)
    assert due.at == datetime(2026, 1, 30, tzinfo=SYDNEY)
    assert "only the date is known" in due.why


def test_texas_ships_by_the_thirtieth_day() -> None:
    assert not_later_than(C, 30, CHICAGO).on == date(2026, 2, 14)  # 716.156(a)(3)


def test_california_inters_within_a_year_and_colorado_waits_three() -> None:
    assert not_later_than_years(C, 1, CHICAGO).on == date(2027, 1, 15)  # HSC 8341
    assert keep_through(C, 3, CHICAGO).on == date(2029, 1, 15)  # 12-135-302(2)


@pytest.mark.parametrize(
    ("years", "through", "source"),
    [
        (5, date(2031, 1, 15), "TX 716.251; CO 12-135-305(3)"),
        (10, date(2036, 1, 15), "CA HSC 8343; SC 32-8-330(D)"),
        (3, date(2029, 1, 15), "NC 90-210.127"),
        (2, date(2028, 1, 15), "FL 69K-31.001(2)"),
    ],
)
def test_records_are_kept_through_the_anniversary(years: int, through: date, source: str) -> None:
    assert keep_through(C, years, CHICAGO).on == through, source


def test_a_permanent_record_has_no_last_day() -> None:
    assert keep_for_ever().on is None  # MT, WA, NY, SC, WI


def test_the_anniversary_of_the_29th_of_february() -> None:
    leap = on_day(date(2028, 2, 29), CHICAGO)
    assert keep_through(leap, 5, CHICAGO).on == date(2033, 3, 1)
    assert keep_through(leap, 4, CHICAGO).on == date(2032, 2, 29)
    assert not_later_than_years(leap, 1, CHICAGO).on == date(2029, 2, 28)


def test_a_day_counts_as_that_day_and_not_the_next() -> None:
    day = on_day(date(2026, 1, 15), CHICAGO)
    assert free_from(day, 60, CHICAGO).at == free_from(C, 60, CHICAGO).at
    assert keep_through(day, 5, CHICAGO).on == keep_through(C, 5, CHICAGO).on
    assert keep_through(day, 5, CHICAGO).bound is Bound.LATEST
    assert not_later_than(day, 30, CHICAGO).bound is Bound.EARLIEST


@given(DAYS, st.integers(0, 400), st.sampled_from([CHICAGO, SYDNEY, NEW_YORK]))
def test_a_day_more_is_a_day_more_and_no_shorter_than_its_hours(
    day: date, days: int, zone: ZoneInfo
) -> None:
    due = free_from(on_day(day, zone), days, zone)
    assert due.at is not None
    assert due.at.astimezone(zone).date() == day + timedelta(days=days + 1)
    next_due = free_from(on_day(day, zone), days, zone, earliest=ON_DAY)
    assert next_due.at is not None
    assert next_due.at < due.at


@given(DAYS, st.integers(1, 60))
def test_both_anniversaries_are_the_same_day_but_after_a_29th_of_february(
    day: date, years: int
) -> None:
    early, late = anniversary(day, years, late=False), anniversary(day, years, late=True)
    assert late.year == early.year == day.year + years
    assert (late - early).days in ({0, 1} if (day.month, day.day) == (2, 29) else {0})


@pytest.mark.parametrize(
    ("event", "last"),
    [
        (datetime(2026, 1, 1, 6, 0, tzinfo=UTC), date(2031, 12, 31)),
        (datetime(2026, 1, 1, 5, 59, tzinfo=UTC), date(2030, 12, 31)),  # still 2025 in Chicago
        (datetime(2026, 12, 31, 20, 0, tzinfo=UTC), date(2031, 12, 31)),
    ],
)
def test_calendar_years_run_to_their_end(event: datetime, last: date) -> None:
    # Kansas K.A.R. 63-7-2(d): five calendar years; the year of the event is no whole one.
    due = keep_through_calendar(exactly(event), 5, CHICAGO)
    assert due.on == last
    assert "5 calendar years" in due.why
