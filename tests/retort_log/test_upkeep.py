"""Upkeep: what is due by days, burner hours or cycles, and the acts that record it."""

from datetime import timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.models import Case
from chain_of_custody.models import CustodyEntry
from chain_of_custody.verify import verify
from crematory import clock
from crematory.models import Facility, StaffMember
from retort_log import upkeep
from retort_log.models import Retort, UpkeepDone, UpkeepRule
from retort_log.upkeep import Asked, Done, UpkeepRefused, ask, record_done
from retort_log.upkeep_due import Every, Since, due
from tests import cast

pytestmark = pytest.mark.django_db
AT = cast.START
DAY = timedelta(days=1)
NONE = Decimal(0)


@pytest.mark.parametrize(
    ("every", "since", "overdue", "soon"),
    [
        (Every(days=30), None, True, False),
        (Every(days=30), Since(AT - 26 * DAY, NONE, 0), False, False),
        (Every(days=30), Since(AT - 27 * DAY, NONE, 0), False, True),
        (Every(days=30), Since(AT - 30 * DAY, NONE, 0), True, False),
        (Every(hours=100), Since(AT - DAY, Decimal("89.9"), 40), False, False),
        (Every(hours=100), Since(AT - DAY, Decimal("90"), 40), False, True),
        (Every(hours=100), Since(AT - DAY, Decimal("100"), 40), True, False),
        (Every(cycles=500), Since(AT - DAY, NONE, 499), False, True),
        (Every(cycles=500), Since(AT - DAY, NONE, 500), True, False),
        (Every(days=365, cycles=500), Since(AT - DAY, NONE, 500), True, False),
        (Every(days=365), Since(AT - DAY, NONE, 0, passed=False), True, False),
    ],
)
def test_due(every: Every, since: Since | None, overdue: bool, soon: bool) -> None:
    answer = due(every, since, AT)
    assert (answer.is_overdue, answer.is_soon) == (overdue, soon)


@given(st.integers(1, 400), st.integers(0, 400), st.integers(0, 900), st.integers(0, 900))
def test_more_use_never_makes_it_less_due(days: int, gone: int, hours: int, more: int) -> None:
    every = Every(days=days, hours=500)
    less = due(every, Since(AT - gone * DAY, Decimal(hours), 0), AT)
    later = due(every, Since(AT - gone * DAY, Decimal(hours + more), 0), AT + DAY)
    assert later.is_overdue >= less.is_overdue


def overdue_words(retort: Retort) -> list[str]:
    return [row.due.words for row in upkeep.overdue(retort, clock.now())]


def test_a_rule_blocks_until_it_is_done_and_again_when_it_is_due(
    retort: Retort, manager: StaffMember, operator: StaffMember
) -> None:
    with clock.pinned(AT):
        ask(
            retort,
            cast.signature(manager),
            Asked("inspection", Every(days=7), "house", blocks=True),
        )
        assert overdue_words(retort) == ["never recorded here"]
        record_done(retort, cast.signature(operator), Done("inspection", AT, "O. Operator"))
        assert overdue_words(retort) == []
    with clock.pinned(AT + 7 * DAY):
        assert overdue_words(retort) == ["7 of 7 days"]


def test_what_did_not_pass_is_still_due(retort: Retort, manager: StaffMember) -> None:
    signed = cast.signature(manager)
    with clock.pinned(AT):
        ask(retort, signed, Asked("thermocouple", Every(days=365), "permit", blocks=True))
        with pytest.raises(UpkeepRefused, match="what was found"):
            record_done(retort, signed, Done("thermocouple", AT, "Firm", passed=False))
        done = Done("thermocouple", AT, "Firm", passed=False, note="reads 9 °C low")
        record_done(retort, signed, done)
        assert overdue_words(retort) == ["did not pass when it was last done"]


