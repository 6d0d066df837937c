"""What was proved early is asked again at the charge: answers may have changed meanwhile."""

import pytest

from cases import acts, hold_acts
from cases.errors import ActRefused, StepRefused
from cases.facts import AuthorizeFacts
from cases.models import Case
from cases.taking import take
from crematory.models import Facility, StaffMember
from tests import cast


def charge_refusals(case: Case) -> list[str]:
    """Bring the tagged case to its charge and return the codes that refuse it."""
    with pytest.raises(StepRefused) as refused:
        cast.bring(case, "in_retort")
    return refused.value.codes


@pytest.mark.parametrize(
    ("device", "answer", "gate"),
    [
        ("pacemaker", "yes", "devices_removed"),
        ("pacemaker", "unknown", "devices_answered"),
        ("radioactive", "yes", "radionuclide_wait"),
    ],
)
def test_a_new_device_answer_stops_the_charge(
    facility: Facility, clerk: StaffMember, device: str, answer: str, gate: str
) -> None:
    case = cast.bring(cast.make_case(facility), "tagged")
    acts.answer_device(
        case, clerk, cast.token(), device=device, answer=answer, informant="her physician"
    )
    assert charge_refusals(case) == [gate]


def test_a_death_found_reportable_stops_the_charge(facility: Facility, clerk: StaffMember) -> None:
    case = cast.bring(cast.make_case(facility), "tagged")
    acts.settle(case, clerk, cast.token(), is_death_reportable=True)
    assert charge_refusals(case) == ["medical_clearance"]


def test_an_objection_stops_the_charge_until_a_manager_records_what_settled_it(
    facility: Facility, clerk: StaffMember, manager: StaffMember
) -> None:
    case = cast.bring(cast.make_case(facility), "tagged")
    son = cast.says(case, clerk, "Ben Example", "objects")
    assert set(charge_refusals(case)) == {"no_hold", "authorizing_agent", "no_dispute"}
    with pytest.raises(ActRefused, match="manager"):
        cast.speaks(son, clerk, "settled")
    with pytest.raises(ActRefused) as caught:
        cast.speaks(son, manager, "signed")
    assert caught.value.code == "objection_stands"
    cast.speaks(son, manager, "settled")
    assert set(charge_refusals(case)) == {"no_hold", "authorizing_agent"}
    hold_acts.lift_hold(
        case.holds.get(),
        cast.signature(manager),
        cast.token(),
        hold_acts.Lifting(
            on="order", reason="the court has decided", document=case.documents.latest("pk")
        ),
    )
    assert set(charge_refusals(case)) == {"authorizing_agent"}
    cast.speaks(son, clerk, "signed")
    assert cast.bring(case, "in_retort").stage == "in_retort"


def test_a_settled_objection_is_no_signature(
    facility: Facility, clerk: StaffMember, manager: StaffMember
) -> None:
    case = cast.bring(cast.make_case(facility), "in_care")
    son = cast.says(case, clerk, "Ben Example", "objects")
    cast.speaks(son, manager, "settled")
    with pytest.raises(StepRefused) as refused:
        take(
            "authorize",
            case,
            AuthorizeFacts(),
            signed_by=cast.signature(clerk),
            token=cast.token(),
        )
    assert "authorizing_agent" in refused.value.codes
    assert "no_dispute" not in refused.value.codes
