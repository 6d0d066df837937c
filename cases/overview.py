"""Reading many cases at once: what waits, who is where. Each function is one or two queries.

What the pages asked for most need stands written out in `cases/overview_sql.py`.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from django.db.models import (
    BooleanField,
    F,
    Func,
    OuterRef,
    QuerySet,
    Subquery,
    prefetch_related_objects,
)

from cases import case_clocks, law, law_questions
from cases import overview_sql as sql
from cases.case_clocks import Shown
from cases.models import Case, Hold
from cases.models.case import days_of_death, years_of_life
from cases.steps import BEFORE_CHARGE, FINAL_STAGES, ORDER, STEPS, Step, next_step
from chain_of_custody.models import CustodyEntry, Place, Placement
from crematory.models import Facility
from crematory.written import moment
from retort_log import selectors
from retort_log.doubts import FRESH
from retort_log.events import LOOK_BACK, Life, lives, phase_of
from retort_log.models import Retort, Run
from retort_log.newest import Recorders, recorders_of
from retort_log.run_life import PHASE_WORDS, Phase

CLOCK_LIMIT = 200
_FINAL = ", ".join(f"'{stage}'" for stage in FINAL_STAGES)
# The index `case_open` is partial. A database uses it only where the condition stands in the
# query as it stands in the index: written out, not as parameters.
_IS_OPEN = Func(
    F("stage"), template=f"NOT (%(expressions)s IN ({_FINAL}))", output_field=BooleanField()
)


def open_cases(facility: Facility) -> QuerySet[Case]:
    """Return the persons still in the house's care, through the index of open cases."""
    return _open_cases(facility)


def _open_cases(facility: Any) -> QuerySet[Case]:
    return Case.objects.filter(_IS_OPEN, facility=facility)


def with_facility(cases: Iterable[Case], facility: Facility) -> list[Case]:
    """Return the cases as a list, each knowing its facility without asking the database."""
    found = list(cases)
    for case in found:
        case.facility = facility
    return found


class Line(NamedTuple):
    """A person in one line of a page: what a name, an address and a wait need."""

    number: str
    decedent_name: str
    years: str
    stage_since: datetime


@dataclass(frozen=True)
class Waiting:
    """The persons who wait for one step, longest wait first; `total` counts those not shown too."""

    step: Step
    stage: str
    signers: str
    persons: list[Line]
    total: int


class Open(NamedTuple):
    """An open case: its key, what it waits at, the law it stands under, whether it is on hold."""

    pk: int
    stage: str
    jurisdiction: str
    is_held: bool


def opened(facility: Facility) -> list[Open]:
    """Return the open cases, longest at their stage first. One query."""
    return list(map(Open._make, sql.OPEN(facility.pk)))


def waiting(facility: Facility, cases: Iterable[Open]) -> list[Waiting]:
    """Return the groups of persons without a hold by the step that comes next. One query."""
    by_stage: dict[str, list[int]] = {}
    for case in cases:
        if not case.is_held:
            by_stage.setdefault(case.stage, []).append(case.pk)
    shown = [pk for keys in by_stage.values() for pk in keys[: sql.GROUP_LIMIT]]
    lines = _lines(shown, facility.zone)
    return [
        Waiting(
            step,
            stage,
            signers(step),
            [lines[pk] for pk in by_stage[stage][: sql.GROUP_LIMIT]],
            len(by_stage[stage]),
        )
        for step in map(STEPS.__getitem__, ORDER)
        for stage in step.stages_from
        if stage in by_stage
    ]


def _lines(keys: list[int], zone: ZoneInfo) -> dict[int, Line]:
    found = {}
    for row in sql.lines(len(keys))(*keys) if keys else ():
        pk, number, name, born_on, died_at, latest, known_as, since = row
        days = days_of_death(moment(died_at), latest and moment(latest), known_as, zone)
        found[pk] = Line(number, name, years_of_life(born_on, *days), moment(since))
    return found


def signers(step: Step) -> str:
    """Return who signs a step: "operator, with a second person"."""
    roles = " or ".join(sorted(role.label for role in step.signers))
    return f"{roles}, with a second person" if step.witnessed else roles


