"""The cast leads a case to every stage."""

import pytest

from cases.steps import STAGES
from crematory.models import Facility
from tests.cast import bring, make_case


@pytest.mark.parametrize("stage", STAGES)
def test_it_brings_a_case_to_each_stage(facility: Facility, stage: str) -> None:
    assert bring(make_case(facility), stage).stage == stage


def test_several_cases_go_the_whole_way(facility: Facility, other_facility: Facility) -> None:
    for house in (facility, other_facility):
        for _ in range(3):
            assert bring(make_case(house), "released").stage == "released"
