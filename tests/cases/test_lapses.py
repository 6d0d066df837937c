"""Rights that lapse by time, and the officer who acts for the unclaimed: what the rules answer."""

from datetime import date, datetime, timedelta
from typing import Any

import pytest

from cases import case_clocks, lapses, law, right, right_acts
from cases.authority import Outcome, Review, Why, explain
from cases.errors import ActRefused
from cases.models import Case, RightHolder
from crematory import clock
from tests import cast
from tests.cases import families as f
from tests.cases.pages import browser, url

pytestmark = pytest.mark.django_db
# The death of the cast's persons, 1 Mar 2024 in the facility's zone: day 6 of notice on the same
# day ends with 7 Mar, day 10 with 11 Mar (711.002: the earlier of the two).
SPOUSE: dict[str, Any] = {"rank": "spouse", "relationship": "wife"}


@pytest.fixture
def case() -> Case:
    """Somebody under the law of Texas; the wife is named and has signed nothing."""
    made = f.case_in(f.house("us-tx"))
    with clock.pinned(made.stage_since + timedelta(minutes=5)):
        f.nobody_missing(made)
        f.name(made, "Wanda Wife", **SPOUSE)
    return made


def wife(case: Case) -> RightHolder:
    return case.right_holders.get(rank="spouse")


def end_of_day(case: Case, days: int) -> datetime:
    """The first instant after day N of the death, in the facility's zone."""
    day = case.days_of_death[1] + timedelta(days=days + 1)
    return datetime.combine(day, datetime.min.time(), case.facility.zone)


def answer(case: Case, at: datetime) -> Any:
    with clock.pinned(at):
        return f.answer(case)


def signs(holder: RightHolder, at: datetime) -> None:
    with clock.pinned(at):
        said = right_acts.Said(position="signed", said_at=at, how="in person")
        right_acts.state_agent(holder, f.clerk_of(holder.case), cast.token(), said)


def child_signs(case: Case, at: datetime) -> None:
    with clock.pinned(at):
        f.name(case, "Carla Child", "signed", **f.DAUGHTER)


def test_texas_lets_the_right_pass_on_when_day_ten_has_ended(case: Case) -> None:
    end = end_of_day(case, 10)
    child_signs(case, case.stage_since + timedelta(hours=1))
    before = answer(case, end - timedelta(seconds=1))
    assert (before.outcome, before.deciding.key) == (Outcome.INSUFFICIENT, "spouse")
    after = answer(case, end)
    assert (after.outcome, after.review) == (Outcome.UNDECIDED, Review.LAPSED)
    assert after.deciding.key == "child"
    assert [over.why for over in after.passed_over] == [Why.LAPSED]
    assert "let the term pass by" in " ".join(explain(after))
    assert "local authority or counsel" in " ".join(explain(after))


def test_nothing_passes_on_by_time_alone_without_a_managers_review(case: Case) -> None:
    end = end_of_day(case, 10)
    child_signs(case, end)
    manager = cast.signature(cast.member(case.facility, cast.MANAGER))
    fresh = Case.objects.get(pk=case.pk)
    with clock.pinned(end + timedelta(minutes=2)):
        assert not right.is_authorized(fresh, right.answer_for(fresh))
        right_acts.review_authority(case, manager, cast.token(), "She arranged nothing.", None)
        fresh = Case.objects.get(pk=case.pk)
        assert right.is_authorized(fresh, right.answer_for(fresh))


def test_day_six_after_notice_comes_first_where_it_is_earlier(case: Case) -> None:
    told = case.days_of_death[0]
    with clock.pinned(case.stage_since + timedelta(minutes=9)):
        cast.knows(wife(case), f.clerk_of(case), told_of_death_on=told)
    six = end_of_day(case, 6)
    child_signs(case, case.stage_since + timedelta(hours=1))
    assert answer(case, six - timedelta(seconds=1)).outcome is Outcome.INSUFFICIENT
    assert answer(case, six).review is Review.LAPSED
    late = told + timedelta(days=8)
    with clock.pinned(end_of_day(case, 9)):
        cast.knows(wife(case), f.clerk_of(case), told_of_death_on=late)
    assert answer(case, end_of_day(case, 10) - timedelta(seconds=1)).review is None
    assert answer(case, end_of_day(case, 10)).review is Review.LAPSED


def test_who_signed_in_time_keeps_the_right(case: Case) -> None:
    signs(wife(case), end_of_day(case, 10) - timedelta(minutes=1))
    assert answer(case, end_of_day(case, 30)).outcome is Outcome.SUFFICIENT


def test_a_signature_after_the_term_is_reviewed(case: Case) -> None:
    signs(wife(case), end_of_day(case, 10))
    found = answer(case, end_of_day(case, 11))
    assert (found.outcome, found.review) == (Outcome.UNDECIDED, Review.LAPSED)


