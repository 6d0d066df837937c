"""Which paper may settle what somebody said against a cremation.

What settles it is a new paper: a court's order, an agreement or a written withdrawal that came
after the objection. The letter of the objection itself never does, in whichever version.
"""

from datetime import datetime

from cases import right
from cases.errors import ActRefused
from cases.models import Case, Document, Hold, RightHolder

# An agreement and a withdrawal have no kind of their own; they are filed as another paper.
KINDS = frozenset({"court_order", "other"})


def why_not(document: Document, since: datetime) -> ActRefused | None:
    """Return why this paper of the case settles nothing said at `since`; None where it may."""
    case, versions = document.case, _versions(document)
    is_replaced = right.is_replaced(case, document.pk)
    if is_replaced or {paper.pk for paper in versions} & _papers_against(case):
        return ActRefused(
            "paper_unfit",
            "This paper is a version of the objection itself, or a later version has replaced "
            "it. Choose the paper that settles the objection.",
        )
    if document.kind not in KINDS:
        return ActRefused(
            "paper_settles_nothing",
            "A court's order, a signed agreement or a written withdrawal settles it; this paper "
            "is none of them. File an agreement or a withdrawal as another paper.",
        )
    if versions[0].filed_at < since:
        return ActRefused(
            "paper_before",
            "This paper was on file before the objection. What settles it came after it.",
        )
    return None


def since_of(holder: RightHolder) -> datetime | None:
    """Return when what the person says against the cremation was last recorded, while it stands."""
    if not right.person_of(holder).opposes:
        return None
    against = [s for s in right.statements_of_person(holder) if s.position in right.AGAINST]
    return against[-1].stated_at if against else None


def since_of_hold(hold: Hold) -> datetime:
    """Return the time after which a paper must have come to lift the hold of a dispute."""
    said = since_of(hold.holder) if hold.holder else None
    return max(hold.opened_at, said) if said else hold.opened_at


def _versions(document: Document) -> list[Document]:
    """Return the paper with all that it replaced, the first version first."""
    on_file = {paper.pk: paper for paper in document.case.documents.all()}
    found = [document]
    while found[0].replaces_id is not None:
        found.insert(0, on_file[found[0].replaces_id])
    return found


def _papers_against(case: Case) -> set[int]:
    """Return the numbers of the papers with which somebody objected, or took a signature back."""
    holders = case.right_holders.all()
    said = {row.document_id for holder in holders for row in holder.statements.all()
            if row.position in right.AGAINST}  # fmt: skip
    held = {hold.document_id for hold in case.holds.all() if hold.kind == Hold.Kind.DISPUTE}
    return {number for number in said | held if number is not None}
