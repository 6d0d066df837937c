"""Half-lives and decay beside ICRP 107, and the published waits."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
import radioactivedecay
from hypothesis import given
from hypothesis import strategies as st

from cases import law
from cases.deadlines import between, exactly
from cases.nuclide_advice import Advice, State, Use, radioactive
from cases.nuclides import (
    NUCLIDES,
    PUBLISHED_WAITS,
    Activity,
    NuclideUnknown,
    PublishedWait,
    falls_to,
    fraction_left,
    mbq_at,
    mbq_from_mci,
    months_after,
    nuclide,
    published_wait,
)
from cases.radiation import wait_by_law

T = datetime(2026, 3, 2, 15, 0, tzinfo=UTC)
ONTARIO = wait_by_law(law.jurisdiction("ca-on"))
DAY = timedelta(days=1)
KEYS = st.sampled_from(sorted(NUCLIDES))
ACTIVITIES = st.decimals(Decimal("0.001"), Decimal("100000"), places=3)
DAYS = st.integers(0, 4000)


def activity(key: str, mbq: str | Decimal) -> Activity:
    return Activity(nuclide(key), Decimal(mbq), exactly(T))


@pytest.mark.parametrize("key", sorted(NUCLIDES))
def test_half_lives_are_those_of_icrp_107(key: str) -> None:
    expected = radioactivedecay.Nuclide(key).half_life("d")
    assert float(NUCLIDES[key].half_life_days) == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize("key", sorted(NUCLIDES))
@pytest.mark.parametrize("days", [0.5, 30, 365.25])
def test_decay_is_that_of_the_library(key: str, days: float) -> None:
    later = radioactivedecay.Inventory({key: 5000.0}, "MBq").decay(days, "d").activities("MBq")
    if later[key] > 1e-6:
        ours = mbq_at(activity(key, "5000"), T + timedelta(days=days))
        assert float(ours) == pytest.approx(later[key], rel=2e-3)


@pytest.mark.parametrize(
    ("key", "days", "left", "within"),
    [
        ("I-125", "365.25", 0.014092, 1e-5),
        ("Pd-103", "91.3125", 0.024111, 1e-5),
        ("Lu-177", "30", 0.043788, 1e-6),
        ("I-131", "30", 0.074826, 1e-6),
        ("Sr-89", "30", 0.662638, 1e-6),
        ("Cs-131", "30", 0.116929, 1e-6),
        ("Ho-166", "30", 8.2e-9, 1e-10),
    ],
)
def test_what_is_left_is_as_published(key: str, days: str, left: float, within: float) -> None:
    assert float(fraction_left(nuclide(key), Decimal(days))) == pytest.approx(left, abs=within)


def test_a_millicurie_is_37_megabecquerels() -> None:
    assert mbq_from_mci(Decimal(1)) == 37
    assert mbq_from_mci(Decimal("193.6")) == Decimal("7163.2")


def test_of_a_reference_known_roughly_the_latest_counts() -> None:
    rough = Activity(nuclide("I-131"), Decimal(100), between(T - 3 * DAY, T))
    assert mbq_at(rough, T + DAY) == mbq_at(activity("I-131", "100"), T + DAY)
    assert falls_to(rough, Decimal(50)) == falls_to(activity("I-131", "100"), Decimal(50))
    with pytest.raises(ValueError, match="before the reference"):
        mbq_at(rough, T - DAY)


@pytest.mark.parametrize("mbq", ["0", "-1", "NaN", "Infinity"])
def test_an_activity_and_a_limit_lie_above_zero(mbq: str) -> None:
    with pytest.raises(ValueError, match="above zero"):
        activity("I-131", mbq)
    with pytest.raises(ValueError, match="above zero"):
        falls_to(activity("I-131", "100"), Decimal(mbq))


def test_an_unknown_nuclide_sends_to_the_adviser() -> None:
    with pytest.raises(NuclideUnknown, match="adviser"):
        nuclide("Am-241")


def test_below_the_limit_already_is_at_once() -> None:
    assert falls_to(activity("I-131", "100"), Decimal(400)) == T
    assert falls_to(activity("I-131", "200"), Decimal(100)) == T + timedelta(days=8.0207) + (
        timedelta(seconds=1) - timedelta(days=8.0207) % timedelta(seconds=1)
    )


@given(KEYS, ACTIVITIES, DAYS, DAYS)
def test_there_is_never_more_later(key: str, mbq: Decimal, first: int, second: int) -> None:
    of = activity(key, mbq)
    early, late = sorted((first, second))
    assert 0 <= mbq_at(of, T + late * DAY) <= mbq_at(of, T + early * DAY) <= mbq


@given(KEYS, ACTIVITIES, st.decimals(Decimal("0.0001"), Decimal(1), places=4))
def test_the_moment_of_a_limit_is_the_inverse_of_the_decay(
    key: str, mbq: Decimal, share: Decimal
) -> None:
    of, limit = activity(key, mbq), mbq * share
    at = falls_to(of, limit)
    assert mbq_at(of, at) <= limit * (1 + Decimal("1e-20"))
    if at > T:
        assert mbq_at(of, max(T, at - timedelta(seconds=1))) > limit * (1 - Decimal("1e-20"))


# ICRP Publication 98, as quoted: 12 months after I-125 seeds, 3 after Pd-103; Cs-131: none found.
@pytest.mark.parametrize(
    ("key", "months"), [("I-125", 12), ("Pd-103", 3), ("Cs-131", None), ("Lu-177", None)]
)
def test_published_waits(key: str, months: int | None) -> None:
    wait = published_wait(key)
    assert (wait and wait.months) == months


def test_every_published_wait_has_its_source_and_no_activity_limit_is_built_in() -> None:
    assert all(wait.source and wait.mark for wait in PUBLISHED_WAITS)


@pytest.mark.parametrize(
    ("on", "state"),
    [(date(2026, 5, 31), State.WAITING), (date(2026, 6, 1), State.PASSED)],
)
@pytest.mark.parametrize("key", ["I-125", "Cs-131", ""])
def test_ontario_waits_two_years_for_seeds(key: str, on: date, state: State) -> None:
    # O. Reg. 412/19: implanted 1 Jun 2024; two years whatever the nuclide.
    answer = radioactive(key, Use.SEEDS, date(2024, 6, 1), on, law=ONTARIO)
    assert (answer.state, answer.free_on) == (state, date(2026, 6, 1))
    assert "adviser decides" in answer.why
    assert "O. Reg. 412/19" in answer.source


def test_a_published_wait_that_is_longer_than_the_law_counts() -> None:
    short = PublishedWait(6, "", "a law", "found")
    answer = radioactive("I-125", Use.SEEDS, date(2025, 1, 1), date(2025, 8, 1), law=short)
    assert (answer.state, answer.free_on) == (State.WAITING, date(2026, 1, 1))


def test_advice_shortens_no_wait_of_a_law_that_says_so() -> None:
    strict = PublishedWait(24, "", "a law", "found", sooner_if_safe=False)
    safe = Advice("A. Example", date(2026, 5, 20), date(2026, 5, 30))
    seeds = ("I-125", Use.SEEDS, date(2024, 6, 1), date(2026, 5, 31))
    assert radioactive(*seeds, safe, strict).free_on == date(2026, 6, 1)
    assert radioactive(*seeds, safe, ONTARIO).free_on == date(2026, 5, 30)


def test_where_the_law_asks_for_written_advice_no_published_wait_does() -> None:
    seeds = ("I-125", Use.SEEDS, date(2020, 1, 1), date(2026, 6, 1))
    assert radioactive(*seeds, needs_advice=True).state is State.ASK
    safe = Advice("A. Example", date(2026, 5, 20), date(2026, 5, 30))
    assert radioactive(*seeds, safe, needs_advice=True).state is State.PASSED


def test_written_advice_that_it_is_safe_goes_before_the_two_years() -> None:
    safe = Advice("A. Example", date(2026, 5, 20), date(2026, 5, 30))
    answer = radioactive("I-125", Use.SEEDS, date(2024, 6, 1), date(2026, 5, 31), safe, ONTARIO)
    assert answer.state is State.PASSED
    assert "A. Example" in answer.source


def test_written_advice_may_ask_for_longer_than_what_is_published() -> None:
    later = Advice("A. Example", date(2026, 5, 20), date(2027, 1, 1))
    seeds = (Use.SEEDS, date(2025, 1, 1), date(2026, 6, 1))
    assert radioactive("I-125", *seeds).state is State.PASSED
    assert radioactive("I-125", *seeds, advice=later).state is State.WAITING


@pytest.mark.parametrize(
    ("key", "use", "placed_on"),
    [
        ("Cs-131", Use.SEEDS, date(2020, 1, 1)),
        ("Lu-177", Use.DOSE, date(2020, 1, 1)),
        ("I-125", Use.DOSE, date(2020, 1, 1)),
        ("I-125", Use.SEEDS, None),
        ("", Use.SEEDS, date(2020, 1, 1)),
        ("Am-241", Use.SEEDS, date(2020, 1, 1)),
    ],
)
def test_without_a_published_wait_the_adviser_is_asked(
    key: str, use: Use, placed_on: date | None
) -> None:
    answer = radioactive(key, use, placed_on, date(2026, 6, 1))
    assert (answer.state, answer.free_on) == (State.ASK, None)
    assert "written advice" in answer.why


@pytest.mark.parametrize(
    ("day", "months", "expected"),
    [
        (date(2026, 1, 31), 3, date(2026, 5, 1)),
        (date(2024, 2, 29), 12, date(2025, 3, 1)),
        (date(2024, 2, 29), 24, date(2026, 3, 1)),
        (date(2026, 10, 31), 4, date(2027, 3, 1)),
        (date(2026, 11, 15), 12, date(2027, 11, 15)),
    ],
)
def test_a_month_too_short_gives_the_first_of_the_next(
    day: date, months: int, expected: date
) -> None:
    assert months_after(day, months) == expected
