"""The files that a house keeps, against the trail: missing, changed, unnamed.

A file that came in is in the trail by its SHA-256, and so is a printed paper. The bytes are read
again here, in blocks. A file that no row names is left over from a power cut between the file and
its row; one that is younger than a day may belong to somebody who is sending it now.
"""

import hashlib
import re
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings

from chain_of_custody import paper_store, uploads_in
from chain_of_custody.models import CustodyEntry, Paper, Upload
from chain_of_custody.verify import Finding
from crematory.models import Facility

BLOCK = 1 << 20  # bytes
CHUNK = 2000  # rows
A_DAY = 24 * 60 * 60  # seconds
# A file as `uploads_in.in_trail` states it, or a drawn signature; other digests are of no file.
STATED = re.compile(r'(?:"pages":\d+,"sha256"|"drawing_sha256"):"([0-9a-f]{64})"')
UPLOAD_NAME = re.compile(r"^[A-Za-z0-9_-]{43}$")
PAPER_NAME = re.compile(r"^[0-9a-f]{64}\.(pdf|txt)$")
UNFINISHED = ".part"


@dataclass(frozen=True)
class Kept:
    """A kept file: what it is called, where it lies, its digest, and the entry that names that."""

    told: str
    path: Path
    sha256: str
    sequence: int | None


@dataclass(frozen=True)
class Source:
    """Files of which a floor above keeps the rows: their folder, their names, and each of them."""

    folder: Callable[[], Path]
    names: Callable[[], set[str]]
    files_of: Callable[[Facility], Iterable[Kept]]


SOURCES: list[Source] = []


def register(source: Source) -> None:
    """Let these files be read again and looked through too."""
    if source not in SOURCES:
        SOURCES.append(source)


@dataclass
class FilesReport:
    """How many files were read again, and what does not hold of them."""

    count: int
    findings: list[Finding]


@dataclass(frozen=True)
class Stray:
    """A file that no row names, its size in bytes and its age in seconds."""

    path: Path
    size: int
    age: float

    @property
    def is_old(self) -> bool:
        """True where nobody can be sending it any more."""
        return self.age > A_DAY


def check(facility: Facility) -> FilesReport:
    """Read every kept file of the facility again and compare it with the trail."""
    parts = [_uploads(facility), _papers(facility), *(_others(facility, s) for s in SOURCES)]
    findings = [finding for part in parts for finding in part.findings]
    return FilesReport(sum(part.count for part in parts), findings)


def _uploads(facility: Facility) -> FilesReport:
    stated = _stated(facility)
    unrecorded = dict(stated)
    report = FilesReport(0, [])
    rows = Upload.objects.filter(facility=facility).values_list(
        "token", "sha256", "case_id", "case__number"
    )
    for token, sha256, case, number in rows.iterator(CHUNK):
        report.count += 1
        sequence = stated.get((case, sha256))
        unrecorded.pop((case, sha256), None)
        told = f"the file of case {number} with SHA-256 {sha256}"
        if sequence is None:
            report.findings.append(Finding(None, f"{told} stands in no entry"))
        if fault := _fault(uploads_in.path_of(token), sha256):
            report.findings.append(Finding(sequence, f"{told} {fault}"))
    for (_, sha256), sequence in unrecorded.items():
        report.findings.append(
            Finding(sequence, f"the file with SHA-256 {sha256} that this entry names has no row")
        )
    return report


def _stated(facility: Facility) -> dict[tuple[int, str], int]:
    """By case and SHA-256, the first entry that names a file that came in."""
    found: dict[tuple[int, str], int] = {}
    entries = CustodyEntry.objects.filter(
        facility=facility, outcome="done", case__isnull=False, payload__contains='sha256":"'
    )
    rows = entries.exclude(act="print").order_by("sequence")
    for case, sequence, payload in rows.values_list("case_id", "sequence", "payload").iterator(
        CHUNK
    ):
        for sha256 in STATED.findall(payload):
            found.setdefault((case, sha256), sequence)
    return found


def _papers(facility: Facility) -> FilesReport:
    """Whether a paper's row says what its entry says, `verify` asks; here its bytes are read."""
    report = FilesReport(0, [])
    rows = Paper.objects.filter(facility=facility).values_list(
        "number", "sha256", "facts__by_hand", "entry__sequence"
    )
    for number, sha256, by_hand, sequence in rows.iterator(CHUNK):
        report.count += 1
        suffix = paper_store.TEXT if by_hand else paper_store.PDF
        if fault := _fault(paper_store.path_of(sha256, suffix), sha256):
            report.findings.append(Finding(sequence, f"the file of paper {number} {fault}"))
    return report


def _others(facility: Facility, source: Source) -> FilesReport:
    report = FilesReport(0, [])
    for kept in source.files_of(facility):
        report.count += 1
        if kept.sequence is None:
            report.findings.append(Finding(None, f"{kept.told} stands in no entry"))
        if fault := _fault(kept.path, kept.sha256):
            report.findings.append(Finding(kept.sequence, f"{kept.told} {fault}"))
    return report


def _fault(path: Path, sha256: str) -> str:
    """Return "is missing", "was changed", or "" where the bytes are those of the digest."""
    digest = hashlib.sha256()
    try:
        with path.open("rb") as file:
            while block := file.read(BLOCK):
                digest.update(block)
    except OSError:
        return "is missing or cannot be read"
    return "" if digest.hexdigest() == sha256 else "was changed"


def strays() -> list[Stray]:
    """Return the files that no row of any facility names, in all folders of kept files.

    Only what was written by this site counts, told by its name; anything else is left alone.
    """
    now = time.time()
    named = set(Upload.objects.values_list("token", flat=True).iterator(CHUNK))
    printed = set(Paper.objects.values_list("sha256", flat=True).iterator(CHUNK))
    found = []
    for path in _ours(Path(settings.UPLOADS_DIR), UPLOAD_NAME):
        if path.name not in named:
            found.append(path)
    for path in _ours(Path(settings.PAPERS_DIR), PAPER_NAME):
        if path.stem not in printed or path.suffix == UNFINISHED:
            found.append(path)
    for source in SOURCES:
        by_row = source.names()
        found += [p for p in _ours(source.folder(), UPLOAD_NAME) if p.name not in by_row]
    return [Stray(path, s.st_size, now - s.st_mtime) for path in found if (s := path.stat())]


def _ours(folder: Path, name: re.Pattern[str]) -> Iterator[Path]:
    """The files of this form in their own subfolders, and those that were never finished."""
    for path in sorted(folder.glob("??/*")):
        whole = name.match(path.name) and path.name.startswith(path.parent.name)
        if path.is_file() and (whole or path.suffix == UNFINISHED):
            yield path
