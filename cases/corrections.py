"""Corrections: an entry names the entry it corrects, who, why, and both values.

Nothing written earlier changes in the trail. The case shows the new value, and papers that were
printed from the old one are marked superseded. Every correction is signed by PIN, with a reason.

What may be corrected and by whom stands in `CORRECTABLE`; after the charge only by a manager.

- Name and time of death decide who is cremated and when: a manager. Name and date of birth are
  read from the identity band: after the receipt the band is compared again before the next step
  (`cases.identity`). After the charge no band is left to compare and the disc is the identity:
  the entry is marked `after_charge`.
- The mass opens the gate of the retort's limit: an operator, who can weigh, or a manager.
- A reportable death stops the case until the coroner's clearance: a manager. The
  disposition is answered again on its own page before the charge; a manager corrects it after.

Not correctable:

- number, facility and jurisdiction: they say which case it is, and by which law it is judged;
- papers, agents, recipients and device answers: a new statement counts, the old one stays;
- the disc: its number is given once and proved at each step;
- what was measured from the charge on (times, masses, containers): gates were passed with it;
- a release: it stays as it was signed.
"""

import json
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from cases import death
from cases.acts import do_act, need
from cases.errors import ActRefused
from cases.identity import IDENTITY
from cases.models import Case
from cases.roles import FRONT_OFFICE, MANAGER, OPERATOR
from cases.steps import BEFORE_CHARGE
from chain_of_custody.models import CustodyEntry, Paper, PaperSuperseded
from chain_of_custody.trail import Sealed
from crematory.models import Role
from crematory.signatures import Signature

OFFICE = frozenset({FRONT_OFFICE, MANAGER})
SCALE = frozenset({OPERATOR, MANAGER})
MANAGERS = frozenset({MANAGER})


@dataclass(frozen=True)
class Correctable:
    """A value that a correction may change: the act that stated it, its row, and who corrects it.

    `row` "settled" is the case too: those values also change by the act that settles them.
    """

    act: str
    row: str
    label: str
    roles: frozenset[Role] = OFFICE

    def roles_at(self, stage: str) -> frozenset[Role]:
        """Return who may correct this at the stage."""
        return self.roles if stage in BEFORE_CHARGE else MANAGERS


CORRECTABLE: dict[str, Correctable] = {
    "decedent_name": Correctable("announce", "case", "name of the decedent", MANAGERS),
    "born_on": Correctable("announce", "case", "date of birth"),
    "died_at": Correctable("announce", "case", "time of death", MANAGERS),
    "discovered_at": Correctable("announce", "case", "time of discovery", MANAGERS),
    "sex": Correctable("announce", "case", "sex"),
    "sender": Correctable("announce", "case", "sender"),
    "delivered_by": Correctable("receive", "delivery", "delivered by"),
    "firm": Correctable("receive", "delivery", "firm"),
    "container_kind": Correctable("receive", "delivery", "container"),
    "mass_kg": Correctable("receive", "delivery", "mass with container", SCALE),
    "belongings": Correctable("receive", "delivery", "belongings"),
    "is_embalmed": Correctable("receive", "delivery", "embalmed"),
    "is_death_reportable": Correctable("settle", "settled", "reportable death", MANAGERS),
    "disposition": Correctable("settle", "settled", "disposition", MANAGERS),
}


def correct(
    case: Case, signed_by: Signature, token: str, field: str, value: Any, why: str
) -> CustodyEntry:
    """Correct one value, by a member of the roles that `CORRECTABLE` gives at this stage."""

    corrected_row: list[Any] = []

    def write(locked: Case, now: datetime) -> dict[str, Any]:
        rule = CORRECTABLE.get(field)
        if rule is None:
            raise ActRefused("field", "This value cannot be corrected here.")
        need(signed_by.member, *rule.roles_at(locked.stage))
        if not why.strip():
            raise ActRefused("reason_missing", "Say why the value is corrected.")
        corrected = _stated_by(locked, rule.act, field)
        if corrected is None:
            raise ActRefused("not_stated", f"No {rule.label} has been stated yet.")
        row: Any = getattr(locked, rule.row) if rule.row == "delivery" else locked
        old, new = _old_and_new(locked, row, field, value)
        if old == new:
            raise ActRefused("unchanged", "The new value is the same as the old one.")
        for name, part in _columns(field, new).items():
            setattr(row, name, part)
        if field in ("died_at", "discovered_at", "born_on"):
            _check_life(locked, now)
        row.full_clean(exclude=[] if rule.row == "delivery" else ["stage_entry"])
        corrected_row.append(row)
        return {
            "corrects": corrected.sequence,
            "field": field,
            "old": Sealed(_said(locked, old)),
            "new": Sealed(_said(locked, new)),
            "why": Sealed(why.strip()),
            **_mark(locked, field),
        }

    def put_right(entry: CustodyEntry) -> None:
        # After the entry: the database lets the row change only to what the entry says.
        for row in corrected_row:
            row.save(update_fields=_written(field))
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


def _old_and_new(case: Case, row: Any, field: str, value: Any) -> tuple[Any, Any]:
    """Return both values; a time of death is corrected with all that says how it is known."""
    if field != "died_at":
        return getattr(row, field), value
    return death.of(case), value if isinstance(value, death.Death) else death.exactly(value)


def _columns(field: str, value: Any) -> dict[str, Any]:
    return value.columns() if isinstance(value, death.Death) else {field: value}


def _written(field: str) -> list[str]:
    """Return the columns that a correction of the field writes."""
    also = {"decedent_name": ["name_folded"], "died_at": ["died_at_latest", "died_known_as"]}
    return [field, *also.get(field, [])]


def _said(case: Case, value: Any) -> str:
    if isinstance(value, death.Death):
        return value.sealed(case.facility.zone)
    return "" if value is None else str(value)


def _stated_by(case: Case, act: str, field: str) -> CustodyEntry | None:
    """Return the entry that stated the value; of several answers the newest that names it."""
    entries = CustodyEntry.objects.filter(case=case, act=act, outcome="done").order_by("sequence")
    if act != "settle":
        return entries.first()
    return next((e for e in entries.reverse() if field in json.loads(e.payload)["facts"]), None)


def _mark(case: Case, field: str) -> dict[str, Any]:
    """Mark a correction of who the person is that comes when no band can be compared."""
    late = field in IDENTITY and case.stage not in BEFORE_CHARGE and case.stage != "returned"
    return {"after_charge": True} if late else {}


def _check_life(case: Case, now: datetime) -> None:
    """Refuse a death in the future, after the person was received, or before the birth."""
    death.check(death.of(case), case.discovered_at, now)
    received = CustodyEntry.objects.filter(case=case, act="receive", outcome="done").first()
    if received and case.died_at > received.happened_at:
        raise ActRefused("time_order", "The person was received before this time of death.")
    if case.born_on and case.born_on > case.days_of_death[1]:
        raise ActRefused("born_after_death", "The date of birth lies after the death.")


def supersede(case: Case, field: str, entry: CustodyEntry) -> None:
    """Mark the case's papers that show this field as superseded by the correction's entry."""
    papers = Paper.objects.filter(case=case, superseded__isnull=True, facts__has_key=field)
    PaperSuperseded.objects.bulk_create(
        PaperSuperseded(paper=paper, entry=entry) for paper in papers
    )