def test_an_objection_does_not_lapse(case: Case) -> None:
    with clock.pinned(case.stage_since + timedelta(hours=1)):
        said = right_acts.Said(position="objects", said_at=clock.now(), how="letter")
        right_acts.state_agent(wife(case), f.clerk_of(case), cast.token(), said)
    child_signs(case, end_of_day(case, 10))
    assert answer(case, end_of_day(case, 20)).outcome is Outcome.DISPUTED


def test_elsewhere_nothing_lapses() -> None:
    with_lapse = [c for c in law.codes() if law.jurisdiction(c).authority.lapse_days_after_death]
    assert with_lapse == ["us-tx"]
    case = f.case_in(f.house("us-mt"))
    assert lapses.lapses_at(case, None) is None
    assert "has lapsed from" not in " ".join(c.title for c in case_clocks.clocks_of(case))


def test_the_clock_of_the_lapse_is_shown_until_it_is_authorized(case: Case) -> None:
    clocks = {c.title: c for c in case_clocks.clocks_of(Case.objects.get(pk=case.pk))}
    lapse = clocks[case_clocks.LAPSES]
    assert lapse.at == end_of_day(case, 10)
    assert "Sooner where day 6 after notice" in lapse.why
    assert "711.002(a) (read once; confirm before use)" in lapse.citation
    assert not lapse.is_duty


@pytest.mark.parametrize(("days", "code"), [(-2, "told_too_early"), (4000, "time_future")])
def test_a_notice_lies_between_the_death_and_today(case: Case, days: int, code: str) -> None:
    told = case.days_of_death[0] + timedelta(days=days)
    with pytest.raises(ActRefused) as refused:
        cast.knows(wife(case), f.clerk_of(case), told_of_death_on=told)
    assert refused.value.code == code


def test_the_day_of_notice_is_asked_only_where_a_right_lapses_by_it(case: Case) -> None:
    clerk = f.clerk_of(case)
    page = browser(clerk).get(url("agent-known", case, wife(case).pk)).content.decode()
    assert "Had notice of the death on" in page
    told: date = case.days_of_death[0]
    data = {"token": cast.token(), "informant": "herself", "told_of_death_on": told.isoformat()}
    sent = browser(clerk).post(url("agent-known", case, wife(case).pk), data)
    assert sent.status_code == 302
    assert right.newest_facts(wife(case)).told_of_death_on == told  # type: ignore[union-attr]
    page = browser(clerk).get(url("agents", case)).content.decode()
    assert f"notice of the death on {told.isoformat()}" in page
    other = f.case_in(f.house("us-mt", "LB"))
    page = browser(f.clerk_of(other)).get(url("agents", other)).content.decode()
    assert "Had notice of the death on" not in page


# The unclaimed

OFFICER: dict[str, Any] = {"rank": "public_administrator", "relationship": "county"}


@pytest.mark.parametrize("code", [c for c in law.codes() if law.jurisdiction(c).ranks])
def test_an_officer_by_written_order_is_a_managers_to_review_under_every_order(code: str) -> None:
    case = f.case_in(f.house(code))
    f.nobody_missing(case)
    holder = f.name(case, "Paula Public", "signed", **OFFICER)
    unproved = f.answer(case)
    assert unproved.outcome is Outcome.INSUFFICIENT
    assert "Put on file the paper or order on which the right of Paula Public" in " ".join(
        explain(unproved)
    )
    order = f.paper(case, "court_order")
    cast.knows(holder, f.clerk_of(case), has_instrument=True, instrument=order)
    found = f.answer(case)
    assert (found.outcome, found.review) == (Outcome.UNDECIDED, Review.PUBLIC_OFFICER)
    assert "Check with the local authority whether this one may." in " ".join(explain(found))


def test_an_officer_counts_nothing_while_somebody_of_the_order_may_act() -> None:
    case = f.case_in(f.house("us-mt"))
    f.nobody_missing(case)
    f.name(case, "Wanda Wife", **SPOUSE)
    on_file = f.known(has_instrument=True, instrument=f.paper(case, "court_order"))
    f.name(case, "Paula Public", "signed", known=on_file, **OFFICER)
    found = f.answer(case)
    assert (found.outcome, found.deciding.key) == (Outcome.INSUFFICIENT, "spouse")  # type: ignore[union-attr]


def test_before_everybody_is_said_to_be_named_an_officer_settles_nothing() -> None:
    case = f.case_in(f.house("us-mt"))
    on_file = f.known(has_instrument=True, instrument=f.paper(case, "court_order"))
    f.name(case, "Paula Public", "signed", known=on_file, **OFFICER)
    found = f.answer(case)
    assert found.outcome is Outcome.INSUFFICIENT
    assert found.rule_out
