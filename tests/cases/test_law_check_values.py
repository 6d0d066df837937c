"""Worked examples of the statutes' clocks: what goes in, what must come out, and where it stands.

T is a death on 2 March 2026 at 08:15 local time, C a cremation on 15 January 2026 at 14:00.
"""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from cases import deadline_days, law
from cases.deadlines import Due, Kind, Moment, exactly, within
from cases.law import clocks
from crematory.units import convert

ZONE = ZoneInfo("America/Chicago")
LONDON = ZoneInfo("Europe/London")
T = datetime(2026, 3, 2, 8, 15, tzinfo=ZONE)
C = exactly(datetime(2026, 1, 15, 14, 0, tzinfo=ZONE))


def at(month: int, day: int, hour: int = 0, minute: int = 0, *, year: int = 2026) -> datetime:
    return datetime(year, month, day, hour, minute, tzinfo=ZONE)


def wait(code: str, **given: Any) -> Due:
    """The wait after T, the certificate showing the same time unless told otherwise."""
    given.setdefault("certified", exactly(T))
    return clocks.wait_ends(law.jurisdiction(code).wait, exactly(T), **given)


def unclaimed(code: str, then: str, start: Moment = C, first: Due | None = None) -> Due:
    step = clocks.unclaimed_step(law.jurisdiction(code), then)
    assert step is not None
    return clocks.free_from(step, start, ZONE, first)


@pytest.mark.parametrize(
    ("code", "ends", "source"),
    [
        ("us-mt", at(3, 3, 8, 15), "37-19-705(2)"),
        ("us-il", at(3, 3, 8, 15), "18/35(a)"),
        ("us-tx", at(3, 4, 8, 15), "716.004"),
        ("us-oh", at(3, 3, 8, 15), "4717.23"),
        ("us-fl", at(3, 4, 8, 15), "872.03, secondary"),
        ("us-sd", at(3, 3, 8, 15), "34-26A-13.1, secondary"),
        ("us-ga", at(3, 3, 8, 15), "a summary"),
        ("us-wi", at(3, 4, 8, 15), "979.10(1)(a)"),
    ],
)
def test_the_wait_ends_after_elapsed_hours(code: str, ends: datetime, source: str) -> None:
    due = wait(code)
    assert due.at == ends, source
    assert not due.over(ends - timedelta(minutes=1))
    assert due.over(ends)


@pytest.mark.parametrize("code", ["us-sc", "us-ny", "us-va", "us-pa", "us-nc", "us-in"])
def test_a_wait_from_memory_never_ends_by_itself(code: str) -> None:
    rules = law.jurisdiction(code)
    assert rules.wait.hours in (24, 48)
    assert (rules.wait.state, rules.wait_hours) == ("unknown", None)
    assert not wait(code).over(T + timedelta(days=900))


@pytest.mark.parametrize("code", ["us-ca", "us-wa", "us-tn", "gb-ew", "gb-sct", "au-nsw", "ca-on"])
def test_a_wait_of_which_nothing_was_seen_never_ends_by_itself(code: str) -> None:
    rules = law.jurisdiction(code)
    assert (rules.wait.hours, rules.wait_hours, rules.wait.state) == (None, None, "unknown")
    assert wait(code).kind is Kind.UNKNOWN
    assert "unknown here" in rules.wait_citation


