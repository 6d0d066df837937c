"""Reading one retort: who is inside, and its last readings as they stand. At most nine queries."""

from datetime import datetime

from django.http import Http404

from cases import overview
from cases.overview import Machine
from crematory.models import Facility
from crematory.written import Part, Written
from retort_log import selectors
from retort_log.models import Retort
from retort_log.selectors import Standing

READINGS = 12

_LAST = Written(
    "SELECT {g}, {s},"
    " EXISTS (SELECT 1 FROM retort_log_readingcorrection k WHERE k.reading_id = g.id)"
    " FROM retort_log_reading g JOIN crematory_staffmember s ON s.id = g.read_by_id"
    " WHERE g.retort_id = %s ORDER BY g.at DESC LIMIT %s",
    g=Part("retort_log.Reading"),
    s=Part("crematory.StaffMember", "printed_name"),
)


def one_machine(facility: Facility, code: str, now: datetime) -> Machine:
    """Return the retort at the place with this code; raise Http404 where there is none."""
    found = overview.machines(facility, now, code)
    if not found:
        raise Http404
    here = overview.with_life(found, now)[0]
    here.retort.facility = facility
    vars(here.retort)["newest_read"] = here.reading  # what the gates would ask for again
    return here


def last_readings(retort: Retort) -> list[Standing]:
    """Return the last readings of a retort as they stand, newest first."""
    rows = _LAST(retort.pk, READINGS)
    corrected = selectors.standing([row for row, _by, was_corrected in rows if was_corrected])
    standing = {one.pk: one for one in corrected}
    for row, by, _was_corrected in rows:
        row.read_by = by
    return [standing.get(row.pk) or Standing(row, ()) for row, *_ in rows]
