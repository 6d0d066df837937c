"""Reading many cases at once: what waits, who is where. Each function is one or two queries."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import (
    BooleanField,
    Count,
    Exists,
    F,
    FilteredRelation,
    Func,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Window,
)
from django.db.models.functions import RowNumber

from cases import case_clocks, law, law_questions
from cases.case_clocks import Shown
from cases.models import Case, Hold
from cases.steps import BEFORE_CHARGE, FINAL_STAGES, ORDER, STEPS, Step, next_step
from chain_of_custody.models import CustodyEntry, Place
from crematory.models import Facility
from retort_log import selectors
from retort_log.doubts import FRESH
from retort_log.models import Reading, Retort, Run

# Of each group as many as fit a tablet's screen beside the others; the list has them all.
GROUP_LIMIT, HOLD_LIMIT, CLOCK_LIMIT = 5, 20, 200
_FINAL = ", ".join(f"'{stage}'" for stage in FINAL_STAGES)
# The index `case_open` is partial. A database uses it only where the condition stands in the
# query as it stands in the index: written out, not as parameters.
_IS_OPEN = Func(
    F("stage"), template=f"NOT (%(expressions)s IN ({_FINAL}))", output_field=BooleanField()
)
_DIED = ("died_at", "died_at_latest", "died_known_as")
_ROW = ("number", "decedent_name", "born_on", *_DIED, "stage", "stage_since")

_HOLD = ("kind", "raised_by", "ground", "opened_at", "lifted_at", "opened_by__printed_name")


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


@dataclass(frozen=True)
class Waiting:
    """The persons who wait for one step, longest wait first; `total` counts those not shown too."""

    step: Step
    stage: str
    signers: str
    cases: list[Case]
    total: int


def _ranked(facility: int) -> QuerySet[Any]:
    held = Hold.objects.filter(case=OuterRef("pk"), lifted_at__isnull=True)
    return (
        _open_cases(facility)
        .filter(~Exists(held))
        .annotate(
            rank=Window(RowNumber(), partition_by=F("stage"), order_by=F("stage_since").asc()),
            total=Window(Count("pk"), partition_by=F("stage")),
        )
        .filter(rank__lte=GROUP_LIMIT)
        .only(*_ROW)
        .order_by("stage_since")
    )


def waiting(facility: Facility) -> list[Waiting]:
    """Return the groups of persons without a hold by the step that comes next."""
    by_stage: dict[str, list[Any]] = {}
    for case in with_facility(_ranked(facility.pk), facility):
        by_stage.setdefault(case.stage, []).append(case)
    return [
        Waiting(step, stage, signers(step), by_stage[stage], by_stage[stage][0].total)
        for step in map(STEPS.__getitem__, ORDER)
        for stage in step.stages_from
        if stage in by_stage
    ]


def signers(step: Step) -> str:
    """Return who signs a step: "operator, with a second person"."""
    roles = " or ".join(sorted(role.label for role in step.signers))
    return f"{roles}, with a second person" if step.witnessed else roles


def open_holds(facility: Facility) -> list[Hold]:
    """Return the holds that nobody has lifted, oldest first.

    Found by the staff who opened them, who are few, and not by the cases, who are many: only
    members of a facility open holds on its cases.
    """
    holds = list(_open_holds(facility.pk))
    with_facility((hold.case for hold in holds), facility)
    return holds


def _open_holds(facility: int) -> QuerySet[Any]:
    return (
        Hold.objects.filter(opened_by__facility=facility, lifted_at__isnull=True)
        .select_related("case", "opened_by")
        .only(*_HOLD, *(f"case__{n}" for n in (*_ROW, "sender")))
        .prefetch_related("notices", "case__right_holders__facts")
        .order_by("opened_at")[:HOLD_LIMIT]
    )


def pressing(facility: Facility, now: datetime) -> list[tuple[Case, Shown]]:
    """Return the terms of the law that run out within a day. One query."""
    received = CustodyEntry.objects.filter(case=OuterRef("pk"), act="receive", outcome="done")
    rows = (
        open_cases(facility)
        .filter(stage__in=BEFORE_CHARGE)
        .select_related("delivery")
        .annotate(received_at=Subquery(received.values("happened_at")[:1]))
        .only(*_ROW, "jurisdiction", "delivery__is_embalmed", "delivery__case")
        .order_by("stage_since")[:CLOCK_LIMIT]
    )
    rules = law.tightened(facility.jurisdiction, facility.added_rules)
    if law_questions.agreed_limit(rules) is not None:
        rows = rows.prefetch_related("agreed_times")
    return case_clocks.pressing(with_facility(rows, facility), now)[:GROUP_LIMIT]


@dataclass(frozen=True)
class Machine:
    """A retort with the person inside, if there is one, and its newest reading."""

    retort: Retort
    run: Run | None
    reading: selectors.Standing | None
    now: datetime

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
        if self.run:
            burning = self.run.burner_off_at is None
            return ("next", "Burning") if burning else ("waiting", "Cooling")
        return ("passed", "Empty") if self.retort.is_fit else ("refused", "Out of use")

    @property
    def due_at(self) -> datetime | None:
        """By when the permit asks for the next reading; None where nobody burns here."""
        if self.run is None or self.run.burner_off_at:
            return None
        charged, read = self.run.charged_at, self.reading and self.reading.at
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
        return self.reading.at + FRESH if self.reading else None

    @property
    def is_stale(self) -> bool:
        """True where the newest reading is older than a gate would accept, or there is none."""
        return self.stale_at is None or self.stale_at < self.now


def _retorts(now: datetime, facility: int) -> QuerySet[Any]:
    retorts = Retort.objects.filter(facility=facility).select_related("place", "permit")
    return retorts.annotate(newest=selectors.newest_of_each(now))


def _retort(now: datetime, facility: int, code: str) -> QuerySet[Any]:
    return _retorts(now, facility).filter(place__code=code)


def _open_runs(facility: int) -> QuerySet[Any]:
    return Run.objects.filter(retort__facility=facility, ended_at__isnull=True).select_related(
        "case__disc"
    )


def _readings(*pks: int) -> QuerySet[Any]:
    return Reading.objects.filter(pk__in=pks)


def machines(facility: Facility, now: datetime, code: str = "") -> list[Machine]:
    """Return the facility's retorts, or the one at the place with this code. Four queries."""
    found = list(_retort(now, facility.pk, code) if code else _retorts(now, facility.pk))
    runs = {run.retort_id: run for run in _open_runs(facility.pk)}
    ids = [getattr(retort, "newest") for retort in found]  # noqa: B009 - annotated above
    rows = selectors.standing(_readings(*(pk for pk in ids if pk)) if any(ids) else ())
    readings = {row.reading.retort_id: row for row in rows}
    with_facility((run.case for run in runs.values()), facility)
    for retort in found:
        if run := runs.get(retort.pk):
            run.retort = retort  # a gate asks the run for its retort
    return [Machine(r, runs.get(r.pk), readings.get(r.pk), now) for r in found]


