"""What a page reads once for all gates moves none of their answers."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from cases import case_page, case_rows, corrections, hold_acts, identity, read_before, things
from cases.gates import REFUSED, Situation, Verdict, ask_all, labels
from cases.models import Case
from cases.one_machine import one_machine
from cases.steps import FINAL_STAGES, STAGES, next_step
from chain_of_custody.models import Place
from crematory import clock
from crematory.models import Facility
from retort_log import live
from retort_log.acts import record_reading
from retort_log.events import Stated, record_event
from retort_log.models import Controller
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


def _at_the_machine(case: Case) -> list[Verdict]:
    """The gates as the page of the retort asks them."""
    now = clock.now()
    here = one_machine(case.facility, case.run.retort.place.code, now)
    assert here.case is not None
    assert here.next_step is not None
    return ask_all(Situation(case=here.case, step=here.next_step, now=now, retort=here.retort))


@pytest.mark.parametrize("stage", ["in_retort", "cooling"])
def test_the_gates_answer_alike_at_the_machine(facility: Facility, stage: str) -> None:
    case = cast.bring(cast.make_case(facility), stage)
    operator = cast.signature(cast.member(facility, "O1"))
    retort = case.run.retort

    def compare() -> list[Verdict]:
        found = _at_the_machine(case)
        assert found == _asked_plainly(case)
        return found

    at = case.run.charged_at + timedelta(hours=3)
    with clock.pinned(at):
        before = compare()
        if stage == "in_retort":
            record_event(retort, Stated("interrupted", at, note="power lost"), operator)
        else:
            Place.objects.filter(facility=facility, kind="tray").update(is_in_use=False)
        after = compare()
        assert after != before
        read = (Decimal("80"), Decimal("90"))
        record_reading(retort, operator.member, *read, is_confirmed=True)
        compare()
        controller = Controller.objects.create(retort=retort, host="127.0.0.1", is_on=True)
        live.keep_answer(controller, at, {"primary degC": 9001, "secondary degC": 9001})
        compare()
        hold_acts.open_hold(case, operator, "h", "Ring missing")
        assert "no_hold" in [gate.gate for gate in compare() if gate.state == REFUSED]


def test_what_the_page_of_a_retort_read_is_not_asked_for_again(facility: Facility) -> None:
    case = cast.bring(cast.make_case(facility), "cooling")
    now = clock.now()
    here = one_machine(facility, case.run.retort.place.code, now)
    assert here.case is not None
    assert here.next_step is not None
    situation = Situation(case=here.case, step=here.next_step, now=now, retort=here.retort)
    with CaptureQueriesContext(connection) as queries:
        ask_all(situation)
    assert not queries.captured_queries
    fresh = Case.objects.get(pk=case.pk)
    for name in ("newest_read", "nothing_recorded"):
        assert name not in vars(fresh.run.retort)
    assert "now_read" not in vars(fresh.run)
    assert read_before.of(fresh) is None


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