@pytest.mark.parametrize(
    ("code", "given", "is_lifted", "source"),
    [
        ("us-il", {"grounds": ["infectious_disease"]}, False, "18/35(a): no written waiver"),
        (
            "us-il",
            {"grounds": ["infectious_disease"], "papers": ["medical_examiner_waiver"]},
            True,
            "18/35(a)(i)",
        ),
        ("us-il", {"papers": ["medical_examiner_waiver"]}, False, "18/35(a): both are asked"),
        ("us-il", {"grounds": ["religious_requirement"]}, True, "18/35(a)(ii)"),
        (
            "us-tx",
            {"grounds": ["written_waiver"], "papers": ["medical_examiner_waiver"]},
            True,
            "716.004",
        ),
        ("us-tx", {"grounds": ["written_waiver"]}, False, "716.004"),
        ("us-tx", {"grounds": ["court_order"], "papers": ["court_order"]}, True, "716.004"),
        ("us-tx", {"grounds": ["religious_requirement"]}, False, "716.004"),
        ("us-wi", {"grounds": ["infectious_disease"]}, True, "979.10(1)(a)"),
        (
            "us-oh",
            {"grounds": ["infectious_disease"], "papers": ["health_board_order"]},
            True,
            "4717.23(A)(1)",
        ),
        (
            "us-sd",
            {"grounds": ["infectious_disease"], "papers": ["contagion_certificate"]},
            True,
            "34-26A-13.1, secondary",
        ),
        ("us-mt", {"grounds": ["infectious_disease"]}, False, "no waiver in the text"),
    ],
)
def test_a_waiver_needs_its_ground_and_its_papers(
    code: str, given: dict[str, Any], is_lifted: bool, source: str
) -> None:
    assert (wait(code, **given).kind is Kind.NONE) is is_lifted, source


def test_a_waived_wait_leaves_the_clearance() -> None:
    # Illinois 18/35(a) and Wisconsin 979.10: the permit is needed all the same.
    assert law.jurisdiction("us-il").clearance_rule == "always"
    assert law.jurisdiction("us-wi").clearance_rule == "always"


def test_a_provisional_certificate_starts_no_clock_in_ohio() -> None:
    due = wait("us-oh", is_provisional=True)
    assert not due.over(T + timedelta(hours=100))


def test_in_wisconsin_the_later_of_death_and_discovery_counts() -> None:
    due = wait("us-wi", discovery=exactly(at(3, 3, 10)))
    assert due.at == at(3, 5, 10)


def test_hours_elapse_over_a_change_of_clocks() -> None:
    # 24 h from 14:00 on the day before clocks go forward end at 15:00, not at 14:00.
    due = clocks.wait_ends(law.jurisdiction("us-mt").wait, exactly(at(3, 7, 14)))
    assert due.at == at(3, 8, 15)


@pytest.mark.parametrize(
    ("code", "then", "free", "source"),
    [
        ("us-tx", "dispose", at(5, 16), "716.302(c): day 121"),
        ("us-sc", "dispose", at(3, 17), "32-8-345(D): day 60 is 16 March"),
        ("us-il", "dispose", at(3, 17), "18/40(d)"),
        ("us-mt", "dispose", at(4, 16), "37-19-706(2): day 90 is 15 April"),
        ("us-nc", "release_to_family", at(2, 15), "90-210.130(b): day 30 is 14 February"),
        ("us-nc", "dispose", at(2, 15), "90-210.130(b)"),
        ("us-oh", "deliver", at(2, 14), "4717.27(B)"),
        ("us-oh", "dispose", at(3, 16), "4717.27(C)"),
        ("us-ny", "dispose", at(5, 16), "PHL 4202(4): day 120 is 15 May"),
        ("us-fl", "dispose", at(5, 15, 14), "497.607(3): from the time of cremation"),
        ("us-co", "place_recoverably", at(7, 15), "12-135-302(2): day 180 is 14 July"),
        ("us-co", "place_for_good", at(1, 15, year=2029), "12-135-302(2)"),
        ("au-nsw", "dispose", at(1, 30), "s. 109(2): 14 days from a notice of 15 January"),
        ("us-wi", "return_to_deliverer", at(2, 14), "440.80(1)(b)"),
    ],
)
def test_unclaimed_remains_are_free_from(code: str, then: str, free: datetime, source: str) -> None:
    due = unclaimed(code, then)
    assert due.at == free, source
    assert not due.reached(free - timedelta(seconds=1))


def test_washington_counts_possession_and_then_contact() -> None:
    # WAC 308-47-070: held from 15 January, contact on 15 April; not before 14 June.
    held = unclaimed("us-wa", "begin_contact")
    assert held.at == at(4, 15)
    contact = exactly(at(4, 15, 9))
    assert unclaimed("us-wa", "dispose", contact, held).at == at(6, 14)


