"""What the page of a case says about the run, and what later corrections of readings mean for it.

What a gate accepted stays on record. A reading that was corrected or withdrawn afterwards is
shown beside it as a notice, so that nobody reads the run without it.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import QuerySet

from cases.models import Case
from cases.steps import BEFORE_CHARGE
from crematory.units import UnitSystem, show_quantity
from retort_log import recorded, selectors
from retort_log.doubts import FRESH
from retort_log.models import Reading, ReadingCorrection, Run


def _run(case: int) -> QuerySet[Any]:
    return Run.objects.filter(case=case).select_related(
        "retort__permit", "charge_reading", "recovery_reading"
    )


def _corrections(retort: int, start: datetime, end: datetime) -> QuerySet[Any]:
    return (
        ReadingCorrection.objects.filter(retort=retort, reading__at__range=(start, end))
        .select_related("reading", "corrected_by")
        .order_by("corrected_at")
    )


@dataclass(frozen=True)
class RunFacts:
    """The run, the notices that it needs, and the corrections of its readings."""

    run: Run
    notices: list[str]
    corrections: list[ReadingCorrection]


def run_facts(case: Case, now: datetime) -> RunFacts | None:
    """Return what is known of the case's run, None before the charge. At most six queries."""
    if case.stage in BEFORE_CHARGE:
        return None
    run = _run(case.pk).first()
    if run is None:
        return None
    corrections = list(_corrections(run.retort_id, run.charged_at - FRESH, run.ended_at or now))
    units: UnitSystem = "us" if case.facility.units == "us" else "metric"
    return RunFacts(run, _notices(run, units) if corrections else [], corrections)


def _notices(run: Run, units: UnitSystem) -> list[str]:
    opened = [r for r in (run.charge_reading, run.recovery_reading) if r is not None]
    stands = {row.pk: row for row in selectors.standing(opened)}
    found = (
        _charge(run, _of(run.charge_reading, stands), units),
        _coverage(run),
        _recovery(run, _of(run.recovery_reading, stands), units),
    )
    return [notice for notice in found if notice]


def _of(
    reading: Reading | None, stands: dict[int, selectors.Standing]
) -> selectors.Standing | None:
    return stands[reading.pk] if reading else None


def _charge(run: Run, row: selectors.Standing | None, units: UnitSystem) -> str:
    """The charge stands on its reading: say when it now reads otherwise, and what that means."""
    if row is None:
        return ""
    accepted = show_quantity(run.charge_temperature_c, "temperature", units, both=True)
    if row.is_withdrawn:
        return (
            f"The charge was accepted at {accepted} in the secondary chamber; that reading was "
            "withdrawn afterwards."
        )
    if row.secondary_c == run.charge_temperature_c:
        return ""
    limit = run.retort.permit.charging_temperature_c
    reached = "reaches" if row.secondary_c >= limit else "DOES NOT REACH"
    new = show_quantity(row.secondary_c, "temperature", units, both=True)
    needed = show_quantity(limit, "temperature", units, both=True)
    return (
        f"The charge was accepted at {accepted} in the secondary chamber; that reading was "
        f"corrected afterwards to {new}. This {reached} the charging temperature of {needed}."
    )


def _coverage(run: Run) -> str:
    """Burner off stands on readings without a gap; a withdrawn one may have opened it again."""
    if run.burner_off_at is None:
        return ""
    every = timedelta(minutes=run.retort.permit.recording_interval_min)
    gaps = recorded.gaps(run.retort, run.charged_at, run.burner_off_at, every)
    if not gaps:
        return ""
    gap = max(end - start for start, end in gaps)
    return (
        f"Burner off was accepted; without what was withdrawn afterwards there is a gap of "
        f"{-(-gap // timedelta(minutes=1))} min in the readings, where at most "
        f"{every.seconds // 60} min may lie between two."
    )


def _recovery(run: Run, row: selectors.Standing | None, units: UnitSystem) -> str:
    if row is None:
        return ""
    if row.is_withdrawn:
        return "The reading that showed the chamber cool enough was withdrawn afterwards."
    if row.primary_c <= run.retort.sweep_limit_c:
        return ""
    new = show_quantity(row.primary_c, "temperature", units, both=True)
    limit = show_quantity(run.retort.sweep_limit_c, "temperature", units, both=True)
    return (
        f"The reading that showed the chamber cool enough was corrected afterwards to {new}; "
        f"it may be swept at {limit} or below."
    )
