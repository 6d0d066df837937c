"""What a page reads once for all gates moves none of their answers."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from cases import case_page, case_rows, corrections, identity, read_before, things
from cases.gates import Situation, Verdict, ask_all, labels
from cases.models import Case
from cases.steps import FINAL_STAGES, STAGES, next_step
from chain_of_custody.models import Place
from crematory import clock
from crematory.models import Facility
from tests import cast

pytestmark = pytest.mark.django_db
OPEN = [stage for stage in STAGES if stage not in FINAL_STAGES]


def _on_the_page(case: Case) -> list[Verdict]:
    found = case_rows.case_of(case.facility, case.number)
    member = cast.member(case.facility, "M1")
    gates: list[Verdict] = case_page.case_page(found, clock.now(), member)["gates"]
    return gates


def _asked_plainly(case: Case) -> list[Verdict]:
    found = Case.objects.get(pk=case.pk)
    step = next_step(found.stage)
    assert step is not None
    return ask_all(Situation(case=found, step=step, now=clock.now()))


def _correct(case: Case, name: str, value: str) -> None:
    manager = cast.signature(cast.member(case.facility, "M1"))
    corrections.correct(case, manager, cast.token(), name, value, "misspelt")


@pytest.mark.parametrize("stage", OPEN)
def test_the_gates_answer_alike(facility: Facility, stage: str) -> None:
    case = cast.bring(cast.make_case(facility), stage)
    with clock.pinned(clock.now()):
        assert _on_the_page(case) == _asked_plainly(case)
        _correct(case, "decedent_name", "Adah Example")  # the band; the labels
        assert _on_the_page(case) == _asked_plainly(case)
        if stage != "expected":
            _correct(case, "belongings", "a watch")  # the list is to be closed anew
        Place.objects.filter(facility=facility).update(is_in_use=False)  # no place is free
        assert _on_the_page(case) == _asked_plainly(case)


@pytest.mark.parametrize("stage", ["tagged", "processed", "contained"])
def test_what_was_read_is_what_the_queries_of_the_gates_find(
    facility: Facility, stage: str
) -> None:
    case = cast.bring(cast.make_case(facility), stage)
    cast.make_label(case)
    _correct(case, "decedent_name", "Adah Example")
    cast.make_label(case)
    page = case_rows.case_of(facility, case.number)
    superseded = frozenset(paper.number for paper, _, is_old in case_rows.printed(page) if is_old)
    read_before.read(page, superseded, labels=True, places=True)
    fixed = labels.on_containers(case)
    everything = [paper.number for paper in case.papers.all()]
    with CaptureQueriesContext(connection) as queries:
        found = (
            identity.uncompared(page),
            things.is_looked_for(page),
            labels.on_containers(page),
            labels.superseded(page, everything),
            [_of_label(label) for label in vars(page)["labels_read"]],
        )
    assert not queries.captured_queries
    assert found == (
        identity.uncompared(case),
        things.is_looked_for(case),
        fixed,
        labels.superseded(case, everything),
        [_of_label(label) for label in labels.LABELS.filter(case=case)],
    )
    assert labels.superseded(case, everything)
    assert read_before.of(case) is None


def _of_label(label: labels.Paper) -> tuple[object, ...]:
    return (label.number, label.facts, vars(label)["is_burnt"], hasattr(label, "superseded"))


def test_which_kinds_of_place_are_free(facility: Facility) -> None:
    case = case_rows.case_of(facility, cast.make_case(facility).number)
    taken = cast.free_place(case, Place.Kind.BAY)
    Place.objects.filter(facility=facility, kind=taken.kind).exclude(pk=taken.pk).update(
        is_in_use=False
    )
    Place.objects.filter(facility=facility, kind=Place.Kind.TRAY).update(is_in_use=False)

    def free() -> frozenset[str]:
        read_before.read(case, frozenset(), labels=False, places=True)
        found = read_before.of(case)
        assert found is not None
        return found.free & {Place.Kind.BAY, Place.Kind.TRAY}

    assert free() == {Place.Kind.BAY}
    cast.do("receive", cast.make_case(facility), place=taken)
    assert not free()