def test_california_inters_within_the_year() -> None:
    step = clocks.unclaimed_step(law.jurisdiction("us-ca"), "inter")
    assert step is not None
    assert clocks.done_by(step, C, ZONE).on == date(2027, 1, 15)  # HSC 8341
    with pytest.raises(ValueError, match="frees nothing"):
        clocks.free_from(step, C, ZONE)


def test_indiana_hands_to_the_director_by_day_30() -> None:
    step = clocks.unclaimed_step(law.jurisdiction("us-in"), "deliver_to_director")
    assert step is not None
    assert clocks.done_by(step, C, ZONE).on == date(2026, 2, 14)  # 23-14-31-45


def test_what_is_from_memory_frees_nothing() -> None:
    assert clocks.unclaimed_step(law.jurisdiction("gb-ew"), "dispose") is None
    assert clocks.unclaimed_step(law.jurisdiction("us-sd"), "dispose") is None


def test_texas_ships_by_day_30() -> None:
    days = law.jurisdiction("us-tx").release.ship_within_days
    assert days == 30
    assert deadline_days.not_later_than(C, days, ZONE).on == date(2026, 2, 14)  # 716.156(a)(3)


@pytest.mark.parametrize(
    ("code", "what", "last", "source"),
    [
        ("us-tx", "record", date(2031, 1, 15), "716.251"),
        ("us-ca", "record", date(2036, 1, 15), "8343"),
        ("us-co", "record", date(2031, 1, 15), "12-135-305(3)"),
        ("us-nc", "receipt", date(2029, 1, 15), "90-210.127"),
        ("us-fl", "cremation_file", date(2028, 1, 15), "69K-31.001(2)"),
        ("us-sc", "crematory_disposed", date(2036, 1, 15), "32-8-330(D)"),
        ("us-ks", "on_premises", date(2031, 12, 31), "63-7-2(d): calendar years"),
        ("us-ks", "record", date(2033, 1, 15), "63-7-2(d)"),
        ("us-mt", "record", None, "24.147.1105(1)"),
        ("us-wa", "record", None, "308-47-065"),
        ("us-wi", "receipt", None, "440.81"),
        ("us-ny", "record", None, "203.13"),
        ("us-in", "record", None, "23-14-31-33"),
        ("us-or", "record", None, "830-040-0000"),
        ("us-sc", "record", None, "32-8-330(C)"),
        ("gb-ew", "register", None, "reg. 32(1)"),
        ("us-sd", "record", None, "34-26A-25.1 unread: unknown is not destroyed"),
        ("us-ne", "record", None, "from memory: not destroyed"),
    ],
)
def test_records_are_kept_through(code: str, what: str, last: date | None, source: str) -> None:
    rule = law.jurisdiction(code).retention(what)
    assert clocks.keep_through(rule, C, ZONE).on == last, source


def test_england_gives_notice_within_96_hours() -> None:
    notice = law.jurisdiction("gb-ew").notices[0]
    due = clocks.notice_by(notice, exactly(datetime(2026, 3, 2, 11, 30, tzinfo=LONDON)))
    assert due.at == datetime(2026, 3, 6, 11, 30, tzinfo=UTC)  # reg. 32(2)


def cooling(code: str, custody: datetime, planned: datetime | None = None, number: int = 0) -> Due:
    rule = law.jurisdiction(code).holdings[number]
    return clocks.cool_by(rule, exactly(T), exactly(custody), planned_start=planned)


def test_california_cools_in_two_hours_unless_the_charge_is_near() -> None:
    custody = at(3, 2, 10)
    assert cooling("us-ca", custody, at(3, 3, 9, 30)).kind is Kind.NONE  # 8346
    due = cooling("us-ca", custody, at(3, 3, 10, 30))
    assert (due.at, due.broken(at(3, 2, 12))) == (at(3, 2, 12), False)
    assert due.broken(at(3, 2, 12, 1))
    assert cooling("us-ca", custody).at == at(3, 2, 12)


