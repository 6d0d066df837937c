"""One person's way past the machine: preheat, burning, cooling, and what went wrong there."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime, time, timedelta
from functools import partial
from typing import TYPE_CHECKING

from cases import hold_acts, house_rules
from cases.demo import logger, machines, scans
from cases.demo.hands import celsius
from cases.demo.statements import SLIPS, STATEMENTS
from cases.models import Hold
from crematory import clock
from retort_log import events, settling, upkeep
from retort_log.acts import record_reading
from retort_log.fitness import state_fitness
from retort_log.models import Run
from retort_log.upkeep_due import Every

if TYPE_CHECKING:
    from cases.demo.life import Life

Times = Iterator[datetime]
Doing = tuple[int, Callable[[], object]]
# Opacity as somebody who is certified reads it, in per cent, every 15 seconds for six minutes.
SMOKE = (0, 5, 10, 15, 20, 25, 25, 20, 20, 15, 15, 10, 10, 5, 5, 5, 5, 0, 0, 0, 0, 0, 0, 0)
POWER = "The power of the whole street failed; the burners went out."
BURNER = "The secondary burner went out and would not light; its flame rod was cleaned."
# The manager's answers to what is found on a run, by what went wrong in it.
ANSWERS = {
    "dip": "The secondary burner went out; the flame rod was cleaned and it was lit again. The "
    "primary burner was turned down meanwhile, no smoke was seen. Reported to the authority.",
    "gap": "The recorder's paper feed jammed and it wrote nothing. The operator stood at the "
    "panel, no alarm came. The recorder was repaired; reported to the authority.",
}
EXCHANGED = (
    "Both persons were weighed again, each with the disc on the tray read aloud: the two slips "
    "of the scale had been exchanged. The remains were never mixed."
)


def preheat(life: Life) -> Times:
    """Heat the retort, and be refused the charge where `people.toml` says so."""
    course, slips = life.course, life.person.slips
    if "permitted_hours" in slips:
        yield _closed_hour(life)
        _refused_charge(life, "permitted_hours")
    life.at = life.moments.charge
    if "papers_at_charge" in slips:
        yield life.minute(-70)
        _asked_for_more(life)
    if "retort_fit" in slips:
        yield from _out_of_use(life)
    if "upkeep_current" in slips:
        yield from _overdue(life)
    begun = course.events["preheat_begun"]
    yield life.minute(begun)
    _event(life, "preheat_begun")
    yield from _read(life, begun, course.preheat_too_cold)
    if "charging_temperature" in slips:
        yield life.minute(course.preheat_too_cold)
        _refused_charge(life, "charging_temperature")
    yield from _read(life, course.preheat_too_cold, 0)


def burn(life: Life) -> Times:
    """Let the person burn: readings and events in their order, up to burner off."""
    course, run = life.course, life.person.run
    late = course.entered_late if "readings_cover" in life.person.slips else ()
    doings = _events(life) + _readings(life, 0, course.burner_off, late)
    if life.is_logged and life.person.charged_minutes_ago:
        doings.append((course.looked_in, partial(logger.take, life, course.looked_in)))
    yield from _in_order(life, doings)
    life.at = life.minute(course.burner_off)
    if life.is_logged:
        yield life.at
        logger.take(life, course.burner_off)
    if late:
        yield life.at
        life.refused("burner_off", STATEMENTS["burner_off"](life), "readings_cover")
        yield life.after(2)
        for minute, primary, secondary in course.between(late[0], late[-1] + 1):
            _record(life, minute, primary, secondary, at=life.minute(minute))
    if run == "gap":
        yield life.after(1)
        life.refused("burner_off", STATEMENTS["burner_off"](life), "readings_cover")
        yield life.after(5)
        settle(life)


def cool(life: Life) -> Times:
    """Wait until the chamber is cool enough to be swept."""
    course = life.course
    yield from _read(life, course.burner_off, course.too_hot)
    if "cool_enough" in life.person.slips:
        yield life.minute(course.too_hot)
        life.refused("recover", STATEMENTS["recover"](life), "cool_enough")
    yield from _read(life, course.too_hot, course.recovered)
    if life.person.lost_disc:
        life.new_disc = life.hands.next_disc()
        life.photograph = scans.photograph(life)
    life.at = life.minute(course.recovered)


def rest(life: Life) -> Times:
    """Wait on the tray; settle what was found on the run, and what the scale said wrongly."""
    person = life.person
    is_waiting = person.until == "recovered"
    yield life.after(person.rests)
    if person.run in ANSWERS and not is_waiting and _open(life):
        life.refused("process", STATEMENTS["process"](life), "findings_settled")
        yield life.after(45)
        settle(life)
    if person.weighed_kg:
        yield from _weighed_wrongly(life, is_waiting)


def settle(life: Life) -> None:
    """Let the manager answer everything on this run that is open and no longer grows."""
    run = Run.objects.get(case=life.case)
    for found in _open(life):
        settling.settle(run, found.digest, life.hands["MG1"], ANSWERS[life.person.run])


def _open(life: Life) -> list[settling.Found]:
    run = Run.objects.get(case=life.case)
    return [found for found in settling.open_of(run, clock.now()) if not found.is_growing]


def _weighed_wrongly(life: Life, is_waiting: bool) -> Times:
    """The slip of another person's tray was read: refused, held, and explained by a manager."""
    facts = SLIPS["mass_plausible"](life, STATEMENTS["process"](life))
    life.refused("process", facts, "mass_plausible")
    yield life.after(3)
    ground = f"Weighed {life.person.weighed_kg} kg: not of this person. Were two trays exchanged?"
    hold_acts.open_hold(life.case, life.hands[life.operator()], life.hands.token(), ground=ground)
    if is_waiting:
        return
    yield life.after(40)
    hold = Hold.objects.get(case=life.case)
    lifting = hold_acts.Lifting(on="cleared", reason=EXCHANGED)
    hold_acts.lift_hold(hold, life.hands["MG1"], life.hands.token(), lifting)
    yield life.after(3)


