"""A ground on which the law may lift the wait: stated by a manager, with its paper."""

from datetime import datetime
from typing import Any

from cases import waits
from cases.acts import do_act, need, of_this_case
from cases.errors import ActRefused
from cases.models import Case, Document, WaitGround
from cases.roles import WHO
from cases.steps import BEFORE_CHARGE
from chain_of_custody.models import CustodyEntry
from chain_of_custody.trail import Sealed
from crematory.signatures import Signature

ACT = "state_wait_ground"


def state_wait_ground(
    case: Case,
    signed_by: Signature,
    token: str,
    ground: str,
    basis: str,
    *,
    is_claimed: bool = True,
    document: Document | None = None,
) -> CustodyEntry:
    """Record that a ground is claimed, or no longer; the papers that the law names must be filed.

    Raises ActRefused for a ground that the law of this case does not know.
    """

    def write(locked: Case, now: datetime) -> dict[str, Any]:
        need(signed_by.member, *WHO[ACT])
        if locked.stage not in BEFORE_CHARGE:
            raise ActRefused("stage", "After the charge nothing is waived any more.")
        if ground not in waits.grounds_known(locked):
            raise ActRefused(
                "ground_unknown",
                f"{locked.law.name}: the law that was read knows no such ground "
                f"({locked.law.wait_citation}).",
            )
        if not basis.strip():
            raise ActRefused("basis_missing", "Say who stated the ground, and on what.")
        of_this_case(locked, document)
        if is_claimed:
            _check_paper(locked, ground, document)
        row = WaitGround(
            case=locked,
            ground=ground,
            is_claimed=is_claimed,
            basis=basis.strip(),
            document=document,
            stated_at=now,
        )
        row.full_clean()
        row.save()
        return {
            "ground": Sealed(ground),
            "is_claimed": is_claimed,
            "basis": Sealed(row.basis),
            **({"paper": document.kind} if document else {}),
        }

    return do_act(ACT, case, signed_by.member, token, write, signature="pin")


def _check_paper(case: Case, ground: str, document: Document | None) -> None:
    """A claim rests on a paper that still counts, and has one where the law names no kind."""
    if document is not None and document.pk in waits.replaced_papers(case):
        raise ActRefused(
            "waiver_paper_replaced",
            "A later version has replaced this paper. Choose the paper that counts.",
        )
    of_ground = [w for w in case.law.wait.waivers if w.is_enforced and w.ground == ground]
    if document is None and all(waits.wants_its_paper(waiver) for waiver in of_ground):
        raise ActRefused(
            "waiver_paper_missing",
            "What is waived for this reason is seen in writing. File the paper, then choose it "
            "here.",
        )
