"""The papers of a case: which there are, from which stage on, and how one is printed."""

from collections.abc import Callable
from dataclasses import dataclass

from django.utils import timezone

from cases import paper_facts
from cases.models import Case
from cases.steps import BEFORE_CHARGE, STAGES
from chain_of_custody import press
from chain_of_custody.models import Paper
from chain_of_custody.press import Facts, PrintRefused
from crematory.models import StaffMember

ALL_STAGES = tuple(STAGES)


def _from(stage: str) -> frozenset[str]:
    """Return the stages from this one on, without the return of a person uncremated."""
    return frozenset(ALL_STAGES[ALL_STAGES.index(stage) :]) - {"returned"}


@dataclass(frozen=True)
class Kind:
    """One kind of paper, and the stages in which it can be printed."""

    name: str
    title: str
    template: str
    stages: frozenset[str]
    facts: Callable[[Case], Facts]

    def is_available(self, case: Case) -> bool:
        """True when this paper can be printed for the case as it stands."""
        return case.stage in self.stages


KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind(
            "label",
            "Container label",
            "papers/label.html",
            _from("in_care"),
            paper_facts.label,
        ),
        Kind(
            "receipt",
            "Receipt of remains",
            "papers/receipt.html",
            _from("in_care") | {"returned"},
            paper_facts.receipt,
        ),
        Kind(
            "certificate",
            "Certificate of cremation",
            "papers/certificate.html",
            _from("recovered"),
            paper_facts.certificate,
        ),
        # The receipts are signed at the handing over, so they can be printed just before it.
        Kind(
            "release",
            "Release receipt",
            "papers/release.html",
            _from("contained"),
            paper_facts.release,
        ),
        Kind(
            "return",
            "Return receipt",
            "papers/return.html",
            frozenset(BEFORE_CHARGE) - {"expected"} | {"returned"},
            paper_facts.return_uncremated,
        ),
        Kind(
            "trail",
            "Custody trail",
            "papers/trail.html",
            frozenset(ALL_STAGES),
            paper_facts.trail,
        ),
    )
}


def available(case: Case) -> list[Kind]:
    """Return the kinds of paper that can be printed for the case as it stands."""
    return [kind for kind in KINDS.values() if kind.is_available(case)]


def print_for(case: Case, kind: Kind, printed_by: StaffMember, token: str | None = None) -> Paper:
    """Print a paper of this kind; a repeated token gives the first paper.

    Raises PrintRefused before its stage or for a member of another facility, and
    PressUnavailable if nothing can be printed on this system.
    """
    if printed_by.facility_id != case.facility_id or not printed_by.is_active:
        raise PrintRefused("This member cannot print here.")

    def facts() -> Facts:
        fresh = Case.objects.select_related("facility").get(pk=case.pk)
        if not kind.is_available(fresh):
            raise PrintRefused(
                f"“{kind.title}” cannot be printed while this case is {STAGES[fresh.stage]}."
            )
        with timezone.override(fresh.facility.zone):
            return paper_facts.person(fresh) | kind.facts(fresh)

    return press.print_paper(
        press.Order(
            case=case,
            kind=kind.name,
            title=kind.title,
            template=kind.template,
            facts=facts,
            printed_by=printed_by,
            token=token,
        )
    )
