"""A time stated afterwards fits what is on record: the death, the places, who was there before."""

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from cases import acts, hold_acts, house_rules, taking
from cases.corrections import correct
from cases.errors import ActRefused, StepRefused
from cases.gates import GATES
from cases.may_cremate import ON_RECORD
from cases.models import Case
from cases.moments import STANDS_ON
from cases.taking import take
from crematory import clock
from crematory.models import Facility, StaffMember
from retort_log.fitness import state_fitness
from tests import cast
from tests.attempts import before, refusal

pytestmark = pytest.mark.django_db


def test_nobody_is_received_before_the_death(case: Case) -> None:
    refused = refusal("receive", case, happened_at=case.died_at - timedelta(minutes=1))
    assert refused.code == "time_death"


def test_a_charge_is_not_dated_before_the_move_that_was_recorded(
    case: Case, operator: StaffMember
) -> None:
    cast.bring(case, "tagged")
    tagged = case.stage_since
    with clock.pinned(tagged + timedelta(minutes=40)):
        bay = cast.free_place(case, "bay")
        acts.move_person(case, cast.signature(operator), cast.token(), bay)
    with clock.pinned(tagged + timedelta(minutes=30)):
        cast.prepare("charge", case)
    with clock.pinned(tagged + timedelta(minutes=50)):
        refused = _refused_charge(case, happened_at=tagged + timedelta(minutes=30))
    assert refused.code == "time_order"


def test_no_retort_held_two_persons_at_a_time(facility: Facility) -> None:
    """The second person is tagged while the first is inside, and the charge is dated back."""
    first, second = cast.make_case(facility), cast.make_case(facility, cast.START)
    cast.bring(second, "tagged")
    cast.bring(first, "recovered")
    first.run.refresh_from_db()
    assert first.run.ended_at is not None
    retort, at = first.run.retort, first.run.ended_at - timedelta(minutes=1)
    assert second.stage_since < at
    with clock.pinned(at):
        cast.read(retort, cast.HOT, at - timedelta(minutes=4))
        cast.make_label(second)
    with clock.pinned(at + timedelta(hours=1)):
        refused = _refused_charge(second, retort=retort, happened_at=at)
    assert refused.code == "time_order"
    assert "another person left" in refused.text


def _refused_charge(case: Case, **changes: Any) -> StepRefused:
    facts, signed = cast.facts_for("charge", case, **changes), cast.signers("charge", case)
    with pytest.raises(StepRefused) as caught:
        take("charge", case, facts, **signed, token=cast.token())
    return caught.value


def test_a_life_is_not_corrected_to_nonsense(case: Case, manager: StaffMember) -> None:
    cast.bring(case, "in_care")
    after_reception = case.stage_since + timedelta(minutes=1)
    born = (case.died_at + timedelta(days=1)).date()
    for field, value, code in (
        ("died_at", after_reception, "time_order"),
        ("died_at", clock.now() + timedelta(days=1), "time_future"),
        ("born_on", born, "born_after_death"),
    ):
        signed = cast.signature(manager)
        with pytest.raises(ActRefused) as caught:
            correct(case, signed, cast.token(), field, value, "misread")
        assert caught.value.code == code


def _manager(case: Case) -> Any:
    return cast.signature(cast.member(case.facility, cast.MANAGER))


def _hold_and_lift(case: Case) -> None:
    hold_acts.open_hold(case, _manager(case), cast.token(), "a call from the family")
    cleared = hold_acts.Lifting(on="cleared", reason="it was cleared up")
    hold_acts.lift_hold(case.holds.get(), _manager(case), cast.token(), cleared)


def _answer(case: Case) -> None:
    informed = {"answer": "no", "informant": "the physician"}
    clerk = cast.member(case.facility, cast.OPERATOR)
    acts.answer_devices(case, clerk, cast.token(), [{"device": "pacemaker", **informed}])


def _file(case: Case) -> None:
    clerk = cast.member(case.facility, cast.CLERK)
    day = clock.now().date()
    acts.file_document(
        case, clerk, cast.token(), kind="other", reference="R", issued_by="R", issued_on=day
    )


def _fitness(case: Case) -> None:
    retort = cast.free_retort(case)
    for is_fit in (False, True):
        state_fitness(retort, _manager(case), is_fit=is_fit, reason="door seal")


def _mass(case: Case) -> None:
    correct(case, _manager(case), cast.token(), "mass_kg", Decimal("80.000"), "weighed again")


def _house_wait(case: Case) -> None:
    house_rules.add(_manager(case), cast.token(), "wait.hours", 25)


LATER: dict[str, tuple[Callable[[Case], Any], str]] = {
    "hold": (_hold_and_lift, "the last hold was lifted"),
    "band": (cast.compare_band, "the identity band was compared"),
    "device": (_answer, "the last device question was answered"),
    "paper": (_file, "the last paper was filed"),
    "fitness": (_fitness, "the retort was stated fit for use"),
    "mass": (_mass, "the last correction of what this step rests on"),
    "label": (cast.make_label, "the label was made"),
    "house": (_house_wait, "what the house asks of the wait was last changed"),
}


