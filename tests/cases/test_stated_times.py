"""A time stated afterwards fits what is on record: the death, the places, who was there before."""

from datetime import timedelta
from typing import Any

import pytest

from cases import acts
from cases.corrections import correct
from cases.errors import ActRefused, StepRefused
from cases.models import Case
from cases.taking import take
from crematory import clock
from crematory.models import Facility, StaffMember
from tests import cast
from tests.attempts import refusal

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
