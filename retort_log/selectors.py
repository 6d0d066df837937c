"""Reading the machines' rows."""

from datetime import datetime, timedelta
from itertools import pairwise

from retort_log.models import Reading, Retort, Run


def open_run(retort: Retort) -> Run | None:
    """Return the run that has not ended in this retort, or None."""
    return (
        Run.objects.filter(retort=retort, ended_at__isnull=True)
        .select_related("case", "retort__permit")
        .first()
    )


def newest_reading(retort: Retort, now: datetime) -> Reading | None:
    """Return the newest reading not later than `now`."""
    return Reading.objects.filter(retort=retort, at__lte=now).order_by("-at").first()


def longest_gap(retort: Retort, start: datetime, end: datetime) -> timedelta:
    """Return the longest time without a reading between start and end, both ends counted.

    A reading taken just before `start` does not count: averages hold while remains burn.
    """
    times = list(
        Reading.objects.filter(retort=retort, at__range=(start, end))
        .order_by("at")
        .values_list("at", flat=True)
    )
    edges = [start, *times, end]
    return max(
        (later - earlier for earlier, later in pairwise(edges)),
        default=timedelta(0),
    )
