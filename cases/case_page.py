"""What the page of a case shows: the answer, its path, its gates, its papers.

Each part is read with a fixed number of queries, however long the case's history is.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from cases import (
    case_rows,
    device_rules,
    documents,
    holds,
    law,
    law_questions,
    papers,
    radiation,
    read_before,
    right,
    things,
    waits,
)
from cases.case_clocks import Shown, clocks_of, moments_in
from cases.gates import REFUSED, Situation, Verdict, ask_all
from cases.may_cremate import may_cremate
from cases.models import Case, DeviceAnswer, Hold
from cases.roles import WHO, power, powers
from cases.run_facts import run_facts
from cases.selectors import may_correct
from cases.steps import BEFORE_CHARGE, ORDER, STEPS, Step, next_step
from chain_of_custody.models import CustodyEntry, Paper
from crematory.models import StaffMember

# Gates that may ask what the law makes depend on an answer.
PAPER_GATES = ("papers_at_receipt", "documents_on_file", "papers_at_charge")
LABEL_GATES = {"label_scanned", "label_disc_scanned"}
PLACE_GATES = {"free_bay", "free_tray", "free_shelf"}
Printed = tuple[str, Paper, bool, bool]
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


@dataclass(frozen=True)
class PathStep:
    """One step of the path: done (with its entry), next, or later."""

    step: Step
    entry: CustodyEntry | None
    is_next: bool


@dataclass(frozen=True)
class HeldBy:
    """A hold that stands, with who has not heard of it and how it stands to the charge."""

    hold: Hold
    not_told: list[str]
    late: holds.Late | None


def path(case: Case, entries: dict[str, CustodyEntry]) -> list[PathStep]:
    """Return the path; a person returned uncremated has that step in place of the rest."""
    ahead = next_step(case.stage)
    verbs = ORDER
    if "return_uncremated" in entries:
        verbs = (*(verb for verb in ORDER if verb in entries), "return_uncremated")
    return [PathStep(STEPS[v], entries.get(v), ahead == STEPS[v]) for v in verbs]


def newest_devices(case: Case) -> list[tuple[str, DeviceAnswer | None]]:
    """Return each device question with the answer that counts, or None."""
    newest = {answer.device: answer for answer in case.device_answers.all()}
    return [(str(device.label), newest.get(device)) for device in device_rules.asked(case.law)]


def label_needed(case: Case, gates: list[Verdict]) -> papers.Kind | None:
    """Return the label where the next step is refused for want of a good one."""
    refused = any(v.gate in LABEL_GATES and v.state == REFUSED for v in gates)
    return papers.KINDS["label"] if refused else None


def printed(case: Case) -> list[Printed]:
    """Return the papers that were printed, newest first: title, by hand, superseded."""
    titles = {name: kind.title for name, kind in papers.KINDS.items()}
    rows = case_rows.printed(case)
    return [(titles.get(paper.kind, paper.kind), paper, hand, old) for paper, hand, old in rows]


def case_page(case: Case, now: datetime, member: StaffMember) -> dict[str, Any]:
    """Return all that the page shows to this member; `changes` are when time alone changes it."""
    waiting = case_rows.fetch(case)
    ahead, papers_printed, run = next_step(case.stage), printed(case), run_facts(case, now)
    _read_for_gates(case, ahead, papers_printed)
    gates = ask_all(Situation(case=case, step=ahead, now=now)) if ahead else []
    answer = may_cremate(case, now, gates)
    entries = case_rows.steps_taken(case)
    clocks = clocks_of(case, moments_in(case, entries))
    verdicts = [*gates, *(need.verdict for need in answer.needs)] if answer else gates
    return {
        "case": case,
        "next_step": ahead,
        "gates": gates,
        "label_needed": label_needed(case, gates),
        "may_cremate": answer,
        "law_asks": PAPER_GATES if law_questions.has_any(case.law) else (),
        "placement": case_rows.placement_now(case),
        "holds": [HeldBy(h, holds.not_told(h), holds.late(h)) for h in holds.open_holds(case)],
        "lifted_holds": holds.lifted_holds(case),
        "meanwhile": holds.meanwhile(case.stage),
        "path": path(case, entries),
        "can_return": case.stage in STEPS["return_uncremated"].stages_from,
        "run_facts": run,
        "printable": papers.available(case),
        "printed": papers_printed,
        "clocks": [Shown(clock, now) for clock in clocks],
        "changes": [
            *(verdict.passes_at for verdict in verdicts),
            *(at for clock in clocks for at in clock.changes_at()),
        ],
        **_of_the_law(case, member),
        **_on_record(case, now),
        **_may(case, member, waiting),
    }


def _read_for_gates(case: Case, ahead: Step | None, shown: list[Printed]) -> None:
    """Read once what several gates look into."""
    gates = frozenset(ahead.gates if ahead else ())
    superseded = frozenset(paper.number for _, paper, _, is_old in shown if is_old)
    read_before.read(
        case,
        superseded,
        labels=not gates.isdisjoint(LABEL_GATES),
        places=not gates.isdisjoint(PLACE_GATES),
    )


def _of_the_law(case: Case, member: StaffMember) -> dict[str, Any]:
    """The rules under which the case is judged, and whether a waiver may be stated."""
    may_waive = case.stage in BEFORE_CHARGE and bool(waits.grounds_known(case))
    return {
        "law": case.law,
        "judged": law.kept(case.judged_under.text, case.judged_under.digest)
        if case.judged_under
        else None,
        "may_waive": may_waive and power(member, WHO["state_wait_ground"]).may,
        "check_locally": law.CHECK_LOCALLY,
    }


def _on_record(case: Case, now: datetime) -> dict[str, Any]:
    """What is on file; the case's rows are prefetched."""
    return {
        "devices": newest_devices(case),
        "radiation": radiation.shown(case, now),
        "things": things.standing(case),
        "things_due": bool(things.due(case)),
        "looked": bool(case.things_looked_for.all()) and things.is_looked_for(case),
    }


def _may(case: Case, member: StaffMember, waiting: int) -> dict[str, Any]:
    """What this member may do beside the steps, and the files that wait for it."""
    can_file = documents.can_file(case, member)
    return {
        "correcting": power(member, may_correct(case)),
        "lifting": power(member, WHO["lift_hold"]),
        "may": powers(member, case.stage),
        "can_settle": case.stage in BEFORE_CHARGE,
        "can_file": can_file,
        "files_waiting": waiting if can_file else 0,
    }
