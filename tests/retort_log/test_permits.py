"""A permit is stated by a manager; its rules stay in the unit of their text."""

from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from chain_of_custody import trail
from chain_of_custody.models import CustodyEntry
from chain_of_custody.verify import verify
from crematory.models import StaffMember
from retort_log.models import PermitToOperate
from retort_log.permit_profiles import profile
from retort_log.permit_terms import to_terms
from retort_log.permits import PermitRefused, Stated, rules_of, state
from tests import cast

pytestmark = pytest.mark.django_db


def limit(value: str, unit: str) -> dict[str, str]:
    return {"value": value, "unit": unit, "citation": "Permit, condition 4", "mark": "house"}


TERMS: dict[str, Any] = {
    "code": "own",
    "title": "Permit of the house",
    "secondary_minimum": limit("1600", "degF"),
    "charging": {"chamber": "secondary", **limit("1500", "degF")},
    "recording_interval": limit("10", "minute"),
}
STATED = Stated("AIR-7", "Permit AIR-7, read 2 March 2026", date(2030, 1, 1), TERMS)


def test_a_permit_that_was_never_stated_has_its_two_columns(permit: PermitToOperate) -> None:
    rules = rules_of(permit)
    assert rules.charging is not None
    assert (rules.charging.value, rules.charging.unit) == (Decimal("871.11"), "degC")
    assert rules.recording_interval is not None
    assert rules.secondary_minimum is None  # not stated is not judged


def test_a_manager_states_it_and_the_trail_holds_old_and_new(
    permit: PermitToOperate, manager: StaffMember
) -> None:
    state(permit, cast.signature(manager), STATED)
    permit.refresh_from_db()
    assert permit.charging_temperature_c == Decimal("815.56")
    assert (permit.recording_interval_min, permit.number) == (10, "AIR-7")
    assert rules_of(permit).secondary_minimum.value == 1600  # type: ignore[union-attr]
    entry = CustodyEntry.objects.get(act="permit")
    facts = trail.facts_of(entry)
    assert (facts["old_recording_interval_min"], facts["new_recording_interval_min"]) == (15, 10)
    assert verify(permit.facility).holds


def test_a_published_profile_serves_once_its_own_figures_are_added(
    permit: PermitToOperate, manager: StaffMember
) -> None:
    terms = to_terms(profile("us-ny-2020"))
    with pytest.raises(PermitRefused, match="how often is recorded"):
        state(permit, cast.signature(manager), replace(STATED, terms=terms))
    own = {key: TERMS[key] for key in ("charging", "recording_interval")}
    state(permit, cast.signature(manager), replace(STATED, terms={**terms, **own}))
    permit.refresh_from_db()
    assert rules_of(permit).averaging_min == 60


@pytest.mark.parametrize(
    ("key", "change", "code"),
    [
        (cast.OPERATOR, {}, "role"),
        (cast.MANAGER, {"number": " "}, "permit_source"),
        (cast.MANAGER, {"source": ""}, "permit_source"),
        (cast.MANAGER, {"terms": {**TERMS, "nonsense": 1}}, "permit_terms"),
        (
            cast.MANAGER,
            {"terms": {**TERMS, "secondary_minimum": limit("hot", "degF")}},
            "permit_terms",
        ),
    ],
)
def test_refused_with_all_that_is_wrong_and_recorded(
    permit: PermitToOperate, key: str, change: dict[str, Any], code: str
) -> None:
    signed = cast.signature(cast.member(permit.facility, key))
    with pytest.raises(PermitRefused) as refused:
        state(permit, signed, replace(STATED, **change))
    assert refused.value.code == code
    assert str(refused.value)
    assert CustodyEntry.objects.get(act="permit").outcome == "refused"
