"""Clocks that run in hours: the check values of the texts, and clocks that change."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo, available_timezones

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.deadlines import (
    Bound,
    Due,
    From,
    Kind,
    Moment,
    TimeDoesNotExist,
    Waiver,
    at_local,
    between,
    exactly,
    later_of,
    no_limit,
    on_day,
    refrigerate_by,
    start_of,
    unknown,
    wait_ends,
    wait_from,
    within,
)

DENVER, LONDON = ZoneInfo("America/Denver"), ZoneInfo("Europe/London")
CHICAGO, APIA, HAVANA = ZoneInfo("America/Chicago"), ZoneInfo("Pacific/Apia"), ZoneInfo("Cuba")
MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)
T = datetime(2026, 3, 2, 8, 15, tzinfo=DENVER)  # the death of the check values
ZONES = st.sampled_from([DENVER, LONDON, CHICAGO, APIA, ZoneInfo("Asia/Kathmandu")])
INSTANTS = st.datetimes(
    min_value=datetime(2000, 1, 1), max_value=datetime(2037, 1, 1), timezones=st.just(UTC)
)


def denver(*parts: int) -> datetime:
    return datetime(*parts, tzinfo=DENVER)  # type: ignore[misc, arg-type]


@pytest.mark.parametrize(
    ("hours", "ends", "source"),
    [
        (24, denver(2026, 3, 3, 8, 15), "MT 37-19-705(2); IL 18/35(a)"),
        (48, denver(2026, 3, 4, 8, 15), "TX 716.004; FL 872.03, secondary"),
    ],
)
def test_a_wait_is_over_at_its_very_minute(hours: int, ends: datetime, source: str) -> None:
    due = wait_ends(exactly(T), hours)
    assert due.at == ends, source
    assert (due.over(ends - MINUTE), due.over(ends)) == (False, True)
    assert due.bound is Bound.EXACT


ILLINOIS = (
    Waiver("infectious_disease", frozenset({"written_waiver"}), "410 ILCS 18/35(a)"),
    Waiver("religious_requirement", citation="410 ILCS 18/35(a)"),
)
TEXAS = (
    Waiver("written_waiver", frozenset({"waiver_by_justice_or_me"}), "716.004"),
    Waiver("court_order", frozenset({"court_order"}), "716.004"),
)


@pytest.mark.parametrize(
    ("waivers", "grounds", "papers", "kind", "source"),
    [
        (ILLINOIS, {"infectious_disease"}, set(), Kind.AT, "35(a): no written waiver"),
        (ILLINOIS, {"infectious_disease"}, {"written_waiver"}, Kind.NONE, "35(a)"),
        (
            ILLINOIS,
            {"religious_requirement"},
            set(),
            Kind.NONE,
            "35(a); permit: another gate",
        ),
        (ILLINOIS, set(), {"written_waiver"}, Kind.AT, "35(a): no ground"),
        (TEXAS, {"written_waiver"}, {"waiver_by_justice_or_me"}, Kind.NONE, "716.004"),
        (TEXAS, {"written_waiver"}, {"court_order"}, Kind.AT, "716.004"),
        ((Waiver("infectious_disease"),), {"infectious_disease"}, set(), Kind.NONE, "WI 979.10"),
    ],
)
def test_a_waiver_needs_its_ground_and_its_papers(
    waivers: tuple[Waiver, ...], grounds: set[str], papers: set[str], kind: Kind, source: str
) -> None:
    assert wait_ends(exactly(T), 24, waivers, grounds, papers).kind is kind, source


def test_discovery_counts_where_it_is_later() -> None:
    # Wisconsin 979.10(1)(a): death 2 Mar 08:15, discovered 3 Mar 10:00, 48 hours.
    death, found = exactly(T), exactly(denver(2026, 3, 3, 10, 0))
    start = wait_from(From.DEATH_OR_DISCOVERY, death, found)
    assert wait_ends(start, 48).at == denver(2026, 3, 5, 10, 0)
    assert wait_from(From.DEATH_OR_DISCOVERY, found, death) == found
    assert wait_from(From.DEATH_OR_DISCOVERY, death) == death
    assert wait_from(From.DEATH, death, found) == death


def test_a_provisional_certificate_starts_no_wait() -> None:
    # Ohio 4717.23(A)(1): refused also 100 hours after the death.
    due = wait_ends(wait_from(From.CERTIFICATE, exactly(T)), 24)
    assert (due.kind, due.over(T + 100 * HOUR)) == (Kind.UNKNOWN, False)
    final = wait_from(From.CERTIFICATE, exactly(T), certified=exactly(T))
    assert wait_ends(final, 24).over(T + 24 * HOUR)


def test_a_wait_without_a_recorded_death_is_never_over() -> None:
    assert not wait_ends(None, 24).over(T)
    assert within(None, 24).kind is Kind.UNKNOWN


@pytest.mark.parametrize(
    ("start", "hours", "ends", "source"),
    [
        (T, 48, denver(2026, 3, 4, 8, 15), "MT 37-19-705(4)(b): refrigerated after 48 h"),
        (T, 24, denver(2026, 3, 3, 8, 15), "NE 71-1374"),
        (denver(2026, 3, 2, 16, 40), 24, denver(2026, 3, 3, 16, 40), "MT 50-15-405: in writing"),
        (denver(2026, 3, 5, 9, 0), 48, denver(2026, 3, 7, 9, 0), "FL 497.607(1): agreed time"),
        (
            datetime(2026, 3, 2, 11, 30, tzinfo=LONDON),
            96,
            datetime(2026, 3, 6, 11, 30, tzinfo=LONDON),
            "E&W reg 32(2): notice to the registrar",
        ),
    ],
)
def test_a_term_is_broken_only_after_its_last_instant(
    start: datetime, hours: int, ends: datetime, source: str
) -> None:
    due = within(exactly(start), hours)
    assert due.at == ends, source
    assert (due.broken(ends), due.broken(ends + MINUTE)) == (False, True)


def test_a_duty_of_eight_hours_or_more_begins_with_the_eighth() -> None:
    # Tennessee 62-5-507, secondary.
    due = within(exactly(T), 8)
    assert due.reached(T + 8 * HOUR)
    assert not due.reached(T + 7 * HOUR + 59 * MINUTE)


@pytest.mark.parametrize(
    ("start", "at", "source"),
    [
        (denver(2026, 3, 3, 9, 30), None, "HSC 8346: within 24 h of custody"),
        (denver(2026, 3, 3, 10, 0), None, "HSC 8346: the 24th hour itself"),
        (denver(2026, 3, 3, 10, 30), denver(2026, 3, 2, 12, 0), "HSC 8346"),
        (None, denver(2026, 3, 2, 12, 0), "HSC 8346: no start planned"),
    ],
)
def test_california_refrigerates_within_two_hours_unless_it_starts_soon(
    start: datetime | None, at: datetime | None, source: str
) -> None:
    custody = exactly(denver(2026, 3, 2, 10, 0))
    due = refrigerate_by(custody, 2, unless_start_within=24, planned_start=start)
    assert due.at == at, source
    assert due.kind is (Kind.NONE if at is None else Kind.AT)


def test_of_a_range_the_latest_counts_for_a_wait_and_the_earliest_for_a_term() -> None:
    death = between(T, T + 5 * HOUR)
    wait, term = wait_ends(death, 24), within(death, 24)
    assert (wait.at, wait.bound) == (T + 29 * HOUR, Bound.LATEST)
    assert (term.at, term.bound) == (T + 24 * HOUR, Bound.EARLIEST)
    assert wait.why == "24 hours from the latest possible time, because only a range is known."
    assert between(T, T).known_as == ""


def test_of_a_day_the_end_counts_for_a_wait_and_the_beginning_for_a_term() -> None:
    death = on_day(date(2026, 3, 2), DENVER)
    assert wait_ends(death, 24).at == denver(2026, 3, 4)
    assert within(death, 24).at == denver(2026, 3, 3)
    assert "only the date is known" in wait_ends(death, 24).why


def test_the_days_of_the_change_are_23_and_25_hours_long() -> None:
    for zone, spring, autumn in (
        (DENVER, date(2026, 3, 8), date(2026, 11, 1)),
        (LONDON, date(2026, 3, 29), date(2026, 10, 25)),
    ):
        for day, hours in ((spring, 23), (autumn, 25)):
            known = on_day(day, zone)
            assert known.latest - known.earliest == hours * HOUR


@pytest.mark.parametrize(
    ("wall", "zone", "hours", "wall_then"),
    [
        # 24 h over the change of 8 Mar 2026 in US Central time ends an hour later by the clock.
        (datetime(2026, 3, 7, 14), CHICAGO, 24, datetime(2026, 3, 8, 15)),
        (datetime(2026, 3, 7, 14), DENVER, 24, datetime(2026, 3, 8, 15)),
        (datetime(2026, 3, 7, 14), DENVER, 48, datetime(2026, 3, 9, 15)),
        (datetime(2026, 10, 31, 14), DENVER, 24, datetime(2026, 11, 1, 13)),
        (datetime(2026, 10, 31, 14), DENVER, 48, datetime(2026, 11, 2, 13)),
        (datetime(2026, 3, 28, 14), LONDON, 24, datetime(2026, 3, 29, 15)),
        (datetime(2026, 3, 28, 14), LONDON, 48, datetime(2026, 3, 30, 15)),
        (datetime(2026, 10, 24, 14), LONDON, 24, datetime(2026, 10, 25, 13)),
        (datetime(2026, 10, 24, 14), LONDON, 48, datetime(2026, 10, 26, 13)),
    ],
)
def test_hours_are_elapsed_hours_when_clocks_change(
    wall: datetime, zone: ZoneInfo, hours: int, wall_then: datetime
) -> None:
    due = wait_ends(at_local(wall, zone), hours)
    assert due.at is not None
    assert due.at.astimezone(zone).replace(tzinfo=None) == wall_then


@pytest.mark.parametrize(
    ("wall", "zone"),
    [(datetime(2026, 11, 1, 1, 30), DENVER), (datetime(2026, 10, 25, 1, 30), LONDON)],
)
def test_half_past_one_on_the_night_the_clocks_go_back_has_both_bounds(
    wall: datetime, zone: ZoneInfo
) -> None:
    death = at_local(wall, zone)
    assert death.latest - death.earliest == HOUR
    for hours in (24, 48):
        assert wait_ends(death, hours).at == death.latest + hours * HOUR
        assert within(death, hours).at == death.earliest + hours * HOUR
    assert "twice" in wait_ends(death, 24).why
    # Half past one of the day after is 25 hours after the first, 24 after the second.
    assert wait_ends(death, 24).at == at_local(wall + timedelta(days=1), zone).earliest


@pytest.mark.parametrize(
    ("wall", "zone"),
    [(datetime(2026, 3, 8, 2, 30), DENVER), (datetime(2026, 3, 29, 1, 30), LONDON)],
)
def test_a_time_that_the_clocks_skipped_is_an_error_that_says_so(
    wall: datetime, zone: ZoneInfo
) -> None:
    with pytest.raises(TimeDoesNotExist, match="the clocks went forward"):
        at_local(wall, zone)


def test_a_zone_that_skipped_a_day_had_no_such_day() -> None:
    with pytest.raises(TimeDoesNotExist, match="no day"):
        on_day(date(2011, 12, 30), APIA)
    known = on_day(date(2011, 12, 29), APIA)
    assert known.latest - known.earliest == 24 * HOUR


def test_a_day_whose_midnight_was_skipped_begins_at_one() -> None:
    first = start_of(date(2026, 3, 8), HAVANA).astimezone(HAVANA)
    assert (first.day, first.hour) == (8, 1)


@pytest.mark.parametrize(
    ("earliest", "latest"),
    [(datetime(2026, 3, 2), T), (T, datetime(2026, 3, 2)), (T + HOUR, T)],
)
def test_a_moment_wants_zones_and_the_right_order(earliest: datetime, latest: datetime) -> None:
    with pytest.raises(ValueError, match=r"zone|after"):
        Moment(earliest, latest)


def test_a_wall_time_with_a_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="no zone"):
        at_local(T, DENVER)


def test_the_later_of_several_waits() -> None:
    first, second = wait_ends(exactly(T), 24), wait_ends(exactly(T), 48)
    assert later_of(first, second, no_limit("none")) == second
    assert later_of(first, unknown("missing")).kind is Kind.UNKNOWN
    with pytest.raises(ValueError, match="no wait"):
        later_of()


@given(INSTANTS, ZONES)
def test_every_instant_lies_in_what_its_wall_clock_and_its_day_say(
    at: datetime, zone: ZoneInfo
) -> None:
    local = at.astimezone(zone)
    shown = at_local(local.replace(tzinfo=None, fold=0), zone)
    assert at in (shown.earliest, shown.latest)
    day = on_day(local.date(), zone)
    assert day.earliest <= at < day.latest


@given(st.dates(date(1990, 1, 1), date(2036, 1, 1)), st.sampled_from(sorted(available_timezones())))
def test_days_follow_one_another_in_every_zone(day: date, key: str) -> None:
    zone = ZoneInfo(key)
    try:
        known = on_day(day, zone)
    except TimeDoesNotExist:
        return
    assert known.latest == start_of(day + timedelta(days=1), zone)
    assert HOUR * 12 <= known.latest - known.earliest <= HOUR * 48
    assert known.earliest.astimezone(zone).date() == day


@given(INSTANTS, st.timedeltas(timedelta(0), timedelta(days=9)), st.integers(0, 200))
def test_a_wider_range_never_shortens_a_wait_nor_lengthens_a_term(
    at: datetime, width: timedelta, hours: int
) -> None:
    known, wide = exactly(at), between(at - width, at + width)
    assert _at(wait_ends(wide, hours)) >= _at(wait_ends(known, hours)) == at + hours * HOUR
    assert _at(within(wide, hours)) <= _at(within(known, hours))


@given(INSTANTS, INSTANTS, st.integers(0, 96))
def test_from_the_later_of_two_never_ends_before_either(
    death: datetime, found: datetime, hours: int
) -> None:
    start = wait_from(From.DEATH_OR_DISCOVERY, exactly(death), exactly(found))
    assert _at(wait_ends(start, hours)) == max(death, found) + hours * HOUR


def _at(due: Due) -> datetime:
    assert due.at is not None
    return due.at
