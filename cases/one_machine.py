"""Reading one retort: who is inside, and its last readings as they stand. Four queries."""

from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from django.http import Http404

from cases.overview import Machine
from crematory.models import Facility
from retort_log.models import Reading, Retort, Run
from retort_log.selectors import Standing, newest_reading, standing

READINGS = 12


def _retort(facility: int, code: str) -> QuerySet[Any]:
    rows = Retort.objects.filter(facility=facility, place__code=code)
    return rows.select_related("place", "permit", "controller")


def _open_run(retort: int) -> QuerySet[Any]:
    rows = Run.objects.filter(retort=retort, ended_at__isnull=True)
    return rows.select_related("case__disc").order_by()


def _last(retort: int) -> QuerySet[Any]:
    return (
        Reading.objects.filter(retort=retort)
        .select_related("read_by")
        .only("at", "primary_c", "secondary_c", "retort_id", "read_by__printed_name")
        .order_by("-at")[:READINGS]
    )


def one_machine(facility: Facility, code: str, now: datetime) -> tuple[Machine, list[Standing]]:
    """Return the retort at the place with this code, and its last readings, newest first.

    Raises Http404 where the facility has none there.
    """
    retort = _retort(facility.pk, code).first()
    if retort is None:
        raise Http404
    retort.facility = facility
    run = _open_run(retort.pk).first()
    if run:
        run.retort, run.case.facility = retort, facility  # gates ask the run for its retort
    readings = standing(_last(retort.pk))
    counts = (row for row in readings if row.at <= now and not row.is_withdrawn)
    newest = next(counts, None) or (newest_reading(retort, now) if readings else None)
    retort.newest_read = newest  # what the gates would ask for again
    return Machine(retort, run, newest, now), readings


def is_live(retort: Retort) -> bool:
    """True where a controller writes temperatures at any moment, of which no act tells.

    What depends on them is true for no time at all, and is not kept.
    """
    return hasattr(retort, "controller")
