"""The queries that stand written out answer as the framework's own would."""

from contextlib import suppress
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db.models import Count, Model

from cases import hold_acts, overview
from cases.models import Case, Hold, IdDisc
from cases.steps import FINAL_STAGES, STEPS
from chain_of_custody.models import Place, Placement
from crematory import clock
from crematory.models import Facility
from retort_log import live
from retort_log.acts import record_reading
from retort_log.corrections import RightValues, correct_reading
from retort_log.events import EventRefused, Stated, lives, record_event
from retort_log.models import Controller, Reading, Retort, Run
from retort_log.newest import recorders_of
from retort_log.selectors import newest_of_each, standing
from tests import cast

pytestmark = pytest.mark.django_db
STAGES = ("released", "contained", "in_care", "expected", "tagged", "cooling", "in_retort")


@pytest.fixture
def house(facility: Facility, other_facility: Facility) -> Facility:
    """Somebody at several stages, one on hold, one on hold no more; and another house."""
    for stage in STAGES:
        cast.bring(cast.make_case(facility), stage)
    for _ in range(7):
        cast.make_case(facility)
    for key, (lifted, case) in enumerate([(False, 0), (True, 1)]):
        held = Case.objects.filter(facility=facility, stage="expected").order_by("pk")[case]
        operator = cast.signature(cast.member(facility, "O1"))
        hold_acts.open_hold(held, operator, f"h{key}", "Ring missing")
        if lifted:
            manager = cast.signature(cast.member(facility, "M1"))
            found = hold_acts.Lifting(on="cleared", reason="Ring found")
            hold_acts.lift_hold(held.holds.get(), manager, f"l{key}", found)
    cast.bring(cast.make_case(other_facility), "in_retort")
    return facility


def values(row: Model | None) -> dict[str, Any] | None:
    return (
        None
        if row is None
        else {f.attname: getattr(row, f.attname) for f in row._meta.concrete_fields}
    )


def test_who_waits(house: Facility) -> None:
    held = Hold.objects.filter(lifted_at__isnull=True).values("case")
    waits = Case.objects.filter(facility=house).exclude(stage__in=FINAL_STAGES)
    waits = waits.exclude(pk__in=held).order_by("stage_since", "pk")
    groups = overview.waiting(house, overview.opened(house))
    assert [group.stage for group in groups] == [
        "expected", "in_care", "tagged", "in_retort", "cooling", "contained",
    ]  # fmt: skip
    for group in groups:
        rows = list(waits.filter(stage=group.stage))
        assert group.step is next(s for s in STEPS.values() if group.stage in s.stages_from)
        assert group.total == len(rows)
        assert [tuple(line) for line in group.persons] == [
            (case.number, case.decedent_name, case.years, case.stage_since) for case in rows[:5]
        ]
    assert groups[0].total == 7


def test_who_is_on_hold(house: Facility) -> None:
    [hold] = overview.open_holds(house)
    plain = Hold.objects.select_related("case", "opened_by").get(lifted_at__isnull=True)
    assert hold.pk == plain.pk
    for name in ("kind", "raised_by", "ground", "opened_at", "lifted_at"):
        assert getattr(hold, name) == getattr(plain, name)
    assert (hold.case.number, hold.case.sender) == (plain.case.number, plain.case.sender)
    assert hold.case.years == plain.case.years
    assert hold.opened_by.printed_name == plain.opened_by.printed_name


def test_the_machines(house: Facility) -> None:
    """A newest reading that was corrected, and one that was withdrawn, in the way they stand."""
    manager = cast.signature(cast.member(house, "M1"))
    one, two = Retort.objects.filter(facility=house).order_by("name")
    operator = cast.member(house, "O1")
    for retort, right in ((one, None), (two, RightValues(Decimal("600"), Decimal("850")))):
        record_reading(retort, operator, Decimal("640"), Decimal("870"))
        newest = Reading.objects.filter(retort=retort).latest("at")
        correct_reading(newest, manager, "misread", right)
    now = clock.now() + timedelta(minutes=1)
    machines = overview.machines(house, now)
    plain = Retort.objects.filter(facility=house).annotate(newest=newest_of_each(now))
    assert [m.retort.pk for m in machines] == [r.pk for r in plain.order_by("name")]
    for machine, retort in zip(machines, plain.order_by("name"), strict=True):
        run = Run.objects.filter(retort=retort, ended_at__isnull=True).first()
        assert run is not None
        assert values(machine.retort) == values(retort)
        assert values(machine.retort.place) == values(retort.place)
        assert values(machine.retort.permit) == values(retort.permit)
        assert values(machine.run) == values(run)
        assert values(machine.case) == values(run.case)
        assert machine.case is not None
        assert values(machine.case.disc) == values(IdDisc.objects.get(case=run.case))
        [read] = standing(Reading.objects.filter(pk=retort.newest))
        assert machine.reading is not None
        assert values(machine.reading.reading) == values(read.reading)
        assert machine.reading.corrections == read.corrections
        assert machine.reading.secondary_c == read.secondary_c
        [alone] = overview.machines(house, now, machine.retort.place.code)
        assert values(alone.run) == values(run)
    assert machines[1].reading is not None
    assert machines[1].reading.corrections
    assert not overview.machines(house, now, "no-such-place")