def places(facility: Facility) -> list[dict[str, Any]]:
    """Return every place with who is there: one query, however many places there are."""
    return [dict(row) for row in _places(facility.pk)]


def _places(facility: int) -> QuerySet[Any]:
    return (
        Place.objects.filter(facility=facility)
        .annotate(stay=FilteredRelation("placements", condition=Q(placements__until__isnull=True)))
        .values(
            "kind",
            "area",
            "name",
            "code",
            "is_in_use",
            "stay__since",
            "stay__case__number",
            "stay__case__decedent_name",
            "stay__case__stage",
        )
        .order_by("kind", "area", "code")
    )


def _counted(facility: int) -> QuerySet[Any]:
    return (
        Place.objects.filter(facility=facility, is_in_use=True)
        .annotate(stay=FilteredRelation("placements", condition=Q(placements__until__isnull=True)))
        .values("kind")
        .annotate(total=Count("pk"), taken=Count("stay"))
        .order_by()
    )


def free_places(facility: Facility) -> list[dict[str, Any]]:
    """Return for each kind of place how many are in use and how many of those are free."""
    by_kind = {row["kind"]: row for row in _counted(facility.pk)}
    return [
        {
            "label": kind.label,
            "total": by_kind[kind]["total"],
            "free": by_kind[kind]["total"] - by_kind[kind]["taken"],
        }
        for kind in Place.Kind
        if kind in by_kind
    ]
