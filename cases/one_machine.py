"""Reading one retort: who is inside, and its last readings as they stand."""

from datetime import datetime

from django.http import Http404

from cases import case_rows, overview, read_before
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
    _leave_read(here)
    return here


def _leave_read(here: Machine) -> None:
    """Leave at the rows of this page what its gates would ask for again; no act finds it."""
    vars(here.retort)["newest_read"] = here.reading
    if not here.more.has_recorded:
        vars(here.retort)["nothing_recorded"] = True
    if here.run is None or here.case is None or here.next_step is None:
        return
    if here.life:
        vars(here.run)["now_read"] = here.life.now
    if not here.more.has_holds:
        case_rows.without(here.case, "holds")
    if "free_tray" in here.next_step.gates:
        read_before.read_places(here.case)


def last_readings(retort: Retort) -> list[Standing]:
    """Return the last readings of a retort as they stand, newest first."""
    rows = _LAST(retort.pk, READINGS)
    corrected = selectors.standing([row for row, _by, was_corrected in rows if was_corrected])
    standing = {one.pk: one for one in corrected}
    for row, by, _was_corrected in rows:
        row.read_by = by
    return [standing.get(row.pk) or Standing(row, ()) for row, *_ in rows]