@pytest.mark.parametrize("what", LATER)
def test_a_charge_is_not_dated_before_what_it_rests_on(case: Case, what: str) -> None:
    """What is recorded an hour after the stated time opened no gate at that time."""
    act, words = LATER[what]
    before("charge", case)
    stated = cast.time_of("charge", case)
    with clock.pinned(stated + timedelta(hours=1)):
        act(case)
        refused = _refused_charge(case, happened_at=stated)
        assert refused.code == "time_order"
        assert f"The time lies before {words} (Mon 4 Mar 2024 12:30 MST)." in refused.text
        cast.read(cast.free_retort(case), cast.HOT)
    with clock.pinned(stated + timedelta(hours=2)):
        facts = cast.facts_for("charge", case, happened_at=stated + timedelta(hours=1))
        assert take("charge", case, facts, **cast.signers("charge", case), token=cast.token())


def test_nobody_is_authorized_before_the_papers_were_filed(case: Case) -> None:
    cast.bring(case, "in_care")
    stated = case.stage_since + timedelta(minutes=1)
    with clock.pinned(stated + timedelta(hours=5)):
        cast.prepare("authorize", case)
        facts, signed = cast.facts_for("authorize", case, happened_at=stated), cast.signers
        with pytest.raises(StepRefused) as caught:
            take("authorize", case, facts, **signed("authorize", case), token=cast.token())
    assert caught.value.code == "time_order"


def test_no_device_is_cleared_before_the_paper_that_says_so(case: Case) -> None:
    cast.bring(case, "authorized")
    stated = cast.time_of("clear_devices", case)
    with clock.pinned(stated):
        cast.prepare("clear_devices", case)
    with clock.pinned(stated + timedelta(hours=1)):
        _file(case)
        facts = cast.facts_for("clear_devices", case, happened_at=stated)
        signed = cast.signers("clear_devices", case)
        with pytest.raises(StepRefused) as caught:
            take("clear_devices", case, facts, **signed, token=cast.token())
    assert caught.value.code == "time_order"
    assert "the last paper was filed" in caught.value.text


def test_another_rule_of_the_house_is_no_matter_for_the_wait(case: Case) -> None:
    before("charge", case)
    stated = cast.time_of("charge", case)
    with clock.pinned(stated + timedelta(minutes=10)):
        house_rules.add(_manager(case), cast.token(), "authority.child.quorum", "all")
        facts = cast.facts_for("charge", case, happened_at=stated)
        take("charge", case, facts, **cast.signers("charge", case), token=cast.token())


def test_a_step_is_of_the_moment_in_which_it_holds_the_lock(
    case: Case, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While it waits, another records something: the step comes after that, not before."""
    cast.bring(case, "in_care")
    at = cast.time_of("authorize", case)
    with clock.pinned(at):
        cast.prepare("authorize", case)
        facts, signed = cast.facts_for("authorize", case), cast.signers("authorize", case)
    present, locked = [at], taking.lock

    def waits_an_hour(case: Case) -> Case:
        found = locked(case)
        present[0] = at + timedelta(hours=1)
        return found

    monkeypatch.setattr(clock, "now", lambda: present[0])
    monkeypatch.setattr(taking, "lock", waits_an_hour)
    entry = take("authorize", case, facts, **signed, token=cast.token())
    assert entry.happened_at == entry.recorded_at == at + timedelta(hours=1)


def test_another_retort_and_another_persons_hold_are_no_matter(facility: Facility) -> None:
    other, case = cast.make_case(facility), cast.make_case(facility)
    before("charge", case)
    stated = cast.time_of("charge", case)
    with clock.pinned(stated + timedelta(minutes=10)):
        _hold_and_lift(other)
        last = facility.retorts.order_by("-pk")[0]
        assert last != cast.free_retort(case)
        for is_fit in (False, True):
            state_fitness(last, _manager(case), is_fit=is_fit, reason="door seal")
        facts = cast.facts_for("charge", case, happened_at=stated)
        take("charge", case, facts, **cast.signers("charge", case), token=cast.token())


def test_a_label_typed_within_the_minute_came_before(case: Case) -> None:
    cast.bring(case, "tagged")
    minute = cast.time_of("charge", case)
    with clock.pinned(minute + timedelta(seconds=20)):
        cast.prepare("charge", case)
    with clock.pinned(minute + timedelta(minutes=2)):
        facts = cast.facts_for("charge", case, happened_at=minute)
        entry = take("charge", case, facts, **cast.signers("charge", case), token=cast.token())
    assert entry.happened_at == case.papers.get().printed_at


def test_every_gate_that_the_record_answers_names_what_it_rests_on() -> None:
    """A gate without its sources would let a step be dated before them."""
    assert STANDS_ON.keys() <= GATES.keys()
    assert STANDS_ON.keys() >= ON_RECORD


def test_the_flame_does_not_end_as_the_person_goes_in(case: Case) -> None:
    """Without one reading since the charge nothing shows that anything burned."""
    cast.bring(case, "in_retort")
    charged = case.run.charged_at
    for minutes in (0, 14):
        stated = charged + timedelta(minutes=minutes)
        with clock.pinned(charged + timedelta(hours=3)):
            facts, signed = cast.facts_for("burner_off", case, happened_at=stated), cast.signers
            with pytest.raises(StepRefused) as caught:
                take("burner_off", case, facts, **signed("burner_off", case), token=cast.token())
            assert caught.value.codes == ["readings_cover"]
            assert "No reading was taken since the charge." in caught.value.text
    with clock.pinned(charged + timedelta(minutes=14)):
        cast.read(case.run.retort, cast.HOT)
        facts = cast.facts_for("burner_off", case)
        take("burner_off", case, facts, **cast.signers("burner_off", case), token=cast.token())
