"""Whether the identity band was compared since who the person is was last corrected.

It is read from the trail: a correction of one of `IDENTITY` that was recorded after the last
comparison (the receipt is one) is not settled. After the charge no band is left to compare: the
disc is then the identity, so such a correction is a manager's and marked in its entry.
"""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from cases import read_before
from cases.errors import ActRefused
from cases.models import Case
from chain_of_custody.models import CustodyEntry
from chain_of_custody.trail import Sealed
from crematory.models import Role, StaffMember

# What an identity band reads: the name, commonly with the date of birth (common practice, no
# source). The sex is on no band.
IDENTITY = {"decedent_name": "name", "born_on": "date of birth"}
COMPARISONS = ("receive", "compare_band")


def _entries(case: Case) -> Iterable[CustodyEntry]:
    acts = ("correct", *COMPARISONS)
    read = read_before.entries(case, *acts)
    if read is not None:
        return read
    return CustodyEntry.objects.filter(
        case=case, outcome=CustodyEntry.Outcome.DONE, act__in=acts
    ).order_by("-sequence")


def uncompared(case: Case) -> tuple[CustodyEntry, str] | None:
    """Return the newest correction since the last comparison and what it corrected, or None.

    The order of recording counts: a receipt may be stated with an earlier time.
    """
    return next(iter(_corrected(case)), None)


def _corrected(case: Case) -> list[tuple[CustodyEntry, str]]:
    """All corrections of who the person is since the last comparison, the newest first."""
    found: list[tuple[CustodyEntry, str]] = []
    for entry in _entries(case):
        if entry.act in COMPARISONS:
            return found
        field = json.loads(entry.payload)["facts"]["field"]
        if field in IDENTITY:
            found.append((entry, IDENTITY[field]))
    return []


@dataclass(frozen=True)
class BandDate:
    """The date of birth as the band shows it; `is_absent` where it shows none."""

    read: date | None = None
    is_absent: bool = False


NOT_READ = BandDate()


def compare_date(case: Case, band: BandDate, signers: list[StaffMember]) -> dict[str, Any]:
    """Compare the date on the band with the paperwork; return what the entry keeps of it.

    After a correction of the date of birth it must be read. Where the band shows none, nothing
    at the person speaks for or against the new date: a manager must then be one of the two.
    """
    if band == NOT_READ:
        if IDENTITY["born_on"] in {what for _, what in _corrected(case)}:
            raise ActRefused(
                "band_date_missing",
                "The date of birth was corrected: read it from the band too, or say that the band "
                "shows none.",
            )
        return {}
    if band.read and band.is_absent:
        raise ActRefused("band_date_missing", "The band shows a date of birth, or it shows none.")
    if band.read:
        if band.read != case.born_on:
            raise ActRefused(
                "band_differs",
                f"The band reads {_day(band.read)} as the date of birth, the paperwork says "
                f"{_day(case.born_on)}. Put the case on hold and call the sender.",
            )
        return {"born_on": Sealed(str(band.read))}
    if case.born_on and not any(Role.MANAGER in member.roles for member in signers):
        raise ActRefused(
            "band_date_manager",
            "The band shows no date of birth to compare: a manager must be one of the two who "
            "sign.",
        )
    return {"band_shows_no_birth": True}


def _day(value: date | None) -> str:
    return f"{value.day} {value:%b %Y}" if value else "that it is not known"
