"""What a page reads once for all gates: they look here before they ask the database themselves.

Only a page leaves it, on the case that it shows. An act locks its case and reads it anew, so that
its gates find nothing here and ask by the framework's queries; tests compare both.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from cases.models import Case
from chain_of_custody.models import CustodyEntry, Paper, PaperSuperseded
from crematory.written import Part, Written

# Acts whose entries gates look into: these and no others are read.
_ENTRIES = Written(
    "SELECT {e} FROM chain_of_custody_custodyentry e WHERE e.case_id = %s AND e.outcome = 'done'"
    " AND e.act IN ('receive', 'correct', 'compare_band', 'list_things', 'contain', 'relabel')"
    " ORDER BY e.sequence DESC",
    e=Part("chain_of_custody.CustodyEntry"),
)
_LABELS = Written(
    "SELECT {p}, {x}, CASE WHEN EXISTS (SELECT 1 FROM chain_of_custody_custodyentry b"
    " JOIN chain_of_custody_custodyentry e ON e.id = p.entry_id"
    " WHERE b.case_id = p.case_id AND b.stage_to = 'in_retort' AND b.sequence > e.sequence)"
    " THEN 1 ELSE 0 END FROM chain_of_custody_paper p"
    " LEFT JOIN chain_of_custody_papersuperseded x ON x.paper_id = p.id"
    " WHERE p.case_id = %s AND p.kind = 'label' ORDER BY p.copy DESC",
    p=Part("chain_of_custody.Paper"),
    x=Part("chain_of_custody.PaperSuperseded"),
)
_FREE = Written(
    "SELECT DISTINCT p.kind FROM chain_of_custody_place p WHERE p.facility_id = %s AND p.is_in_use"
    " AND NOT EXISTS (SELECT 1 FROM chain_of_custody_placement s"
    " WHERE s.place_id = p.id AND s.until IS NULL)"
)
NAME = "read_before"


@dataclass(frozen=True)
class ReadBefore:
    """Entries of the acts above, newest first; superseded papers by number; free kinds.

    None where the page did not read them, for no gate of its step asks.
    """

    entries: Sequence[CustodyEntry] | None
    superseded: frozenset[str] | None
    free: frozenset[str]


def of(case: Case) -> ReadBefore | None:
    """Return what a page read for the gates of this case, or None."""
    return getattr(case, NAME, None)


def entries(case: Case, *acts: str) -> Sequence[CustodyEntry] | None:
    """Return the entries of these acts that were done, the newest first, where they were read."""
    read = of(case)
    if read is None or read.entries is None:
        return None
    return [entry for entry in read.entries if entry.act in acts]


def read(case: Case, superseded: frozenset[str], *, labels: bool, places: bool) -> None:
    """Read it for the gates; of labels and places only where a gate asks. At most three queries."""
    found = [entry for (entry,) in _ENTRIES(case.pk)]
    free = _free(case) if places else frozenset()
    setattr(case, NAME, ReadBefore(found, superseded, free))
    if labels:
        vars(case)["labels_read"] = [_label(*row) for row in _LABELS(case.pk)]


def read_places(case: Case) -> None:
    """Read for the gates which kinds of place are free, and nothing else. One query."""
    setattr(case, NAME, ReadBefore(None, None, _free(case)))


def _free(case: Case) -> frozenset[str]:
    return frozenset(kind for (kind,) in _FREE(case.facility_id))


def _label(paper: Paper, superseded: PaperSuperseded | None, is_burnt: int) -> Paper:
    """As `cases.gates.labels.LABELS` gives it."""
    paper._state.fields_cache["superseded"] = superseded
    vars(paper)["is_burnt"] = bool(is_burnt)
    return paper
