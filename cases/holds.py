"""Reading holds: what may lift one, who is to be told, when the objection came, what the law says.

A dispute is lifted by a court's order, a signed agreement or a written withdrawal, each with its
paper on file. Two ways are left for what is no dispute at all: the rules no longer give the
objector a say (computed here, never stated), or it was recorded by mistake, which two persons
sign.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache

from cases import right, settling
from cases.authority.persons import DIRECTIONS
from cases.law import Jurisdiction
from cases.law.base import State
from cases.models import Case, Document, Hold, HoldNotice, RightHolder
from cases.names import fold
from cases.steps import BEFORE_CHARGE
from crematory.written import Written

LiftedBy = Hold.LiftedBy
ON_PAPER = frozenset({LiftedBy.ORDER, LiftedBy.AGREEMENT, LiftedBy.WITHDRAWAL})
# What a page or gate needs of open holds without asking for each of them anew.
FETCHED = (
    "holds__opened_by",
    "holds__lifted_by",
    "holds__holder",
    "holds__document",
    "holds__lift_document",
    "holds__notices",
)
DEMANDS: dict[str, str] = {
    LiftedBy.ORDER: "the order of the court is on file as a court order, and chosen here",
    LiftedBy.AGREEMENT: "the agreement that the persons signed is on file, and chosen here",
    LiftedBy.WITHDRAWAL: "what the person wrote and signed is on file, and chosen here",
    LiftedBy.CLEARED: "the reason says what cleared it",
    LiftedBy.MISTAKE: "the reason says what was mistaken",
}
CLEARED_DISPUTE = "by the rules as they stand the person who objects has no say any more"
MISTAKEN_DISPUTE = "the reason says what was mistaken; a second person signs too"
MEANWHILE: dict[str, str] = {
    "expected": "The person may be expected, and is not received before the hold is lifted.",
    "in_retort": (
        "The machine finishes this run: it is neither stopped nor opened for the hold. Readings "
        "go on, and the burner goes off as always once visible flame has ended; note the time, "
        "and record it when the hold is lifted. Nothing else is touched. A manager decides."
    ),
    "cooling": (
        "The retort cools and stays shut: nothing is swept and nothing is taken out, and nobody "
        "else is charged in it. Readings go on. A manager decides."
    ),
    "recovered": (
        "The remains stay on their tray with their disc: nothing is processed. A manager decides."
    ),
    "processed": (
        "The remains stay together with their disc: nothing is filled, divided or handed over. "
        "A manager decides."
    ),
    "contained": "The remains stay on their shelf: nothing is handed over. A manager decides.",
}
IN_CARE = "The person stays in care where they are, and nobody prepares the next step."
RULES = {
    "may_refuse": "The crematory may refuse to go on while persons with the right disagree",
    "must_refuse": "The crematory must not go on while persons with the right disagree",
    "court_decides": "Where persons with the right disagree, a {court}court decides",
}
UNTIL = {"court_order": "a court's order", "settlement": "proof that they settled it"}


@lru_cache
def _held(count: int) -> Written:
    """The query of those on hold among this many cases."""
    parts = (
        "SELECT h.case_id FROM cases_hold h WHERE h.lifted_at IS NULL AND h.case_id IN (",
        ", ".join(["%s"] * count),
        ")",
    )
    return Written(" ".join(parts))


@dataclass(frozen=True)
class Way:
    """One way of lifting a hold, with what it demands, in plain words."""

    key: str
    label: str
    demand: str


def ways(hold: Hold) -> list[Way]:
    """Return what may lift this hold now, a paper first."""
    is_dispute = hold.kind == Hold.Kind.DISPUTE
    demands = dict(DEMANDS)
    if is_dispute:
        demands[LiftedBy.CLEARED] = CLEARED_DISPUTE
        demands[LiftedBy.MISTAKE] = MISTAKEN_DISPUTE
        if not has_no_say(hold):
            del demands[LiftedBy.CLEARED]
    order = list(demands) if is_dispute else sorted(demands, key=lambda key: key in ON_PAPER)
    return [Way(key, str(LiftedBy(key).label), demands[key]) for key in order]


def has_no_say(hold: Hold) -> bool:
    """Whether an objection stands that by the rules as they are now does not matter.

    Never true of somebody who is not named in the case: of them the rules say nothing. Nor of
    an objection that was settled: what settled it lifts the hold, with its paper.
    """
    if hold.holder is None or not right.person_of(hold.holder).opposes:
        return False
    objectors = right.answer_for(hold.case).objectors
    return hold.holder.person not in {int(person.key) for person in objectors}


def held_among(cases: Iterable[int]) -> set[int]:
    """Return which of these cases, by their keys, are on hold. One query, or none."""
    keys = list(cases)
    if not keys:
        return set()
    return {case for (case,) in _held(len(keys))(*keys)}


def open_holds(case: Case) -> list[Hold]:
    """Return the holds that nobody has lifted, oldest first."""
    return [hold for hold in case.holds.all() if hold.lifted_at is None]


def lifted_holds(case: Case) -> list[Hold]:
    """Return the holds that were lifted, oldest first."""
    return [hold for hold in case.holds.all() if hold.lifted_at is not None]


def usable_papers(hold: Hold) -> list[Document]:
    """Return the papers on file that may lift the hold: not its own, none that was replaced.

    A dispute is lifted only by what may settle it.
    """
    found = hold.case.documents.filter(replaced_by__isnull=True)
    papers = [paper for paper in found if paper.pk != hold.document_id]
    if hold.kind != Hold.Kind.DISPUTE:
        return papers
    since = settling.since_of_hold(hold)
    return [paper for paper in papers if settling.why_not(paper, since) is None]


def to_be_told(hold: Hold) -> list[str]:
    """Return who should hear of a hold: the sender; in a dispute also all who have a say."""
    case = hold.case
    names = [case.sender]
    if hold.kind == Hold.Kind.DISPUTE:
        names += [holder.name for holder in case.right_holders.all() if _can_be_told(holder)]
        names.append(hold.raised_by)
    return _once(names)


def not_told(hold: Hold) -> list[str]:
    """Return who has not heard of the hold; once it is lifted, who has not heard of that."""
    notices = told_of_lifting(hold) if hold.lifted_at else list(hold.notices.all())
    heard = {fold(notice.told) for notice in notices}
    return [name for name in to_be_told(hold) if fold(name) not in heard]


def told_of_hold(hold: Hold) -> list[HoldNotice]:
    """Return whom somebody told while the hold stood."""
    later = told_of_lifting(hold)
    return [notice for notice in hold.notices.all() if notice not in later]


def told_of_lifting(hold: Hold) -> list[HoldNotice]:
    """Return whom somebody told after the hold was lifted."""
    at = hold.lifted_at
    return [n for n in hold.notices.all() if at is not None and n.told_at >= at]


def _can_be_told(holder: RightHolder) -> bool:
    known = right.newest_facts(holder)
    return holder.rank != DIRECTIONS and (known is None or known.is_living is not False)


def _once(names: Iterable[str]) -> list[str]:
    found = {fold(name): name for name in names if name.strip()}
    return list(found.values())


@dataclass(frozen=True)
class Late:
    """An objection that was recorded after the charge; `said_before` is the worst of it."""

    charged_at: datetime
    said_at: datetime | None

    @property
    def said_before(self) -> bool:
        """Whether it was said before the charge, and only recorded after it."""
        return self.said_at is not None and self.said_at < self.charged_at


def late(hold: Hold) -> Late | None:
    """Return how an objection stands to the charge, or None where it came in time."""
    run = getattr(hold.case, "run", None)
    if hold.kind != Hold.Kind.DISPUTE or run is None or hold.opened_at < run.charged_at:
        return None
    return Late(run.charged_at, _said_at(hold))


def _said_at(hold: Hold) -> datetime | None:
    """When the objector said what the hold rests on, in whichever of their classes."""
    if hold.holder is None:
        return None
    # The case's own rows, which a page has fetched with what each said.
    own = next(h for h in hold.case.right_holders.all() if h.pk == hold.holder_id)
    said = [
        row.said_at
        for row in right.statements_of_person(own)
        if row.position in right.AGAINST and row.stated_at <= hold.opened_at
    ]
    return said[-1] if said else None


def meanwhile(stage: str) -> str:
    """Return what the staff do while a case at this stage is on hold."""
    return MEANWHILE.get(stage, IN_CARE)


def is_after_charge(case: Case) -> bool:
    """Whether the cremation has begun, so that an objection cannot stop it any more."""
    return case.stage not in (*BEFORE_CHARGE, "returned")


@dataclass(frozen=True)
class LawNote:
    """What a law says in a few words, and where."""

    text: str
    citation: str


def dispute_law(law: Jurisdiction) -> LawNote:
    """Return what the jurisdiction says of disputes; this house holds whatever it says."""
    rule = law.dispute
    if not rule.is_enforced or rule.rule is None:
        text = f"What the law of {law.name} says of disputes is not known here."
        return LawNote(f"{text} The house holds all the same.", "")
    said = RULES[rule.rule].format(court=f"{rule.court} " if rule.court else "")
    if rule.until and rule.rule != "court_decides":
        said += ", until " + " or ".join(UNTIL[key] for key in rule.until)
    if rule.court_days:
        said += f"; the court decides within {rule.court_days} days of filing"
    confirm = " (confirm before use)" if rule.state == State.CONFIRM else ""
    note = f" {rule.note}" if rule.note else ""
    return LawNote(f"{said}.{note}", f"{rule.citation}{confirm}")
