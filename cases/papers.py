"""The papers of a case: which there are, from which stage on, and how one is printed."""

from collections.abc import Callable
from dataclasses import dataclass

from django.utils import timezone

from cases import paper_facts, run_sheet, thing_paper, trail_paper
from cases.models import Case
from cases.paper_titles import PAPER_TITLES
from cases.steps import BEFORE_CHARGE, STAGES
from chain_of_custody import press, trail
from chain_of_custody.models import Paper
from chain_of_custody.press import Facts, PrintRefused
from chain_of_custody.typesetter import PressUnavailable
from crematory.models import StaffMember

ALL_STAGES = tuple(STAGES)


def _from(stage: str) -> frozenset[str]:
    """Return the stages from this one on, without the return of a person uncremated."""
    return frozenset(ALL_STAGES[ALL_STAGES.index(stage) :]) - {"returned"}


@dataclass(frozen=True)
class Kind:
    """One kind of paper, and the stages in which it can be printed.

    `by_hand` is the template of what a person writes where nothing can be printed. A paper that
    is not listed belongs to one step: its page offers it.
    """

    name: str
    template: str
    stages: frozenset[str]
    facts: Callable[[Case], Facts]
    by_hand: str = ""
    is_listed: bool = True
    when: Callable[[Case], bool] | None = None

    @property
    def title(self) -> str:
        """What this paper is called."""
        return PAPER_TITLES[self.name]

    def is_available(self, case: Case) -> bool:
        """True when this paper can be printed for the case as it stands."""
        return case.stage in self.stages and (self.when is None or self.when(case))


KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind(
            "label",
            "papers/label.html",
            _from("in_care"),
            paper_facts.label,
            by_hand="papers/label.txt",
        ),
        Kind(
            "receipt",
            "papers/receipt.html",
            _from("in_care") | {"returned"},
            paper_facts.receipt,
        ),
        Kind(
            "certificate",
            "papers/certificate.html",
            _from("recovered"),
            paper_facts.certificate,
        ),
        Kind(
            "run_sheet",
            "papers/run_sheet.html",
            _from("cooling"),
            run_sheet.facts,
        ),
        # A receipt to be filled in by hand at the handing over is another paper than the one
        # that says what happened: neither is a copy of the other.
        Kind(
            "release_form",
            "papers/release.html",
            frozenset({"contained"}),
            paper_facts.release,
        ),
        Kind(
            "release",
            "papers/release.html",
            frozenset({"released"}),
            paper_facts.release,
        ),
        Kind(
            "return_form",
            "papers/return.html",
            frozenset(BEFORE_CHARGE) - {"expected"},
            paper_facts.return_uncremated,
            is_listed=False,
        ),
        Kind(
            "return",
            "papers/return.html",
            frozenset({"returned"}),
            paper_facts.return_uncremated,
        ),
        # As with the release: what is signed and what says what happened are two papers.
        Kind(
            "things_form",
            "papers/things.html",
            frozenset(ALL_STAGES),
            thing_paper.things_form,
            when=thing_paper.has_due,
        ),
        Kind(
            "things",
            "papers/things.html",
            frozenset(ALL_STAGES),
            thing_paper.things_given,
            when=thing_paper.has_given,
        ),
        Kind(
            "trail",
            "papers/trail.html",
            frozenset(ALL_STAGES),
            trail_paper.facts,
        ),
    )
}


# The papers that a step's own page offers.
OF_STEP = {
    "charge": "label",
    "contain": "label",
    "release": "release_form",
    "return_uncremated": "return_form",
}


def available(case: Case) -> list[Kind]:
    """Return the kinds of paper that the page of the case offers as it stands."""
    return [kind for kind in KINDS.values() if kind.is_listed and kind.is_available(case)]


def print_for(
    case: Case,
    kind: Kind,
    printed_by: StaffMember,
    token: str | None = None,
    *,
    by_hand: bool = False,
) -> Paper:
    """Print a paper of this kind, or issue it to be written `by_hand`.

    A repeated token gives the first paper. Raises PrintRefused before its stage or for a member
    of another facility, and PressUnavailable if nothing can be printed on this system. A refusal
    is recorded.
    """
    try:
        return _print_for(case, kind, printed_by, token, by_hand)
    except PrintRefused as refusal:
        facts = {"kind": kind.name}
        trail.record_refusal(
            case.facility, "print", [refusal.code], printed_by, case=case, facts=facts
        )
        raise


def _print_for(
    case: Case, kind: Kind, printed_by: StaffMember, token: str | None, by_hand: bool
) -> Paper:
    if by_hand and not kind.by_hand:
        raise PrintRefused("by_hand", f"“{kind.title}” cannot be written by hand.")
    if printed_by.facility_id != case.facility_id or not printed_by.is_active:
        raise PrintRefused("member", "This member cannot print here.")

    def facts() -> Facts:
        fresh = Case.objects.select_related("facility").get(pk=case.pk)
        if not kind.is_available(fresh):
            raise PrintRefused(
                "stage",
                f"“{kind.title}” cannot be printed while this case is {STAGES[fresh.stage]}.",
            )
        with timezone.override(fresh.facility.zone):
            return paper_facts.person(fresh) | kind.facts(fresh)

    return press.print_paper(
        press.Order(
            case=case,
            kind=kind.name,
            title=kind.title,
            template=kind.by_hand if by_hand else kind.template,
            facts=facts,
            printed_by=printed_by,
            token=token,
            by_hand=by_hand,
        )
    )


def make_label(case: Case, member: StaffMember, token: str) -> Paper:
    """Print the container label; where this system prints nothing, issue it by hand."""
    try:
        return print_for(case, KINDS["label"], member, token)
    except PressUnavailable:
        return print_for(case, KINDS["label"], member, token, by_hand=True)
