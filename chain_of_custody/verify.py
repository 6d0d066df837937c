"""Recompute a facility's trail from its rows and name the first entry that does not hold.

What is checked: entries are numbered without a gap; each leaf hash is that of the stored bytes;
each entry names the leaf before it; each column says what the hashed bytes say; each sealed
value opens its commitment; the Merkle root and size are those of the log; each case stands at
the stage of its last entry; each paper's digest is the one that its entry recorded.

What is not: somebody who may write the database and rewrites everything consistently is found
only by a root kept elsewhere, such as the one printed on a custody trail.
"""

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from itertools import groupby
from json.scanner import make_scanner
from operator import itemgetter
from typing import Any

from chain_of_custody.canonical import commitment
from chain_of_custody.merkle import Frontier, leaf_hash
from chain_of_custody.models import CustodyEntry, Log, Paper, SealedValue
from crematory.models import Facility

COLUMNS = (
    "sequence",
    "payload",
    "leaf_hash",
    "act",
    "outcome",
    "stage_from",
    "stage_to",
    "case__number",
    "signed_by__staff_code",
    "witness__staff_code",
    "place_from__code",
    "place_to__code",
    "token",
    "happened_at",
    "recorded_at",
)
# Columns after the leaf hash, by the name that the hashed bytes give them; the times come last.
HASHED = (
    "act",
    "outcome",
    "from",
    "to",
    "case",
    "signed_by",
    "witness",
    "place_from",
    "place_to",
    "token",
    "happened_at",
    "recorded_at",
)
CHUNK = 2000
# Canonical bytes have no white space around them, so nothing is skipped.
READ = make_scanner(json.JSONDecoder())  # type: ignore[arg-type] # the stub names another class
READ_TIME = datetime.fromisoformat
WORDS_OF = itemgetter(*HASHED[:-2])


@dataclass(frozen=True)
class Finding:
    """One thing that does not hold; `sequence` is the entry's number, None for the log itself."""

    sequence: int | None
    text: str


@dataclass
class Report:
    """What verification found: how many entries, which root, and what does not hold."""

    facility: Facility
    size: int = 0
    root: str = ""
    findings: list[Finding] = field(default_factory=list)

    @property
    def holds(self) -> bool:
        """True when nothing was found."""
        return not self.findings

    @property
    def first(self) -> Finding | None:
        """The finding with the lowest entry number; those of the log itself come last."""
        return min(
            self.findings,
            key=lambda f: (f.sequence is None, f.sequence or 0),
            default=None,
        )


def verify(facility: Facility) -> Report:
    """Verify the whole trail of a facility."""
    report = Report(facility)
    stages: dict[str, tuple[int, str]] = {}
    frontier = _entries(report, stages)
    _head(report, frontier)
    _stages(report, stages)
    _papers(report)
    return report


def root_at(facility: Facility, size: int) -> str:
    """Return the hex root of the first `size` entries, from their bytes; "" where there are fewer.

    Compared with the root that stands on a printed paper, it shows what was rewritten since.
    """
    frontier = Frontier()
    rows = CustodyEntry.objects.filter(facility=facility, sequence__lt=size).order_by("sequence")
    for payload in rows.values_list("payload", flat=True).iterator(CHUNK):
        frontier.append(leaf_hash(payload.encode()))
    return frontier.root().hex() if frontier.size == size else ""


def entry_rows(facility: Facility) -> Iterator[tuple[Any, ...]]:
    """Yield the columns of every entry in order."""
    return (
        CustodyEntry.objects.filter(facility=facility)
        .order_by("sequence")
        .values_list(*COLUMNS)
        .iterator(CHUNK)
    )


def sealed_rows(facility: Facility) -> Iterator[tuple[Any, ...]]:
    """Yield (sequence, key, salt, value) of every sealed value, in the order of the entries."""
    return (
        SealedValue.objects.filter(entry__facility=facility)
        .order_by("entry__sequence")
        .values_list("entry__sequence", "key", "salt", "value")
        .iterator(CHUNK)
    )


def _entries(report: Report, stages: dict[str, tuple[int, str]]) -> Frontier:
    frontier = Frontier()
    previous, expected = "", 0
    seals = groupby(sealed_rows(report.facility), key=itemgetter(0))
    waiting = next(seals, None)
    found, origin = report.findings.append, report.facility.log_origin
    for row in entry_rows(report.facility):
        sequence, payload, stored = row[0], row[1], row[2]
        if sequence != expected:
            found(Finding(expected, f"entry {expected} is missing; {sequence} follows"))
        expected = sequence + 1
        leaf = leaf_hash(payload.encode())
        frontier.append(leaf)
        said, text = _said(payload)
        if text or (text := _wrong(origin, said, row, leaf.hex(), previous)):
            found(Finding(sequence, text))
        opened: Iterable[tuple[Any, ...]] = ()
        if waiting and waiting[0] == sequence:
            # Read to its end before the next group is asked for: groups share one iterator.
            opened = list(waiting[1])
            waiting = next(seals, None)
        if text := _wrong_seals(said, opened):
            found(Finding(sequence, text))
        previous = stored
        # By the bytes and by the columns: a finding about a case must not point at an entry
        # before the one that was changed.
        if stage := said.get("to"):
            stages[str(said.get("case"))] = (sequence, stage)
        if row[6]:
            stages[str(row[7])] = (sequence, row[6])
    return frontier