def _refused_charge(life: Life, gate: str) -> None:
    life.refused("charge", STATEMENTS["charge"](life), gate)


def _closed_hour(life: Life) -> datetime:
    """Return the last time before the charge at which the permit allows none."""
    zone = life.hands.facility.zone
    start, end = machines.closed(life.moments.now.astimezone(zone).time())
    middle = timedelta(hours=((end.hour - start.hour) % 24) / 2)
    day = life.moments.charge.astimezone(zone).date()
    found = datetime.combine(day, time(start.hour, start.minute), zone) + middle
    return found if found < life.minute(-80) else found - timedelta(days=1)


def _asked_for_more(life: Life) -> None:
    """The manager lets the house ask for one more paper, and takes it back at once."""
    manager, token = life.hands["MG1"], life.hands.token
    house_rules.add(manager, token(), "document.add", ["identification"])
    _refused_charge(life, "papers_at_charge")
    house_rules.take_back(manager, token(), "document.add")


def _out_of_use(life: Life) -> Times:
    manager = life.hands["MG1"]
    yield life.minute(-50)
    state_fitness(life.retort, manager, is_fit=False, reason="door seal torn")
    yield life.minute(-45)
    _refused_charge(life, "retort_fit")
    yield life.minute(-34)
    reason = "door seal replaced and seen tight"
    state_fitness(life.retort, manager, is_fit=True, reason=reason)


def _overdue(life: Life) -> Times:
    """The inspection is due every week from now on; the last one is older, and is made then."""
    yield life.minute(-55)
    source = "Permit AQ-0000 (invented), condition 9, as the authority reads it: every week"
    asked = upkeep.Asked("inspection", Every(days=7), source, blocks=True)
    upkeep.ask(life.retort, life.hands["MG1"], asked)
    yield life.minute(-50)
    _refused_charge(life, "upkeep_current")
    yield life.minute(-36)
    operator = life.hands[life.operator()]
    note = "Door, seals, burners, hearth, and both thermocouples seen; in order."
    done = upkeep.Done("inspection", clock.now(), operator.member.printed_name, note=note)
    upkeep.record_done(life.retort, operator, done)


def _in_order(life: Life, doings: list[Doing]) -> Times:
    for minute, do in sorted(doings, key=lambda doing: doing[0]):
        yield life.minute(minute)
        do()


def _events(life: Life) -> list[Doing]:
    """What happens in every run, and what goes wrong in this one."""
    at, run = life.course.events, life.person.run
    kinds = [(kind, at[kind], "") for kind in ("burner_lit", "door_opened", "repositioned")]
    if run == "power_cut":
        kinds += [("interrupted", at["interrupted"], POWER), ("resumed", at["resumed"], "")]
    if run == "dip":
        kinds.append(("fault", at["fault"], BURNER))
    doings: list[Doing] = [(m, partial(_event, life, kind, note)) for kind, m, note in kinds]
    if run == "smoke":
        doings.append((at["smoke_read"], partial(_smoke, life)))
    if "not_interrupted" in life.person.slips:
        facts = STATEMENTS["burner_off"](life)
        tried = partial(life.refused, "burner_off", facts, "not_interrupted")
        doings.append((at["interrupted"] + 2, tried))
    return doings


def _smoke(life: Life) -> None:
    note = "Grey smoke at the stack after the charge; combustion air turned up, clear again."
    _event(life, "visible_emission", note, clock.now() - timedelta(minutes=6), SMOKE)


def _event(
    life: Life,
    kind: str,
    note: str = "",
    at: datetime | None = None,
    opacity: tuple[int, ...] = (),
) -> None:
    operator = life.hands[life.operator()]
    is_signed = kind in {"interrupted", "resumed"}
    stated = events.Stated(kind, at or clock.now(), note, opacity, life.hands.token())
    events.record_event(life.retort, stated, operator if is_signed else operator.member)


def _readings(life: Life, start: int, end: int, skip: tuple[int, ...] = ()) -> list[Doing]:
    """The readings by hand; beside a logger only the last ones before a step are read."""
    course = life.course
    return [
        (minute, partial(_record, life, minute, primary, secondary))
        for minute, primary, secondary in course.between(start, end)
        if minute not in skip and (not life.is_logged or minute in course.beside_logger)
    ]


def _read(life: Life, start: int, end: int) -> Times:
    yield from _in_order(life, _readings(life, start, end))


def _record(
    life: Life, minute: int, primary: int, secondary: int, at: datetime | None = None
) -> None:
    record_reading(
        life.retort,
        life.hands.member(life.operator()),
        celsius(primary, life.index, minute),
        celsius(secondary, life.index, minute),
        at,
    )
