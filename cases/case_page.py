"""What the page of a case shows: its path, its gates, what is still missing, its papers.

Each part is read with a fixed number of queries, however long the case's history is.
"""

import secrets
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import QuerySet, prefetch_related_objects
from django.db.models.fields.json import KT

from cases import documents, holds, law, papers, radiation, right, things, waits
from cases.case_clocks import Shown, clocks_of
from cases.gates import GATES, REFUSED, Situation, Verdict, ask_all
from cases.models import Case, DeviceAnswer, Hold
from cases.roles import WHO, power, powers
from cases.selectors import may_correct
from cases.steps import BEFORE_CHARGE, ORDER, STEPS, Step, next_step
from chain_of_custody.models import CustodyEntry, Paper, open_placement
from crematory import clock
from crematory.models import StaffMember

# Gates of later steps that the record alone answers, before anybody stands at the machine.
ON_RECORD = frozenset(
    (
        "documents_on_file",
        "papers_at_charge",
        "authorizing_agent",
        "no_dispute",
        "disposition_named",
        "recipients_named",
        "medical_clearance",
        "devices_answered",
        "devices_removed",
        "radionuclide_wait",
        "jewellery_settled",
        "waiting_period",
    )
)


LABEL_GATES = {"label_scanned", "label_disc_scanned"}
# What gates and page read of the case.
FETCHED = (
    *right.FETCHED,
    "documents__upload",
    "documents__replaced_by",
    "wait_grounds",
    "recipients",
    "device_answers",
    "things__returned",
    "things_looked_for",
    *holds.FETCHED,
)


def _path(case: int) -> QuerySet[Any]:
    return (
        CustodyEntry.objects.filter(case=case)
        .exclude(stage_to="")
        .select_related("signed_by", "witness")
        .only("act", "happened_at", "signed_by__printed_name", "witness__printed_name")
    )


def _printed(case: int) -> QuerySet[Any]:
    return (
        Paper.objects.filter(case=case)
        .select_related("superseded")
        .annotate(by_hand=KT("facts__by_hand"))
        .defer("facts")
        .order_by("-printed_at", "-pk")
    )


@dataclass(frozen=True)
class PathStep:
    """One step of the path: done (with its entry), next, or later."""

    step: Step
    entry: CustodyEntry | None
    is_next: bool


@dataclass(frozen=True)
class Missing:
    """What a later step will be refused for, as the record stands."""

    step: Step
    verdict: Verdict


@dataclass(frozen=True)
class HeldBy:
    """A hold that stands, with who has not heard of it and how it stands to the charge."""

    hold: Hold
    not_told: list[str]
    late: holds.Late | None


def path(case: Case) -> list[PathStep]:
    """Return the path; a person returned uncremated has that step in place of the rest."""
    entries = {entry.act: entry for entry in _path(case.pk)}
    ahead = next_step(case.stage)
    verbs = ORDER
    if "return_uncremated" in entries:
        verbs = (*(verb for verb in ORDER if verb in entries), "return_uncremated")
    return [PathStep(STEPS[v], entries.get(v), ahead == STEPS[v]) for v in verbs]


def missing_later(case: Case, now: datetime) -> list[Missing]:
    """Return what the record lacks for the steps after the next one, up to the charge."""
    ahead = next_step(case.stage)
    if ahead is None:
        return []
    up_to_charge = ORDER[: ORDER.index("charge") + 1]
    later = [STEPS[v] for v in up_to_charge if ORDER.index(v) > ORDER.index(ahead.verb)]
    seen = set(ahead.gates)
    found = []
    for step in later:
        # The charge asks some gates again; each is shown once, at the first step that asks.
        for name in [n for n in step.gates if n in ON_RECORD and n not in seen]:
            seen.add(name)
            verdict = GATES[name](Situation(case=case, step=step, now=now))
            if verdict.state == REFUSED and not _told_before(name, verdict, case, now):
                found.append(Missing(step, verdict))
    return found


