"""New labels on the containers of cremated remains, after a correction superseded the old ones."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from cases.acts import do_act, need
from cases.errors import ActRefused
from cases.facts import label_read
from cases.gates import REFUSED, Situation
from cases.gates.after import each_labelled
from cases.models import Case
from cases.roles import WHO
from cases.steps import STEPS
from chain_of_custody.models import CustodyEntry
from crematory.signatures import Signature


def relabel(case: Case, signed_by: Signature, token: str, scans: Sequence[str]) -> CustodyEntry:
    """Record the label that was fixed to each container, in their order, as scanned there.

    Each must be one that would serve at the step that fills the containers, and its own.
    """

    def write(locked: Case, now: datetime) -> dict[str, Any]:
        need(signed_by.member, *WHO["relabel"])
        if locked.stage != "contained":
            raise ActRefused("stage", "Containers are labelled anew until they are released.")
        count = locked.containers.count()
        if len(scans) != count:
            raise ActRefused("labels_unread", f"Scan the label on each of the {count} containers.")
        answer = each_labelled(Situation(case=locked, step=STEPS["contain"], now=now), scans)
        if answer.state == REFUSED:
            raise ActRefused("labels_unread", f"{answer.reason} {answer.who.capitalize()}.")
        return {"containers": [{"label_scan": label_read(scan)} for scan in scans]}

    return do_act("relabel", case, signed_by.member, token, write, signature="pin")