@pytest.mark.parametrize(
    ("code", "due", "source"),
    [
        ("us-mt", at(3, 4, 8, 15), "37-19-705(4)(b), from death"),
        ("us-ne", at(3, 3, 8, 15), "71-1374, from death"),
        ("us-tx", at(3, 3, 8, 15), "25 TAC 181.4, from death"),
        ("us-tn", at(3, 2, 18, 0), "62-5-507, eight hours of custody"),
        ("us-ks", at(3, 2, 10, 0), "65-1763(b), at once"),
        ("us-wa", at(3, 2, 10, 0), "308-47-030(5), only in refrigeration"),
        ("us-or", at(3, 3, 10, 0), "830-030-0010"),
        ("us-md", at(3, 4, 10, 0), "09.34.08.05"),
        ("us-mn", at(3, 5, 8, 15), "149A.94 subd. 1"),
    ],
)
def test_a_body_is_cooled_by(code: str, due: datetime, source: str) -> None:
    clock = cooling(code, at(3, 2, 10))
    assert clock.at == due, source
    assert clock.broken(due + timedelta(minutes=1))
    assert not clock.broken(due)


def test_tennessee_begins_with_the_eighth_hour() -> None:
    clock = cooling("us-tn", at(3, 2, 10))
    assert not clock.reached(at(3, 2, 17, 59))
    assert clock.reached(at(3, 2, 18))


@pytest.mark.parametrize(
    ("code", "number", "reading_f", "is_cold"),
    [
        ("us-ca", 0, "50.0", True),
        ("us-ca", 0, "50.1", False),
        ("us-wa", 0, "48.0", True),
        ("us-wa", 0, "48.1", False),
        ("us-md", 0, "40.0", True),
        ("us-md", 0, "40.1", False),
        # A cooler at 41 °F.
        ("us-ks", 0, "41", False),
        ("us-or", 0, "41", False),
        ("us-tx", 0, "41", False),
        ("us-wa", 0, "41", True),
        ("us-mt", 1, "35", True),
    ],
)
def test_a_limit_in_fahrenheit_is_tested_in_fahrenheit(
    code: str, number: int, reading_f: str, is_cold: bool
) -> None:
    limit = law.jurisdiction(code).holdings[number].max_f
    assert limit is not None
    assert (Decimal(reading_f) <= Decimal(limit)) is is_cold


def test_texas_lets_a_seep_proof_container_do_instead() -> None:
    assert "seep_proof_container" in law.jurisdiction("us-tx").holdings[0].unless


def test_florida_is_late_48_hours_after_the_agreed_time() -> None:
    limit = law.jurisdiction("us-fl").holding_limits[0]
    assert (limit.what, limit.starts, limit.within_hours) == ("cremate", "agreed_time", 48)
    assert within(exactly(at(3, 5, 9)), 48).at == at(3, 7, 9)  # 497.607(1)


def test_montana_has_the_oral_word_in_writing_in_24_hours() -> None:
    allowed = law.jurisdiction("us-mt").medical_clearance.oral_confirmed_within_hours
    assert allowed is not None
    assert within(exactly(at(3, 2, 16, 40)), allowed).at == at(3, 3, 16, 40)  # 50-15-405


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"),
    [("1600", "871.1"), ("1800", "982.2"), ("50", "10.0"), ("48", "8.9"), ("40", "4.4")],
)
def test_the_limits_in_celsius(fahrenheit: str, celsius: str) -> None:
    converted = convert(Decimal(fahrenheit), "degF", "degC")
    assert converted.quantize(Decimal("0.1")) == Decimal(celsius)


def test_an_eighth_of_an_inch() -> None:
    assert Decimal("25.4") / 8 == Decimal("3.175")
    for code in ("us-tx", "us-wi"):
        assert law.jurisdiction(code).particle.max_mm == "3.175"
