"""Corrections: an entry names the entry it corrects, who, why, and both values.

Nothing written earlier changes in the trail. The case shows the new value, and papers that were
printed from the old one are marked superseded.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from cases.acts import do_act, need
from cases.errors import ActRefused
from cases.models import Case
from cases.steps import BEFORE_CHARGE
from chain_of_custody.models import CustodyEntry, Paper, PaperSuperseded
from chain_of_custody.trail import Sealed
from crematory.models import Role
from crematory.signatures import Signature


@dataclass(frozen=True)
class Correctable:
    """A value that a correction may change: the act that stated it, and its row."""

    act: str
    row: str
    label: str
    by_manager: bool = False


CORRECTABLE: dict[str, Correctable] = {
    "decedent_name": Correctable("announce", "case", "name of the decedent", by_manager=True),
    "born_on": Correctable("announce", "case", "date of birth"),
    "died_at": Correctable("announce", "case", "time of death", by_manager=True),
    "sender": Correctable("announce", "case", "sender"),
    "delivered_by": Correctable("receive", "delivery", "delivered by"),
    "firm": Correctable("receive", "delivery", "firm"),
    "container_kind": Correctable("receive", "delivery", "container"),
    "mass_kg": Correctable("receive", "delivery", "mass with container"),
    "belongings": Correctable("receive", "delivery", "belongings"),
}


def correct(
    case: Case, signed_by: Signature, token: str, field: str, value: Any, why: str
) -> CustodyEntry:
    """Correct one value: before the charge front office or manager, after it a manager.

    Name and time of death decide who is cremated and when: only a manager corrects them.
    """

    corrected_row: list[Any] = []

    def write(locked: Case, now: datetime) -> dict[str, Any]:
        rule = CORRECTABLE.get(field)
        if rule is None:
            raise ActRefused("field", "This value cannot be corrected here.")
        if locked.stage in BEFORE_CHARGE and not rule.by_manager:
            need(signed_by.member, Role.FRONT_OFFICE, Role.MANAGER)
        else:
            need(signed_by.member, Role.MANAGER)
        if not why.strip():
            raise ActRefused("reason_missing", "Say why the value is corrected.")
        corrected = CustodyEntry.objects.filter(case=locked, act=rule.act, outcome="done").first()
        if corrected is None:
            raise ActRefused("not_stated", f"No {rule.label} has been stated yet.")
        row: Any = locked if rule.row == "case" else getattr(locked, rule.row)
        old = getattr(row, field)
        if old == value:
            raise ActRefused("unchanged", "The new value is the same as the old one.")
        setattr(row, field, value)
        if field in ("died_at", "born_on"):
            _check_life(locked, now)
        row.full_clean(exclude=["stage_entry"] if rule.row == "case" else [])
        corrected_row.append(row)
        return {
            "corrects": corrected.sequence,
            "field": field,
            "old": Sealed(str(old if old is not None else "")),
            "new": Sealed(str(value if value is not None else "")),
            "why": Sealed(why.strip()),
        }

    def put_right(entry: CustodyEntry) -> None:
        # After the entry: the database lets the row change only to what the entry says.
        for row in corrected_row:
            row.save(update_fields=[field, *(["name_folded"] if field == "decedent_name" else [])])
        supersede(case, field, entry)

    return do_act(
        "correct",
        case,
        signed_by.member,
        token,
        write,
        signature="pin",
        after=put_right,
    )


def _check_life(case: Case, now: datetime) -> None:
    """Refuse a death in the future, after the person was received, or before the birth."""
    if case.died_at > now:
        raise ActRefused("time_future", "The time of death lies in the future. Correct it.")
    received = CustodyEntry.objects.filter(case=case, act="receive", outcome="done").first()
    if received and case.died_at > received.happened_at:
        raise ActRefused("time_order", "The person was received before this time of death.")
    if case.born_on and case.born_on > case.died_at.astimezone(case.facility.zone).date():
        raise ActRefused("born_after_death", "The date of birth lies after the death.")


def supersede(case: Case, field: str, entry: CustodyEntry) -> None:
    """Mark the case's papers that show this field as superseded by the correction's entry."""
    papers = Paper.objects.filter(case=case, superseded__isnull=True, facts__has_key=field)
    PaperSuperseded.objects.bulk_create(
        PaperSuperseded(paper=paper, entry=entry) for paper in papers
    )
