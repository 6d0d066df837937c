"""Case numbers: prefix, two digits of the year, a serial, and an ISO/IEC 7064 check character."""

from datetime import datetime

from django.utils import timezone

from cases.models import CaseCounter
from crematory.check_character import with_check
from crematory.models import Facility


def lock_counter(facility: Facility, now: datetime) -> CaseCounter:
    """Return this year's counter, locked until the transaction ends."""
    year = timezone.localtime(now, facility.zone).year
    CaseCounter.objects.get_or_create(facility=facility, year=year)
    return CaseCounter.objects.select_for_update().get(facility=facility, year=year)


def next_number(counter: CaseCounter) -> str:
    """Return the next number of a locked counter, such as "QV26-00042-7"."""
    counter.last += 1
    counter.save(update_fields=["last"])
    return with_check(f"{counter.facility.case_prefix}{counter.year % 100:02d}-{counter.last:05d}")
