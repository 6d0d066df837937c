"""Who may sign and witness a step."""

import pytest

from cases.models import Case
from cases.steps import FRONT_OFFICE, STEPS
from chain_of_custody.models import CustodyEntry
from crematory.models import Facility, StaffMember
from tests import cast
from tests.attempts import ALONE, VERBS, WITNESSED, attempt, before, refusal


@pytest.mark.parametrize("verb", VERBS)
@pytest.mark.parametrize("key", [cast.CLERK, cast.OPERATOR, cast.MANAGER])
def test_only_the_roles_of_the_table_sign(case: Case, verb: str, key: str) -> None:
    before(verb, case)
    member = cast.member(case.facility, key)
    if member.roles & STEPS[verb].signers:
        assert attempt(verb, case, signed_by=cast.signature(member)).signed_by == member
    else:
        assert refusal(verb, case, signed_by=cast.signature(member)).codes == ["role"]


@pytest.mark.parametrize("verb", WITNESSED)
def test_a_witnessed_step_needs_a_witness(case: Case, verb: str) -> None:
    assert refusal(verb, before(verb, case), witness=None).codes == ["witness_missing"]


@pytest.mark.parametrize("verb", WITNESSED)
def test_the_witness_is_another_person(case: Case, verb: str) -> None:
    before(verb, case)
    same = cast.signers(verb, case)["signed_by"]
    assert refusal(verb, case, witness=same).codes == ["witness_same"]


@pytest.mark.parametrize("verb", WITNESSED)
def test_the_witness_is_of_this_house(case: Case, verb: str, other_operator: StaffMember) -> None:
    before(verb, case)
    assert refusal(verb, case, witness=cast.signature(other_operator)).codes == ["member"]


@pytest.mark.parametrize("verb", WITNESSED)
def test_any_role_may_witness(case: Case, verb: str, manager: StaffMember) -> None:
    entry = attempt(verb, before(verb, case), witness=cast.signature(manager))
    assert entry.witness == manager


@pytest.mark.parametrize("verb", ALONE)
def test_a_witness_that_nobody_asked_for_is_not_recorded(
    case: Case, verb: str, manager: StaffMember
) -> None:
    assert attempt(verb, before(verb, case), witness=cast.signature(manager)).witness is None


@pytest.mark.parametrize("verb", VERBS)
def test_a_signer_from_elsewhere_is_refused(
    case: Case, verb: str, other_facility: Facility
) -> None:
    before(verb, case)
    key = cast.CLERK if FRONT_OFFICE in STEPS[verb].signers else cast.OPERATOR
    theirs = cast.member(other_facility, key)
    assert refusal(verb, case, signed_by=cast.signature(theirs)).codes == ["member"]
    assert CustodyEntry.objects.order_by("-pk")[0].signed_by is None


def test_a_member_who_left_after_signing_is_refused(case: Case) -> None:
    signed = cast.signers("receive", case)
    StaffMember.objects.filter(pk=signed["witness"].member.pk).update(is_active=False)
    assert refusal("receive", case, **signed).codes == ["member"]
    StaffMember.objects.update(is_active=True)
    StaffMember.objects.filter(pk=signed["signed_by"].member.pk).update(is_active=False)
    assert refusal("receive", case, **signed).codes == ["member"]
