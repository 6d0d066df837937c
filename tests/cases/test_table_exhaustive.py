"""Every pair of stage and step that the table does not list is refused, on two floors."""

import dataclasses
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest

from cases.errors import StepRefused
from cases.facts import FACTS
from cases.models import Case
from cases.steps import STAGES, STEPS, next_step, steps_from
from cases.taking import take
from chain_of_custody.models import CustodyEntry
from crematory.models import Facility
from tests import cast, raw
from tests.snapshot import picture, unchanged_but_for_refusal

MOVES = {(step.verb, a, b) for step in STEPS.values() for a, b in step.moves()}


@pytest.fixture(params=STAGES)
def stage(request: pytest.FixtureRequest) -> str:
    return request.param


def blank_facts(verb: str) -> Any:
    """Facts of the right class; what they say does not matter before the gates are asked."""
    blanks: dict[str, Any] = {"str": "", "bool": True, "Decimal": Decimal(1), "str | None": ""}
    fields = dataclasses.fields(FACTS[verb])
    return FACTS[verb](
        **{f.name: blanks.get(str(getattr(f.type, "__name__", f.type))) for f in fields}
    )


def test_the_function_refuses_what_the_table_does_not_list(facility: Facility, stage: str) -> None:
    case = cast.bring(cast.make_case(facility), stage)
    for verb in set(STEPS) - {step.verb for step in steps_from(stage)}:
        before = picture()
        with pytest.raises(StepRefused) as caught:
            take(verb, case, blank_facts(verb), **cast.signers(verb, case), token=cast.token())
        assert caught.value.codes == ["stage"]
        unchanged_but_for_refusal(before, picture())


def test_the_database_refuses_every_other_entry(facility: Facility, stage: str) -> None:
    """From each stage, an entry for each step to each stage: only those of the table go in."""
    case = cast.bring(cast.make_case(facility), stage)
    count = CustodyEntry.objects.count()
    for verb in STEPS:
        for goal in STAGES:
            if (verb, stage, goal) not in MOVES:
                with raw.refuses("no step of the table moves this way"):
                    raw.insert_entry(case, verb, stage, goal)
    assert CustodyEntry.objects.count() == count


def test_the_database_refuses_an_entry_that_leaves_another_stage(
    facility: Facility, stage: str
) -> None:
    case = cast.bring(cast.make_case(facility), stage)
    for verb, left, goal in MOVES:
        if left != stage:
            with raw.refuses("not at the stage that this step leaves"):
                raw.insert_entry(case, verb, left, goal)


def test_the_database_refuses_every_other_stage(facility: Facility, stage: str) -> None:
    """Neither with the entry that stands, nor with an older one, nor with none."""
    case = cast.bring(cast.make_case(facility), stage)
    entries = list(CustodyEntry.objects.filter(case=case).values_list("pk", flat=True))
    for goal in set(STAGES) - {stage}:
        for entry in (*entries, None):
            with raw.refuses("does not follow|only with its custody entry|not recorded|has_entry"):
                raw.set_stage(case, goal, entry)
    case.refresh_from_db()
    assert case.stage == stage


def test_the_database_accepts_what_the_table_lists(facility: Facility, stage: str) -> None:
    """The control: without it, a database that refuses everything would pass above."""
    case = cast.bring(cast.make_case(facility), stage)
    for verb, left, goal in sorted(MOVES):
        if left == stage:
            raw.insert_entry(case, verb, left, goal)
            assert CustodyEntry.objects.filter(case=case, stage_to=goal).count() == 1


def test_the_table_reads_as_one_path_with_one_road_back() -> None:
    path = ["expected"]
    while step := next_step(path[-1]):
        path.append(step.stage_to)
    assert path == [stage for stage in STAGES if stage != "returned"]
    assert {a for _, a, b in MOVES if b == "returned"} == {
        "in_care",
        "authorized",
        "cleared",
        "tagged",
    }
    assert len(MOVES) == 10 + 4


def test_no_case_begins_further_on(facility: Facility) -> None:
    model = cast.make_case(facility)
    columns: dict[str, Any] = {
        str(f.column): getattr(model, f.attname) for f in Case._meta.fields if f.column != "id"
    }
    for goal in set(STAGES) - {"expected"}:
        with raw.refuses("begins as expected|has_entry"):
            raw.insert("cases_case", **{**columns, "number": "X-1", "stage": goal})
    raw.insert("cases_case", **{**columns, "number": "X-1", "announced_at": datetime.now(UTC)})