def test_hours_and_cycles_are_counted_from_the_runs(case: Case, manager: StaffMember) -> None:
    cast.bring(case, "cooling")
    retort, run = case.run.retort, case.run
    signed = cast.signature(manager)
    assert run.burner_off_at is not None
    before = run.charged_at - timedelta(minutes=1)
    with clock.pinned(run.burner_off_at):
        ask(retort, signed, Asked("lining", Every(cycles=1), "maker", blocks=True))
        record_done(retort, signed, Done("lining", before, "Mason"))
        assert overdue_words(retort) == ["1 of 1 cycles"]
        record_done(retort, signed, Done("lining", run.burner_off_at, "Mason"))
        assert overdue_words(retort) == []
    Retort.objects.filter(pk=retort.pk).update(earlier_hours=1000, earlier_cycles=600)
    retort.refresh_from_db()
    whole = upkeep.worked([retort], run.burner_off_at)[retort.pk]
    assert whole.cycles == 601
    burned = Decimal((run.burner_off_at - run.charged_at).total_seconds()) / 3600
    assert whole.hours == 1000 + burned


def test_one_of_a_kind_each_has_its_own_clock(retort: Retort, manager: StaffMember) -> None:
    signed = cast.signature(manager)
    with clock.pinned(AT):
        for which in ("primary", "secondary"):
            ask(retort, signed, Asked("thermocouple", Every(days=9), "house", which, blocks=True))
        record_done(retort, signed, Done("thermocouple", AT, "Firm", "primary"))
        late = upkeep.overdue(retort, AT)
        assert [row.rule.label for row in late] == ["thermocouple calibration, secondary"]


def test_what_does_not_block_is_shown_and_lets_the_retort_work(
    retort: Retort, manager: StaffMember
) -> None:
    with clock.pinned(AT):
        ask(retort, cast.signature(manager), Asked("burner", Every(days=9), "house"))
        assert upkeep.overdue(retort, AT) == []
        assert upkeep.standing_of([retort], AT)[retort.pk][0].due.is_overdue


def test_a_rule_is_taken_back_and_stands_in_the_trail(retort: Retort, manager: StaffMember) -> None:
    signed = cast.signature(manager)
    ask(retort, signed, Asked("burner", Every(days=9), "house", blocks=True))
    ask(retort, signed, Asked("burner", Every(), ""))
    assert upkeep.standing_of([retort], clock.now()) == {}
    assert UpkeepRule.objects.get().is_in_force is False
    assert CustodyEntry.objects.filter(act="upkeep_rule", outcome="done").count() == 2
    assert verify(retort.facility).holds


@pytest.mark.parametrize(
    ("key", "asked", "code"),
    [
        (cast.OPERATOR, Asked("burner", Every(days=9), "house"), "role"),
        (cast.MANAGER, Asked("nonsense", Every(days=9), "house"), "upkeep_kind"),
        (cast.MANAGER, Asked("burner", Every(), "house"), "upkeep_often"),
        (cast.MANAGER, Asked("burner", Every(days=0), "house"), "upkeep_often"),
        (cast.MANAGER, Asked("burner", Every(days=9), " "), "upkeep_source"),
    ],
)
def test_a_rule_is_refused_and_recorded(
    retort: Retort, facility: Facility, key: str, asked: Asked, code: str
) -> None:
    with pytest.raises(UpkeepRefused) as refused:
        ask(retort, cast.signature(cast.member(facility, key)), asked)
    assert refused.value.code == code
    entry = CustodyEntry.objects.get(act="upkeep_rule")
    assert (entry.outcome, code in entry.payload) == ("refused", True)


@pytest.mark.parametrize(
    ("key", "done", "code"),
    [
        (cast.CLERK, Done("burner", AT, "Firm"), "upkeep_role"),
        (cast.OPERATOR, Done("nonsense", AT, "Firm"), "upkeep_kind"),
        (cast.OPERATOR, Done("burner", AT, " "), "upkeep_hand"),
        (cast.OPERATOR, Done("burner", AT + DAY, "Firm"), "time_future"),
    ],
)
def test_what_was_done_is_refused_and_recorded(
    retort: Retort, facility: Facility, key: str, done: Done, code: str
) -> None:
    with clock.pinned(AT), pytest.raises(UpkeepRefused) as refused:
        record_done(retort, cast.signature(cast.member(facility, key)), done)
    assert refused.value.code == code
    assert not UpkeepDone.objects.exists()