def open_holds(facility: Facility) -> list[Hold]:
    """Return the holds that nobody has lifted, oldest first, with all that tells of them."""
    found = []
    for hold, case, member in sql.HOLDS(facility.pk, sql.HOLD_LIMIT):
        case.facility, hold.case, hold.opened_by = facility, case, member
        found.append(hold)
    if found:
        prefetch_related_objects(found, "notices", "case__right_holders__facts")
    return found


def pressing(facility: Facility, now: datetime) -> list[tuple[Case, Shown]]:
    """Return the terms of the law that run out within a day. One query."""
    received = CustodyEntry.objects.filter(case=OuterRef("pk"), act="receive", outcome="done")
    rows = (
        open_cases(facility)
        .filter(stage__in=BEFORE_CHARGE)
        .select_related("delivery")
        .annotate(received_at=Subquery(received.values("happened_at")[:1]))
        .only(*sql.ROW, "jurisdiction", "delivery__is_embalmed", "delivery__case")
        .order_by("stage_since")[:CLOCK_LIMIT]
    )
    rules = law.tightened(facility.jurisdiction, facility.added_rules)
    if law_questions.agreed_limit(rules) is not None:
        rows = rows.prefetch_related("agreed_times", "documents")
    return case_clocks.pressing(with_facility(rows, facility), now)[: sql.GROUP_LIMIT]


# The mark of each phase; the word is in `retort_log.run_life`.
PHASE_MARKS = {
    Phase.CLEAR: "passed",
    Phase.PREHEATING: "next",
    Phase.BURNING: "next",
    Phase.INTERRUPTED: "refused",
    Phase.FAULT_ENDED: "refused",
    Phase.COOLING: "waiting",
}


class More(NamedTuple):
    """What there is of a retort to be asked for; what is not there need not be looked for."""

    has_events: bool  # in the open run, or of late
    has_controller: bool
    has_recorded: bool  # anything that a recorder ever wrote
    has_holds: bool  # on the person inside, lifted ones too

    @property
    def is_told(self) -> bool:
        """True where there is more than the run and what hands read."""
        return self.has_events or self.has_controller or self.has_recorded


ASK_ALL = More(True, True, True, True)


@dataclass(frozen=True)
class Machine:
    """A retort with the person inside, if there is one, and its newest reading.

    `life` and `recorders` only where `with_life` read them.
    """

    retort: Retort
    run: Run | None
    reading: selectors.Standing | None
    now: datetime
    life: Life | None = None
    recorders: Recorders | None = None
    more: More = ASK_ALL

    @property
    def case(self) -> Case | None:
        """The person inside."""
        return self.run.case if self.run else None

    @property
    def next_step(self) -> Step | None:
        """The one step that comes next for the person inside."""
        return next_step(self.run.case.stage) if self.run else None

    @property
    def state(self) -> tuple[str, str]:
        """The mark and the word for what the retort is doing."""
        phase = self.phase
        if phase == Phase.CLEAR and not self.retort.is_fit:
            return ("refused", "Out of use")
        return (PHASE_MARKS[phase], PHASE_WORDS[phase])

    @property
    def phase(self) -> Phase:
        """What the retort is doing; without its events only what the run says."""
        if self.life:
            return self.life.now.phase
        if self.run is None:
            return Phase.CLEAR
        return Phase.BURNING if self.run.burner_off_at is None else Phase.COOLING

    @property
    def secondary(self) -> tuple[Decimal, datetime] | None:
        """The newest temperature of the secondary chamber in °C, by hand or recorder, and when."""
        recorded = self.recorders and self.recorders.newest.get("secondary")
        read = self.reading
        if recorded and (read is None or recorded.at >= read.at):
            return recorded.celsius, recorded.at
        return (read.secondary_c, read.at) if read else None

    @property
    def read_at(self) -> datetime | None:
        """When the secondary chamber was read last, by hand or recorder."""
        return self.secondary[1] if self.secondary else None

    @property
    def due_at(self) -> datetime | None:
        """By when the permit asks for the next reading; None where nobody burns here."""
        if self.run is None or self.run.burner_off_at:
            return None
        charged, read = self.run.charged_at, self.read_at
        every = timedelta(minutes=self.retort.permit.recording_interval_min)
        return max(charged, read or charged) + every

    @property
    def is_overdue(self) -> bool:
        """True where the next reading should have been entered by now."""
        return self.due_at is not None and self.due_at < self.now

    def changes_at(self) -> list[datetime]:
        """Return when time alone will change what is said of the readings."""
        times = (self.stale_at, self.due_at)
        return [at for at in times if at is not None and at >= self.now]

    @property
    def stale_at(self) -> datetime | None:
        """Until when a gate would accept the newest reading, or None where there is none."""
        return self.read_at + FRESH if self.read_at else None

    @property
    def is_stale(self) -> bool:
        """True where the newest reading is older than a gate would accept, or there is none."""
        return self.stale_at is None or self.stale_at < self.now


