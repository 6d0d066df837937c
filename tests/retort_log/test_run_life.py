"""Events at the machine, and the phases that follow from them."""

from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.errors import StepRefused
from cases.models import Case
from chain_of_custody.models import CustodyEntry
from chain_of_custody.verify import verify
from crematory import clock
from crematory.models import Facility, StaffMember
from retort_log import events, run_life
from retort_log.events import EventRefused, Stated, record_event
from retort_log.models import Retort, RunEvent
from retort_log.run_life import Happened, Phase, RunTimes
from tests import cast

pytestmark = pytest.mark.django_db
AT = cast.START
MINUTE = timedelta(minutes=1)


def phase_after(*kinds: str, run: bool = True) -> Phase:
    """Return the phase after these events, one a minute, in a run charged at AT or in none."""
    times = RunTimes(AT, None) if run else None
    happened = [Happened(kind, AT + n * MINUTE) for n, kind in enumerate(kinds, start=1)]
    return run_life.phase(times, happened, None).phase


@pytest.mark.parametrize(
    ("kinds", "run", "expected"),
    [
        ((), False, Phase.CLEAR),
        (("preheat_begun",), False, Phase.PREHEATING),
        (("preheat_begun", "preheat_ended"), False, Phase.CLEAR),
        ((), True, Phase.BURNING),
        (("burner_lit", "door_opened"), True, Phase.BURNING),
        (("interrupted",), True, Phase.INTERRUPTED),
        (("interrupted", "resumed"), True, Phase.BURNING),
        (("interrupted", "ended_by_fault"), True, Phase.FAULT_ENDED),
        (("ended_by_fault",), True, Phase.BURNING),
    ],
)
def test_phases(kinds: tuple[str, ...], run: bool, expected: Phase) -> None:
    assert phase_after(*kinds, run=run) is expected


@given(st.lists(st.sampled_from(sorted(run_life.EVENTS))))
def test_the_person_stays_inside_until_the_case_moves(kinds: list[str]) -> None:
    # No event whatever empties a retort that holds a person: only `recover` does.
    assert phase_after(*kinds) in {Phase.BURNING, Phase.INTERRUPTED, Phase.FAULT_ENDED}


def test_a_preheat_from_before_the_last_run_is_over() -> None:
    begun = Happened("preheat_begun", AT)
    assert run_life.phase(None, [begun], AT + MINUTE).phase is Phase.CLEAR


@pytest.fixture
def inside(facility: Facility) -> Case:
    """A person in the retort."""
    return cast.bring(cast.make_case(facility), "in_retort")


def record(case: Case, kind: str, by: object, minutes: int = 5, **stated: object) -> RunEvent:
    at = case.run.charged_at + minutes * MINUTE
    with clock.pinned(at + MINUTE):
        return record_event(case.run.retort, Stated(kind, at, **stated), by)  # type: ignore[arg-type]


def test_an_event_is_kept_with_its_hand_and_stands_in_the_trail(
    inside: Case, operator: StaffMember
) -> None:
    event = record(inside, "repositioned", operator)
    assert (event.run, event.recorded_by) == (inside.run, operator)
    entry = CustodyEntry.objects.get(act="run_event")
    assert (entry.case, entry.signed_by) == (inside, operator)
    assert verify(inside.facility).holds


def test_an_interruption_is_signed_and_resumed(inside: Case, operator: StaffMember) -> None:
    with pytest.raises(EventRefused, match="PIN"):
        record(inside, "interrupted", operator, note="power lost")
    signed = cast.signature(operator)
    record(inside, "interrupted", signed, note="power lost")
    retort = inside.run.retort
    at = inside.run.charged_at + 20 * MINUTE
    assert events.now_at(retort, at).phase is Phase.INTERRUPTED
    record(inside, "resumed", signed, minutes=12)
    assert events.now_at(retort, at).phase is Phase.BURNING


def test_a_manager_alone_ends_a_run_by_a_fault(
    inside: Case, operator: StaffMember, manager: StaffMember
) -> None:
    record(inside, "interrupted", cast.signature(operator), note="burner does not light")
    with pytest.raises(EventRefused, match="manager"):
        record(inside, "ended_by_fault", cast.signature(operator), minutes=8, note="x")
    record(inside, "ended_by_fault", cast.signature(manager), minutes=8, note="fan broken")
    inside.run.refresh_from_db()
    assert inside.run.ended_by_fault


@pytest.mark.parametrize(
    ("kind", "minutes", "code"),
    [
        ("resumed", 5, "event_phase"),
        ("preheat_begun", 5, "event_phase"),
        ("fault", 5, "reason_missing"),
        ("nonsense", 5, "event_unknown"),
        ("door_opened", 500, "time_future"),
    ],
)
def test_refused_with_its_reason_and_recorded(
    inside: Case, operator: StaffMember, kind: str, minutes: int, code: str
) -> None:
    at = inside.run.charged_at + minutes * MINUTE
    with clock.pinned(inside.run.charged_at + 60 * MINUTE), pytest.raises(EventRefused) as refused:
        record_event(inside.run.retort, Stated(kind, at), cast.signature(operator))
    assert refused.value.code == code
    assert not RunEvent.objects.exists()
    entry = CustodyEntry.objects.get(act="run_event")
    assert entry.outcome == "refused"
    assert code in entry.payload


def test_a_second_sending_is_one_event(inside: Case, operator: StaffMember) -> None:
    first = record(inside, "door_opened", operator, token="t-1")
    assert record(inside, "door_opened", operator, token="t-1") == first
    with pytest.raises(EventRefused, match="used already"):
        record(inside, "burner_lit", operator, token="t-1")


def test_an_earlier_change_of_phase_is_refused_once_a_later_one_stands(
    inside: Case, operator: StaffMember
) -> None:
    signed = cast.signature(operator)
    record(inside, "interrupted", signed, minutes=10, note="power lost")
    with pytest.raises(EventRefused) as refused:
        record(inside, "interrupted", signed, minutes=5, note="door switch")
    assert refused.value.code == "event_order"


def test_the_burner_is_not_off_while_the_run_is_interrupted(
    inside: Case, operator: StaffMember
) -> None:
    record(inside, "interrupted", cast.signature(operator), note="power lost")
    with pytest.raises(StepRefused, match="interrupted"):
        cast.do("burner_off", inside)
    record(inside, "resumed", cast.signature(operator), minutes=12)
    cast.do("burner_off", inside)


def test_a_member_of_another_house_enters_nothing(inside: Case, retort: Retort) -> None:
    stranger = cast.member(cast.make_facility("ZZ"), cast.OPERATOR)
    with pytest.raises(EventRefused) as refused:
        record(inside, "door_opened", stranger)
    assert refused.value.code == "reading_role"
