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
from crematory.written import Part, Written
from retort_log import recorded, selectors
from retort_log.doubts import FRESH
from retort_log.models import Reading, ReadingCorrection, Run
from retort_log.permits import charging_c, interval_min, rules_of_run

_RUN = Written(
    "SELECT {u}, {r}, {t}, {c}, {v},"
    " EXISTS (SELECT 1 FROM retort_log_readingcorrection k WHERE k.retort_id = u.retort_id)"
    " FROM retort_log_run u"
    " JOIN retort_log_retort r ON r.id = u.retort_id"
    " JOIN retort_log_permittooperate t ON t.id = r.permit_id"
    " LEFT JOIN retort_log_reading c ON c.id = u.charge_reading_id"
    " LEFT JOIN retort_log_reading v ON v.id = u.recovery_reading_id"
    " WHERE u.case_id = %s",
    u=Part("retort_log.Run"),
    r=Part("retort_log.Retort"),
    t=Part("retort_log.PermitToOperate"),
    c=Part("retort_log.Reading"),
    v=Part("retort_log.Reading"),
)


def _run(case: Case) -> tuple[Run, bool] | None:
    """The run of the case, with its retort and the readings that it stands on.

    And whether any reading of the retort was ever corrected.
    """
    for run, retort, permit, charge, recovery, is_corrected in _RUN(case.pk):
        retort.permit, retort.facility = permit, case.facility
        run.case, run.retort = case, retort
        run.charge_reading, run.recovery_reading = charge, recovery
        return run, bool(is_corrected)
    return None


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
    chamber: str  # whose temperature opened the charge
    notices: list[str]
    corrections: list[ReadingCorrection]


def run_facts(case: Case, now: datetime) -> RunFacts | None:
    """Return what is known of the case's run, None before the charge. At most six queries."""
    if case.stage in BEFORE_CHARGE:
        return None
    found = _run(case)
    if found is None:
        return None
    (run, is_corrected), corrections = found, list[ReadingCorrection]()
    if is_corrected:
        end = run.ended_at or now
        corrections = list(_corrections(run.retort_id, run.charged_at - FRESH, end))
    units: UnitSystem = "us" if case.facility.units == "us" else "metric"
    chamber = rules_of_run(run).charging_chamber
    notices = _notices(run, chamber, units) if corrections else []
    return RunFacts(run, chamber, notices, corrections)


def _notices(run: Run, chamber: str, units: UnitSystem) -> list[str]:
    opened = [r for r in (run.charge_reading, run.recovery_reading) if r is not None]
    stands = {row.pk: row for row in selectors.standing(opened)}
    found = (
        _charge(run, chamber, _of(run.charge_reading, stands), units),
        _coverage(run),
        _recovery(run, _of(run.recovery_reading, stands), units),
    )
    return [notice for notice in found if notice]


def _of(
    reading: Reading | None, stands: dict[int, selectors.Standing]
) -> selectors.Standing | None:
    return stands[reading.pk] if reading else None


def _charge(run: Run, chamber: str, row: selectors.Standing | None, units: UnitSystem) -> str:
    """The charge stands on its reading: say when it now reads otherwise, and what that means."""
    if row is None:
        return ""
    accepted = show_quantity(run.charge_temperature_c, "temperature", units, both=True)
    if row.is_withdrawn:
        return (
            f"The charge was accepted at {accepted} in the {chamber} chamber; that reading was "
            "withdrawn afterwards."
        )
    celsius = row.primary_c if chamber == "primary" else row.secondary_c
    if celsius == run.charge_temperature_c:
        return ""
    limit = charging_c(rules_of_run(run))
    reached = "reaches" if celsius >= limit else "DOES NOT REACH"
    new = show_quantity(celsius, "temperature", units, both=True)
    needed = show_quantity(limit, "temperature", units, both=True)
    return (
        f"The charge was accepted at {accepted} in the {chamber} chamber; that reading was "
        f"corrected afterwards to {new}. This {reached} the charging temperature of {needed}."
    )


def _coverage(run: Run) -> str:
    """Burner off stands on readings without a gap; a withdrawn one may have opened it again."""
    if run.burner_off_at is None:
        return ""
    every = timedelta(minutes=interval_min(rules_of_run(run)))
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