def _as_of_all(facility: Facility) -> None:
    """With and without what is there: phase, events and recorders are the same."""
    now = clock.now() + timedelta(minutes=1)
    machines = overview.with_life(overview.machines(facility, now), now)
    told = lives({m.retort.pk: m.run for m in machines}, now)
    written = recorders_of(told, now)
    for machine in machines:
        assert machine.life == told[machine.retort.pk]
        assert machine.recorders == written[machine.retort.pk]


@pytest.mark.parametrize("stage", ["tagged", "in_retort", "cooling", "recovered"])
def test_the_life_of_the_machines(facility: Facility, case: Case, stage: str) -> None:
    cast.bring(case, stage)
    [retort, other] = Retort.objects.filter(facility=facility).order_by("pk")
    _as_of_all(facility)
    operator = cast.member(facility, "O1")
    with clock.pinned(clock.now() + timedelta(seconds=1)):
        for one, kind in ((retort, "door_opened"), (other, "preheat_begun")):
            with suppress(EventRefused):
                record_event(one, Stated(kind, clock.now()), operator)
        _as_of_all(facility)
        with clock.pinned(clock.now() + timedelta(days=3)):  # an event of a run that is still open
            _as_of_all(facility)
        controller = Controller.objects.create(retort=other, host="127.0.0.1", is_on=True)
        _as_of_all(facility)
        live.keep_answer(controller, clock.now(), {"secondary degC": 9001})
        _as_of_all(facility)


def test_what_there_is_to_be_asked_for(facility: Facility, case: Case) -> None:
    cast.bring(case, "in_retort")

    def more() -> overview.More:
        found = overview.machines(facility, clock.now(), case.run.retort.place.code)
        return found[0].more

    assert more() == (False, False, False, False)
    stated = Stated("door_opened", clock.now())
    record_event(case.run.retort, stated, cast.member(facility, "O1"))
    assert more() == (True, False, False, False)
    controller = Controller.objects.create(retort=case.run.retort, host="127.0.0.1")
    assert more() == (True, True, False, False)
    live.keep_answer(controller, clock.now(), {"secondary degC": 9001})
    assert more() == (True, True, True, False)
    hold_acts.open_hold(case, cast.signature(cast.member(facility, "O1")), "h", "Ring missing")
    assert more() == (True, True, True, True)


def test_a_machine_of_which_nothing_is_known(facility: Facility) -> None:
    for machine in overview.machines(facility, clock.now()):
        assert (machine.run, machine.case, machine.reading) == (None, None, None)


def test_a_reading_to_come_is_not_the_newest(house: Facility) -> None:
    first = Reading.objects.filter(retort__facility=house).earliest("at")
    [machine] = overview.machines(house, first.at, first.retort.place.code)
    assert machine.reading is not None
    assert machine.reading.pk == first.pk


def test_the_places(house: Facility) -> None:
    stays = {s.place_id: s for s in Placement.objects.filter(until__isnull=True)}
    plain = Place.objects.filter(facility=house).order_by("kind", "area", "code")
    found = overview.places(house)
    assert [place.pk for place, *_ in found] == [place.pk for place in plain]
    for place, stay, case in found:
        assert (stay is None) == (case is None) == (place.pk not in stays)
        if stay and case:
            assert stay.since == stays[place.pk].since
            assert case.number == stays[place.pk].case.number
            assert case.stage == stays[place.pk].case.stage


def test_what_is_free(house: Facility) -> None:
    Place.objects.filter(pk=Place.objects.filter(facility=house, kind="tray")[0].pk).update(
        is_in_use=False
    )
    usable = Place.objects.filter(facility=house, is_in_use=True)
    taken = usable.filter(placements__until__isnull=True, placements__isnull=False)
    all_of, full_of = (
        dict(rows.values_list("kind").annotate(n=Count("pk")).order_by())
        for rows in (usable, taken)
    )
    assert overview.free_places(house) == [
        {
            "label": kind.label,
            "total": all_of[kind],
            "free": all_of[kind] - full_of.get(kind, 0),
        }
        for kind in Place.Kind
    ]
