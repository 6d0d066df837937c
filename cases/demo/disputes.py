"""How a family's dispute goes in the demonstration: who is told of it, and what settles it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from cases import acts, hold_acts, right_acts
from cases.models import Document, Hold
from crematory import clock

if TYPE_CHECKING:
    from cases.demo.life import Life

# The kind of the paper that settles it, who issued it, and the manager's reason.
SETTLED: dict[str, tuple[str, str, str]] = {
    "order": (
        "court_order",
        "district court",
        "The court has heard both and leaves the decision to the widow.",
    ),
    "agreement": (
        "other",
        "the family, before a notary",
        "They agreed in writing on a burial; the person goes back to the sender.",
    ),
    "withdrawal": (
        "other",
        "the objector, before a witness",
        "He withdraws in writing what he said, after he spoke with his sister.",
    ),
}


def tell(life: Life) -> None:
    """Let the front office telephone the sender and the one who signed."""
    hold_acts.tell(
        Hold.objects.get(case=life.case),
        life.hands.member(life.front()),
        life.hands.token(),
        [life.person.sender, life.person.agent],
        "by telephone",
        clock.now(),
    )


def settle(life: Life) -> None:
    """Let the manager lift the hold on the paper that settles it; who withdraws then signs."""
    kind, issued_by, reason = SETTLED[life.person.settled_by]
    hold = Hold.objects.get(case=life.case)
    lifting = hold_acts.Lifting(
        on=life.person.settled_by, reason=reason, document=_file(life, kind, issued_by)
    )
    hold_acts.lift_hold(hold, life.hands["MG1"], life.hands.token(), lifting)
    tell(life)
    if life.person.settled_by == "withdrawal" and hold.holder:
        said = right_acts.Said(
            position="signed", said_at=clock.now(), how="at the counter, on paper"
        )
        member = life.hands.member(life.front())
        right_acts.state_agent(hold.holder, member, life.hands.token(), said)


def _file(life: Life, kind: str, issued_by: str) -> Document:
    acts.file_document(
        life.case,
        life.hands.member(life.front()),
        life.hands.token(),
        kind=kind,
        reference=f"DR-{7100 + life.index}",
        issued_by=issued_by,
        issued_on=clock.now().date(),
    )
    return life.case.documents.latest("pk")
