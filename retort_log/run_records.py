"""The record of a run from its rows, and what it shows beside the permit."""

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from typing import cast

from retort_log import early_warnings, events, recorded
from retort_log.finding import Finding
from retort_log.findings import findings
from retort_log.models import Run, RunEvent, UpkeepDone, UpkeepRule
from retort_log.opacity import STEP_S
from retort_log.permits import rules_of_run
from retort_log.readings import Trace
from retort_log.run_record import RunRecord
from retort_log.thermocouples import TOLERANCES, Thermocouple, TypeName

STEP = timedelta(seconds=STEP_S)


def record_of(run: Run, now: datetime) -> RunRecord:
    """Return all that was recorded of a run up to now, as plain values."""
    retort = run.retort
    start, end = recorded.of_run(run, now)
    seen = recorded.window(retort, start, end)
    volume = retort.secondary_volume_m3
    happened = events.events_of(run)
    return RunRecord(
        charged_at=run.charged_at,
        now=now,
        burner_off_at=run.burner_off_at,
        ended_at=run.ended_at,
        traces=seen.traces,
        hand={**seen.hand, **({} if "opacity" in seen.traces else _opacity(happened))},
        events=tuple((event.kind, event.at) for event in happened),
        mass_kg=run.charge_mass_kg,
        chamber_volume_m3=float(volume) if volume else None,
        thermocouple=thermocouple_of(run, end),
        zone=retort.facility.zone,
    )


def thermocouple_of(run: Run, end: datetime) -> Thermocouple | None:
    """Return what measured the secondary chamber until `end`, as its last calibration says.

    None where none that passed names its type. A calibration counts for the secondary chamber
    where its subject names it. One query.
    """
    done = UpkeepDone.objects.filter(
        retort=run.retort_id,
        kind=UpkeepRule.Kind.THERMOCOUPLE,
        passed=True,
        done_at__lte=end,
        subject__icontains="secondary",
    )
    figures = done.order_by("-done_at", "-pk").values_list("figures", flat=True).first() or {}
    letter = str(figures.get("type", "")).strip().upper()
    if letter not in TOLERANCES:
        return None
    is_special = str(figures.get("special", "")).strip().lower() == "yes"
    return Thermocouple(cast(TypeName, letter), is_special)


def _opacity(happened: Iterable[RunEvent]) -> Mapping[str, Trace]:
    """Return the opacity that was read by eye, 15 seconds apart from the time of each event.

    Where two events tell of the same moment, the higher reading counts.
    """
    read: dict[datetime, float] = {}
    for event in happened:
        for place, percent in enumerate(event.opacity):
            at = event.at + place * STEP
            read[at] = max(read.get(at, 0.0), float(percent))
    return {"opacity": Trace.of(read.items(), "percent", is_typed=True)} if read else {}


def findings_of(run: Run, now: datetime) -> tuple[Finding, ...]:
    """Return what the run's record shows beside its retort's permit, up to now."""
    return findings(record_of(run, now), rules_of_run(run))


def warnings_of(run: Run, now: datetime) -> tuple[Finding, ...]:
    """Return what is about to cross a limit, while a person burns inside; else nothing."""
    if run.burner_off_at or run.ended_at:
        return ()
    return early_warnings.warnings(record_of(run, now), rules_of_run(run))
