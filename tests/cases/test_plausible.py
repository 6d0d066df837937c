"""The mass of the remains is judged by the person, and by what the house has weighed."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from cases.models import Case
from cases.plausible import expected_for
from crematory.models import Facility, StaffMember
from tests import cast
from tests.attempts import attempt, before, refusal

pytestmark = pytest.mark.django_db

GROWN = date(1950, 5, 4)
NEEDLESS = "seen by me"


def to_process(facility: Facility, sex: str = "m", born_on: date | None = GROWN) -> Case:
    return before("process", cast.make_case(facility, sex=sex, born_on=born_on))


def weighed(facility: Facility, sex: str, born_on: date | None = GROWN) -> None:
    cast.bring(cast.make_case(facility, sex=sex, born_on=born_on), "processed")


def as_if(case: Case, **other: Any) -> Case:
    """The same case, as if something else were known; nothing is stored."""
    one = Case.objects.get(pk=case.pk)
    for name, value in other.items():
        setattr(one, name, value)
    return one


def test_sex_age_and_body_mass_are_asked(facility: Facility) -> None:
    man = to_process(facility)
    woman, unknown = expected_for(as_if(man, sex="f")), expected_for(as_if(man, sex=""))
    assert expected_for(man).expected_kg - woman.expected_kg == Decimal("1.053")
    assert "container was weighed" in woman.reasoning
    assert "sex not known" in unknown.reasoning
    assert "age not known" in expected_for(as_if(man, born_on=None)).reasoning
    child = expected_for(as_if(man, born_on=date(man.died_at.year - 6, 1, 1)))
    assert "a child: a third to three times" in child.reasoning
    light = as_if(man)
    light.delivery.mass_kg = Decimal(50)
    assert expected_for(light).expected_kg < expected_for(man).expected_kg


def test_the_houses_own_adults_of_that_sex_sharpen_the_range(
    facility: Facility, other_facility: Facility
) -> None:
    woman = to_process(facility, "f")
    alone = expected_for(woman)
    weighed(facility, "f")
    weighed(facility, "m")
    weighed(facility, "f", date(woman.died_at.year - 6, 1, 1))
    weighed(facility, "f", None)
    weighed(other_facility, "f")
    found = expected_for(woman)
    assert (alone.house_cases, found.house_cases) == (0, 1)
    assert found.highest_kg < alone.highest_kg
    assert expected_for(as_if(woman, sex="")).house_cases == 2
    read = Case.objects.select_related("delivery", "facility").get(pk=woman.pk)
    with CaptureQueriesContext(connection) as queries:
        expected_for(read)
    assert len(queries) == 1


def test_gate_and_effect_judge_alike(facility: Facility, manager: StaffMember) -> None:
    """Just below the range of a man, where an unknown person's range would still hold it."""
    man = to_process(facility)
    light = expected_for(man).lowest_kg - Decimal("0.001")
    assert expected_for(as_if(man, sex="")).holds(light)
    assert refusal("process", man, mass_kg=light).codes == ["mass_plausible"]
    accepted = {"acceptance": cast.signature(manager), "acceptance_reason": NEEDLESS}
    attempt("process", man, mass_kg=light, **accepted)
    man.refresh_from_db()
    assert man.processing.accepted_by == manager


def test_an_acceptance_that_was_not_needed_is_not_kept(
    facility: Facility, manager: StaffMember
) -> None:
    man = to_process(facility)
    accepted = {"acceptance": cast.signature(manager), "acceptance_reason": NEEDLESS}
    attempt("process", man, mass_kg=expected_for(man).lowest_kg, **accepted)
    assert man.processing.accepted_by is None
    assert man.processing.acceptance_reason == ""


@pytest.mark.parametrize(("mass", "said"), [("0.400", "a part left behind"), ("9", "or of two")])
def test_the_refusal_says_what_the_mass_may_mean(case: Case, mass: str, said: str) -> None:
    before("process", case)
    refused = refusal("process", case, mass_kg=Decimal(mass))
    assert said in str(refused)
    assert "identifies nobody" in str(refused)
