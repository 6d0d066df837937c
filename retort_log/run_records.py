"""The record of a run from its rows, and what it shows beside the permit."""

from datetime import datetime

from retort_log import early_warnings, events, recorded
from retort_log.finding import Finding
from retort_log.findings import findings
from retort_log.models import Run
from retort_log.permits import rules_of
from retort_log.run_record import RunRecord


def record_of(run: Run, now: datetime) -> RunRecord:
    """Return all that was recorded of a run up to now, as plain values."""
    retort = run.retort
    start, end = recorded.of_run(run, now)
    seen = recorded.window(retort, start, end)
    volume = retort.secondary_volume_m3
    return RunRecord(
        charged_at=run.charged_at,
        now=now,
        burner_off_at=run.burner_off_at,
        ended_at=run.ended_at,
        traces=seen.traces,
        hand=seen.hand,
        events=tuple((event.kind, event.at) for event in events.events_of(run)),
        mass_kg=run.charge_mass_kg,
        chamber_volume_m3=float(volume) if volume else None,
        zone=retort.facility.zone,
    )


def findings_of(run: Run, now: datetime) -> tuple[Finding, ...]:
    """Return what the run's record shows beside its retort's permit, up to now."""
    return findings(record_of(run, now), rules_of(run.retort.permit))


def warnings_of(run: Run, now: datetime) -> tuple[Finding, ...]:
    """Return what is about to cross a limit, while a person burns inside; else nothing."""
    if run.burner_off_at or run.ended_at:
        return ()
    return early_warnings.warnings(record_of(run, now), rules_of(run.retort.permit))