def _said(payload: str) -> tuple[dict[str, Any], str]:
    """Return what the bytes say, and "" or why they cannot be read."""
    try:
        said, end = READ(payload, 0)
    except (ValueError, StopIteration):
        return {}, "the stored bytes are not JSON"
    if end != len(payload):
        return {}, "the stored bytes are not JSON"
    return (said, "") if isinstance(said, dict) else ({}, "the stored bytes are not an entry")


def _moment(text: Any) -> datetime | None:
    """Return the time that the hashed bytes state, or None where that is no time."""
    try:
        return READ_TIME(text)
    except (TypeError, ValueError):
        return None


def _wrong(
    origin: str, said: dict[str, Any], row: tuple[Any, ...], leaf: str, previous: str
) -> str:
    """Return what is wrong with the entry itself, or "" if it holds."""
    if leaf != row[2]:
        return "the leaf hash is not that of the stored bytes"
    if said.get("prev") != previous:
        return "the entry does not name the leaf before it"
    if said.get("n") != row[0] or said.get("log") != origin:
        return "the entry belongs to another place or log"
    if _agree(said, row):
        return ""
    pairs = zip(HASHED, map(said.get, HASHED), row[3:], strict=True)
    name = next((name for name, a, b in pairs if a != b and _moment(a) != b), "")
    return f"the column “{name}” differs from the hashed bytes" if name else ""


def _agree(said: dict[str, Any], row: tuple[Any, ...]) -> bool:
    """True where every column says what the bytes say: the quick answer for what holds."""
    try:
        return (
            WORDS_OF(said) == row[3:-2]
            and READ_TIME(said["happened_at"]) == row[-2]
            and READ_TIME(said["recorded_at"]) == row[-1]
        )
    except (KeyError, TypeError, ValueError):
        return False


def _wrong_seals(said: dict[str, Any], opened: Iterable[tuple[Any, ...]]) -> str:
    """Return which sealed value does not open its commitment, or ""."""
    facts = said.get("facts")
    stated = facts.items() if isinstance(facts, dict) else ()
    sealed = {k: v["sealed"] for k, v in stated if isinstance(v, dict) and "sealed" in v}
    for _, key, salt, value in opened:
        try:
            opens = commitment(bytes.fromhex(salt), value) == sealed.pop(key, None)
        except ValueError:
            opens = False
        if not opens:
            return f"the sealed value “{key}” was changed"
    if sealed:
        return f"the sealed value “{next(iter(sealed))}” is missing"
    return ""


def _head(report: Report, frontier: Frontier) -> None:
    report.size, report.root = frontier.size, frontier.root().hex()
    log = Log.objects.filter(facility=report.facility).first()
    if log is None:
        if frontier.size:
            report.findings.append(Finding(None, "the log's head is missing"))
        return
    edge = " ".join(frontier.to_hex())
    if (log.size, log.root, log.frontier) != (report.size, report.root, edge):
        report.findings.append(
            Finding(
                None,
                f"the log says {log.size} entries with root {log.root}; "
                f"the rows give {report.size} with {report.root}",
            )
        )


def _stages(report: Report, stages: dict[str, tuple[int, str]]) -> None:
    cases = CustodyEntry._meta.get_field("case").related_model
    rows = cases._default_manager.filter(facility=report.facility)
    for number, stage in rows.values_list("number", "stage").iterator(CHUNK):
        sequence, reached = stages.get(number, (None, "expected"))
        if stage != reached:
            report.findings.append(
                Finding(sequence, f"case {number} stands at “{stage}”, its entries say “{reached}”")
            )


def _papers(report: Report) -> None:
    rows = Paper.objects.filter(facility=report.facility).values_list(
        "number", "sha256", "entry__sequence", "entry__payload"
    )
    for number, sha256, sequence, payload in rows.iterator(CHUNK):
        facts = _said(payload)[0].get("facts")
        facts = facts if isinstance(facts, dict) else {}
        if (facts.get("number"), facts.get("sha256")) != (number, sha256):
            report.findings.append(
                Finding(sequence, f"paper {number} is not the one that this entry recorded")
            )
