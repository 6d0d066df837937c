"""Taking a retort out of use: a manager's act, which a form opened earlier cannot overlook."""

import pytest

from cases.gates import GATES, REFUSED, Situation
from cases.steps import STEPS
from chain_of_custody.models import CustodyEntry
from crematory import clock
from crematory.models import Facility
from retort_log.fitness import FitnessRefused, state_fitness
from retort_log.models import Retort
from tests import cast


def test_a_manager_states_it_with_a_reason(facility: Facility) -> None:
    retort = Retort.objects.filter(facility=facility)[0]
    manager = cast.signature(cast.member(facility, cast.MANAGER))
    entry = state_fitness(retort, manager, is_fit=False, reason="door seal torn")
    retort.refresh_from_db()
    assert (retort.is_fit, retort.unfit_reason) == (False, "door seal torn")
    assert (entry.act, entry.signed_by) == ("state_fitness", manager.member)
    state_fitness(retort, manager, is_fit=True, reason="seal replaced")
    retort.refresh_from_db()
    assert (retort.is_fit, retort.unfit_reason) == (True, "")


@pytest.mark.parametrize(("code", "reason"), [(cast.OPERATOR, "seal"), (cast.MANAGER, " ")])
def test_refused_without_role_or_reason(facility: Facility, code: str, reason: str) -> None:
    retort = Retort.objects.filter(facility=facility)[0]
    signed_by = cast.signature(cast.member(facility, code))
    with pytest.raises(FitnessRefused):
        state_fitness(retort, signed_by, is_fit=False, reason=reason)
    entry = CustodyEntry.objects.get()
    assert (entry.act, entry.outcome, entry.case) == ("state_fitness", "refused", None)
    assert entry.signed_by == signed_by.member
    assert ("role" if reason.strip() else "reason_missing") in entry.payload
    assert Retort.objects.get(pk=retort.pk).is_fit


def test_charge_sees_it_also_through_a_retort_that_was_loaded_before(facility: Facility) -> None:
    case = cast.make_case(facility)
    shown = Retort.objects.filter(facility=facility)[0]
    manager = cast.signature(cast.member(facility, cast.MANAGER))
    state_fitness(Retort.objects.get(pk=shown.pk), manager, is_fit=False, reason="door seal torn")
    situation = Situation(case=case, step=STEPS["charge"], now=clock.now(), retort=shown)
    verdict = GATES["retort_fit"](situation)
    assert (verdict.state, "door seal torn" in verdict.reason) == (REFUSED, True)
