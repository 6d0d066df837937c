"""Recording what happens at a retort between the steps: an act with its entry in the trail."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Max, Q, QuerySet

from chain_of_custody import trail
from crematory import clock
from crematory.models import Role, StaffMember
from crematory.signatures import Signature
from retort_log import run_life, selectors
from retort_log.acts import READERS, where
from retort_log.models import Retort, Run, RunEvent
from retort_log.refusals import MachineRefused, refusals_recorded

NOTE_LENGTH = 500
OPACITY_READINGS = 24  # EPA Method 9: a set is 24 readings, 15 seconds apart
# How far back a retort's events are asked for: a preheat is never older than this.
LOOK_BACK = timedelta(days=2)


class EventRefused(MachineRefused):
    """An event that cannot be recorded."""


@dataclass(frozen=True)
class Stated:
    """What is said to have happened. `token` makes a second sending the same event."""

    kind: str
    at: datetime
    note: str = ""
    opacity: tuple[int, ...] = ()
    token: str = ""


def now_at(retort: Retort, now: datetime, run: Run | None = None) -> run_life.Now:
    """Return the phase of a retort; `run` is its open run where that is known. Three queries.

    A page may have read it before, and left it on the run; an act never has.
    """
    if run and "now_read" in vars(run):
        read: run_life.Now = vars(run)["now_read"]
        return read
    run = run or selectors.open_run(retort)
    return phase_of(run, _events(retort.pk, now), _last_ended(retort.pk, now))


def phase_of(
    run: Run | None, events: Iterable[RunEvent], cleared_at: datetime | None
) -> run_life.Now:
    """Return the phase that follows from rows already read."""
    times = run_life.RunTimes(run.charged_at, run.burner_off_at) if run else None
    happened = [run_life.Happened(event.kind, event.at) for event in events]
    return run_life.phase(times, happened, cleared_at)


@dataclass(frozen=True)
class Life:
    """The phase of a retort, and what happened there since its last run ended, oldest first."""

    now: run_life.Now
    events: list[RunEvent]


def lives(runs: Mapping[int, Run | None], now: datetime) -> dict[int, Life]:
    """Return the phase and the events of retorts, each with its open run. Two queries for all."""
    ended = Run.objects.filter(retort__in=runs, ended_at__lte=now).order_by()
    cleared = dict(ended.values_list("retort").annotate(last=Max("ended_at")))
    happened: dict[int, list[RunEvent]] = {}
    rows = RunEvent.objects.filter(retort__in=runs, at__lte=now).filter(_recent(now))
    for event in rows.select_related("recorded_by").order_by("at", "pk"):
        last = cleared.get(event.retort_id)
        if last is None or event.at >= last:
            happened.setdefault(event.retort_id, []).append(event)
    return {
        key: Life(phase_of(run, happened.get(key, []), cleared.get(key)), happened.get(key, []))
        for key, run in runs.items()
    }


def events_of(run: Run) -> list[RunEvent]:
    """Return what happened in a run, and in the preheat before it, oldest first. One query."""
    before = Q(run__isnull=True, at__lte=run.charged_at, at__gte=run.charged_at - LOOK_BACK)
    rows = RunEvent.objects.filter(Q(run=run) | before & Q(retort=run.retort_id))
    return list(rows.select_related("recorded_by").order_by("at", "pk"))


def record_event(retort: Retort, stated: Stated, by: Signature | StaffMember) -> RunEvent:
    """Record an event. A second sending with the same token is answered with the first.

    `by` is a signature where the kind asks for one, else the member who is signed in. Raises
    EventRefused; a refusal is recorded in the trail.
    """
    member = by.member if isinstance(by, Signature) else by
    facts = {**where(retort), "kind": stated.kind[:20]}
    with refusals_recorded(retort.facility, "run_event", member, facts):
        return _record(retort, stated, member, isinstance(by, Signature))


def _record(retort: Retort, stated: Stated, member: StaffMember, is_signed: bool) -> RunEvent:
    Retort.objects.select_for_update(no_key=True).get(pk=retort.pk)
    if stated.token:
        again = RunEvent.objects.filter(retort=retort, token=stated.token).first()
        if again:
            return _same(again, stated, member)
    now = clock.now()
    _check_hand(retort, stated, member, is_signed)
    _check_words(stated)
    run = _run_at(retort, stated.at, now)
    _check_phase(retort, stated, run)
    event = RunEvent.objects.create(
        retort=retort,
        run=run,
        kind=stated.kind,
        at=stated.at,
        recorded_at=now,
        recorded_by=member,
        note=stated.note.strip(),
        opacity=list(stated.opacity),
        token=stated.token,
    )
    if run and stated.kind == RunEvent.Kind.ENDED_BY_FAULT:
        Run.objects.filter(pk=run.pk).update(ended_by_fault=True)
    _append(event, is_signed)
    return event


def _same(event: RunEvent, stated: Stated, member: StaffMember) -> RunEvent:
    if (event.kind, event.at, event.recorded_by_id) != (stated.kind, stated.at, member.pk):
        raise EventRefused("token", "This form was used already. Open the page again.")
    return event


def _check_hand(retort: Retort, stated: Stated, member: StaffMember, is_signed: bool) -> None:
    if stated.kind not in run_life.EVENTS:
        raise EventRefused("event_unknown", "Choose what happened from the list.")
    if member.facility_id != retort.facility_id or not member.roles & READERS:
        raise EventRefused("reading_role", "Events are entered by an operator of this house.")
    if stated.kind in run_life.SIGNED and not is_signed:
        raise EventRefused("event_unsigned", "Sign this with your staff code and PIN.")
    if stated.kind in run_life.BY_MANAGER and Role.MANAGER not in member.roles:
        raise EventRefused("event_manager", "A manager decides that a run is not resumed.")


def _check_words(stated: Stated) -> None:
    if stated.kind in run_life.NOTE_NEEDED and not stated.note.strip():
        raise EventRefused("reason_missing", "Say what happened.")
    if len(stated.note) > NOTE_LENGTH:
        raise EventRefused("event_long", f"Say it in at most {NOTE_LENGTH} characters.")
    if stated.opacity and (
        len(stated.opacity) > OPACITY_READINGS or not all(0 <= o <= 100 for o in stated.opacity)
    ):
        raise EventRefused(
            "event_opacity", f"Opacity: at most {OPACITY_READINGS} readings, each from 0 to 100 %."
        )


def _run_at(retort: Retort, at: datetime, now: datetime) -> Run | None:
    """Return the open run if it had begun by then. An event never goes into a run that ended."""
    if at > now:
        raise EventRefused("time_future", "The time lies in the future. Correct it.")
    ended = _last_ended(retort.pk, now)
    if ended and at < ended:
        raise EventRefused(
            "event_before", "The time lies before the last run of this retort ended. Correct it."
        )
    run = selectors.open_run(retort)
    return run if run and at >= run.charged_at else None


def _check_phase(retort: Retort, stated: Stated, run: Run | None) -> None:
    # As it was at the stated time: what was recorded of later does not count.
    until = _events(retort.pk, stated.at)
    open_run = _as_of(run, stated.at)
    here = phase_of(open_run, until, _last_ended(retort.pk, stated.at))
    if not run_life.may_happen(stated.kind, here.phase):
        label = RunEvent.Kind(stated.kind).label
        words = run_life.PHASE_WORDS[here.phase].lower()
        raise EventRefused(
            "event_phase", f"“{label}” cannot be recorded: at that time the retort was {words}."
        )
    later = RunEvent.objects.filter(retort=retort, at__gt=stated.at)
    changing = [kind for kind, (_, goal) in run_life.EVENTS.items() if goal is not None]
    if stated.kind in changing and later.filter(kind__in=changing).exists():
        raise EventRefused(
            "event_order",
            "Something later was recorded already that depends on it. Check the time.",
        )


def _as_of(run: Run | None, at: datetime) -> Run | None:
    if run and run.burner_off_at and run.burner_off_at > at:
        return Run(retort_id=run.retort_id, charged_at=run.charged_at, burner_off_at=None)
    return run


def _events(retort: int, now: datetime) -> QuerySet[Any]:
    rows = RunEvent.objects.filter(retort=retort, at__lte=now)
    return rows.filter(_recent(now)).order_by("at", "pk")


def _recent(now: datetime) -> Q:
    newest_run = Q(run__ended_at__isnull=True, run__isnull=False)
    return newest_run | Q(at__gte=now - LOOK_BACK)


def _last_ended(retort: int, now: datetime) -> datetime | None:
    ended = Run.objects.filter(retort=retort, ended_at__lte=now).order_by("-ended_at")
    return ended.values_list("ended_at", flat=True).first()


def _append(event: RunEvent, is_signed: bool) -> None:
    retort = event.retort
    trail.append(
        trail.Act(
            facility=retort.facility,
            name="run_event",
            happened_at=event.at,
            recorded_at=event.recorded_at,
            case=event.run.case if event.run else None,
            signed_by=event.recorded_by,
            signature="pin" if is_signed else "session",
            facts={
                "retort": retort.place.code,
                "kind": event.kind,
                **({"note": trail.Sealed(event.note)} if event.note else {}),
                **({"opacity": event.opacity} if event.opacity else {}),
            },
        )
    )