def machines(facility: Facility, now: datetime, code: str = "") -> list[Machine]:
    """Return the facility's retorts, or the one at the place with this code.

    One query, and one for the corrections where one of the newest readings was corrected.
    """
    asked = (now - LOOK_BACK, now, facility.pk)
    rows = sql.MACHINE(*asked, code) if code else sql.MACHINES(*asked)
    corrected = selectors.standing([row[6] for row in rows if row[8]])
    standing = {one.pk: one for one in corrected}
    found = []
    for retort, place, permit, run, case, disc, reading, hand, _was_corrected, *more in rows:
        retort.place, retort.permit = place, permit
        if run:
            case.facility = facility
            run.case, run.retort = case, retort  # a gate asks the run for its retort
            if disc:
                disc.case = case
        if reading:
            reading.read_by = hand
        read = reading and (standing.get(reading.pk) or selectors.Standing(reading, ()))
        found.append(Machine(retort, run, read, now, more=More._make(map(bool, more))))
    return found


def with_life(found: Iterable[Machine], now: datetime) -> list[Machine]:
    """Return the machines with their phase, events, and what recorders wrote.

    Asks for what there is alone: at most six queries, and none where each retort has a run in
    which nothing happened but steps and readings by hand.
    """
    shown = list(found)
    told = _lives(shown, now)
    written = [m.retort.pk for m in shown if m.more.has_controller or m.more.has_recorded]
    recorders = recorders_of(written, now) if written else {}
    return [
        replace(m, life=told[m.retort.pk], recorders=recorders.get(m.retort.pk, Recorders()))
        for m in shown
    ]


def _lives(shown: list[Machine], now: datetime) -> dict[int, Life]:
    runs = {m.retort.pk: m.run for m in shown if m.more.has_events}
    told = lives(runs, now) if runs else {}
    empty = [m.retort.pk for m in shown if m.run is None and m.retort.pk not in told]
    cleared = dict(sql.ended(len(empty))(now, *empty)) if empty else {}
    for machine in shown:
        if machine.retort.pk not in told:
            at = cleared.get(machine.retort.pk)
            here = phase_of(machine.run, (), at and moment(at))
            told[machine.retort.pk] = Life(here, [])
    return told


def machines_as_they_are(facility: Facility, now: datetime) -> list[Machine]:
    """Return the facility's retorts, with phase and recorders where there is more than hands."""
    found = machines(facility, now)
    return with_life(found, now) if any(m.more.is_told for m in found) else found


def next_change(found: Iterable[Machine], now: datetime) -> datetime | None:
    """Return when time alone changes what is said of these retorts, if it does.

    At once where a controller may write: its answers are in no trail.
    """
    shown = list(found)
    if any(m.recorders and m.recorders.has_controller for m in shown):
        return now
    return min((at for m in shown for at in m.changes_at()), default=None)


def places(facility: Facility) -> list[tuple[Place, Placement | None, Case | None]]:
    """Return every place with who is there since when: one query, however many places."""
    found = []
    for place, stay, case, is_held in sql.PLACES(facility.pk):
        if case:
            case.is_held = bool(is_held)
        found.append((place, stay, case))
    return found


def free_places(facility: Facility) -> list[dict[str, Any]]:
    """Return for each kind of place how many are in use and how many of those are free."""
    counted = {kind: (total, taken) for kind, total, taken in sql.COUNTED(facility.pk)}
    return [
        {
            "label": kind.label,
            "total": counted[kind][0],
            "free": counted[kind][0] - counted[kind][1],
        }
        for kind in Place.Kind
        if kind in counted
    ]
