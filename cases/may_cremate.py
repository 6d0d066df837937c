"""May this person be cremated? One answer, put together from the gates and nothing else."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from cases.gates import GATES, PASSED, REFUSED, Situation, Verdict
from cases.models import Case
from cases.steps import BEFORE_CHARGE, ORDER, STEPS, Step
from cases.verdicts import DISPUTE, REVIEW

# Gates that the record alone answers, before anybody stands at the machine.
ON_RECORD = frozenset(
    (
        "no_hold",
        "band_compared",
        "papers_at_receipt",
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


class May(StrEnum):
    """The answer in a word."""

    YES = "yes"
    NOT_YET = "not yet"
    DISPUTED = "disputed"
    REVIEW = "a manager must review"


WORDS = {
    May.YES: "Nothing on record stands against it. What is left is checked at the charge.",
    May.NOT_YET: "Something is missing.",
    May.DISPUTED: "Somebody objects. Nothing is done until the dispute is settled.",
    May.REVIEW: "The law as it is known here does not settle who has the right.",
}
ONLY_TIME = "Nothing is missing but time."
MARKS = {
    May.YES: "passed",
    May.NOT_YET: "waiting",
    May.DISPUTED: "hold",
    May.REVIEW: "asked",
}


@dataclass(frozen=True)
class Need:
    """What stands against it, and the first step that will be refused for it."""

    verdict: Verdict
    step: Step


@dataclass(frozen=True)
class Verdicts:
    """The answer, what is missing for it, and what is proved."""

    may: May
    needs: tuple[Need, ...]
    proved: tuple[Verdict, ...]
    passes_at: datetime | None
    before_charge: tuple[Step, ...] = ()  # still to be taken before the charge itself

    @property
    def words(self) -> str:
        """The answer in a sentence; a yes says which steps are still to come."""
        if self.passes_at:
            return ONLY_TIME
        if self.may is May.YES and self.before_charge:
            steps = ", ".join(step.label for step in self.before_charge)
            return f"Nothing on record stands against it. Still to come before the charge: {steps}."
        return WORDS[self.may]

    @property
    def mark(self) -> str:
        """The mark that stands beside the answer."""
        return MARKS[self.may]

    @property
    def gates(self) -> frozenset[str]:
        """The names of the gates that are shut."""
        return frozenset(need.verdict.gate for need in self.needs)


def may_cremate(case: Case, now: datetime, asked: Iterable[Verdict] = ()) -> Verdicts | None:
    """Answer for a case before its charge; None afterwards, and for a person returned.

    `asked` are verdicts of the next step that were given already.
    """
    if case.stage not in BEFORE_CHARGE:
        return None
    given = {verdict.gate: verdict for verdict in asked}
    found: dict[str, Need] = {}
    for step in _ahead(case.stage):
        for name in (name for name in step.gates if name in ON_RECORD and name not in found):
            verdict = given.get(name) or GATES[name](Situation(case=case, step=step, now=now))
            found[name] = Need(verdict, step)
    needs = tuple(need for need in found.values() if need.verdict.state == REFUSED)
    needs = tuple(need for need in needs if not _told_before(need.verdict, found))
    proved = tuple(n.verdict for n in found.values() if n.verdict.state == PASSED)
    may = _may([need.verdict for need in needs])
    left = tuple(_ahead(case.stage)[:-1])
    return Verdicts(may, needs, proved, _passes_at(may, needs), left)


def _told_before(verdict: Verdict, found: dict[str, Need]) -> bool:
    """True where the charge lacks no other paper than the authorization already names."""
    earlier = found.get("documents_on_file")
    is_charge = verdict.gate == "papers_at_charge"
    return is_charge and earlier is not None and earlier.verdict.reason == verdict.reason


def _ahead(stage: str) -> list[Step]:
    """The steps that are still to be taken, up to the charge."""
    steps = [STEPS[verb] for verb in ORDER[: ORDER.index("charge") + 1]]
    first = next(at for at, step in enumerate(steps) if stage in step.stages_from)
    return steps[first:]


def _may(shut: list[Verdict]) -> May:
    if any(verdict.calls_for == DISPUTE for verdict in shut):
        return May.DISPUTED
    if any(verdict.calls_for != REVIEW for verdict in shut):
        return May.NOT_YET
    return May.REVIEW if shut else May.YES


def _passes_at(may: May, needs: tuple[Need, ...]) -> datetime | None:
    """When it may be done, where nothing is missing but time."""
    times = [need.verdict.passes_at for need in needs]
    known = [at for at in times if at is not None]
    return max(known) if may is May.NOT_YET and len(known) == len(times) else None