def _told_before(name: str, verdict: Verdict, case: Case, now: datetime) -> bool:
    """True where the charge lacks no other paper than the authorization already names."""
    if name != "papers_at_charge":
        return False
    earlier = Situation(case=case, step=STEPS["authorize"], now=now)
    return GATES["documents_on_file"](earlier).reason == verdict.reason


def newest_devices(case: Case) -> list[tuple[str, DeviceAnswer | None]]:
    """Return each device question with the answer that counts, or None."""
    newest = {answer.device: answer for answer in case.device_answers.all()}
    return [(str(device.label), newest.get(device)) for device in DeviceAnswer.Device]


def printable(case: Case) -> list[tuple[papers.Kind, str]]:
    """Return the kinds of paper that can be printed now, each with the token of one printing."""
    return [(kind, secrets.token_urlsafe(24)) for kind in papers.available(case)]


def label_needed(case: Case, gates: list[Verdict]) -> tuple[papers.Kind, str] | None:
    """Return the label and a token where the next step is refused for want of a good one."""
    if any(v.gate in LABEL_GATES and v.state == REFUSED for v in gates):
        return papers.KINDS["label"], secrets.token_urlsafe(24)
    return None


def printed(case: Case) -> list[tuple[str, Paper]]:
    """Return the papers that were printed, newest first, with their titles."""
    return [
        (papers.KINDS[p.kind].title if p.kind in papers.KINDS else p.kind, p)
        for p in _printed(case.pk)
    ]


def case_page(case: Case, now: datetime, member: StaffMember) -> dict[str, Any]:
    """Return what the page shows to this member, but for its kept parts."""
    prefetch_related_objects([case], *FETCHED)
    ahead = next_step(case.stage)
    gates = ask_all(Situation(case=case, step=ahead, now=now)) if ahead else []
    return {
        "case": case,
        "next_step": ahead,
        "gates": gates,
        "label_needed": label_needed(case, gates),
        "missing": missing_later(case, now),
        "placement": open_placement(case),
        "holds": [HeldBy(h, holds.not_told(h), holds.late(h)) for h in holds.open_holds(case)],
        "lifted_holds": holds.lifted_holds(case),
        "meanwhile": holds.meanwhile(case.stage),
        "printable": printable(case),
        "correcting": power(member, may_correct(case)),
        "lifting": power(member, WHO["lift_hold"]),
    }


def path_part(case: Case) -> dict[str, Any]:
    """Return the path, and whether the person may still be returned."""
    can_return = case.stage in STEPS["return_uncremated"].stages_from
    return {"case": case, "path": path(case), "can_return": can_return}


def record_part(case: Case, member: StaffMember) -> dict[str, Any]:
    """Return what is on file and who adds to it; the case's rows should be prefetched."""
    return {
        "case": case,
        "devices": newest_devices(case),
        "radiation": radiation.shown(case, clock.now()),
        "things": things.standing(case),
        "things_due": bool(things.due(case)),
        "looked": bool(case.things_looked_for.all()),
        "can_settle": case.stage in BEFORE_CHARGE,
        "may": powers(member, case.stage),
        "can_file": documents.can_file(case, member),
    }


def clocks_part(case: Case, now: datetime, member: StaffMember) -> dict[str, Any]:
    """Return the clocks of the law that run, and the rules under which the case is judged."""
    may_waive = case.stage in BEFORE_CHARGE and bool(waits.grounds_known(case))
    return {
        "case": case,
        "clocks": [Shown(clock, now) for clock in clocks_of(case)],
        "law": case.law,
        "judged": law.kept(case.judged_under.text, case.judged_under.digest)
        if case.judged_under
        else None,
        "may_waive": may_waive and power(member, WHO["state_wait_ground"]).may,
        "check_locally": law.CHECK_LOCALLY,
    }


def printed_part(case: Case) -> dict[str, Any]:
    """Return the papers that were printed."""
    return {"case": case, "printed": printed(case)}
