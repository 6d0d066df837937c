"""Kept files are read again against the trail; what a power cut left is cleared when it is old."""

import hashlib
import os
import time
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction

from cases import filing, papers
from cases.models import Case
from chain_of_custody import kept_files, paper_store, trail, uploads_in
from chain_of_custody.models import Paper, Upload
from crematory import clock
from crematory.models import Facility, StaffMember
from tests import cast, raw
from tests.papers_in import picture

pytestmark = pytest.mark.django_db
DAY = kept_files.A_DAY


@pytest.fixture(autouse=True)
def folders(tmp_path: Path, settings: Any) -> None:
    settings.UPLOADS_DIR, settings.PAPERS_DIR = tmp_path / "uploads", tmp_path / "papers"


@pytest.fixture
def scan(case: Case, clerk: StaffMember) -> Upload:
    """A picture that came in through the act."""
    filing.take_in(case, clerk, cast.token(), [filing.Sent("scan.jpg", lambda: picture("JPEG"))])
    return Upload.objects.get()


def verified(**options: Any) -> tuple[bool, str]:
    """Whether the command is content, and all that it says."""
    out, err = StringIO(), StringIO()
    try:
        call_command("verify_trail", stdout=out, stderr=err, **options)
    except CommandError:
        return False, out.getvalue() + err.getvalue()
    return True, out.getvalue() + err.getvalue()


def cleared(**options: Any) -> str:
    out = StringIO()
    call_command("clear_strays", stdout=out, **options)
    return out.getvalue()


def test_every_kept_file_is_read_again(case: Case, scan: Upload, clerk: StaffMember) -> None:
    papers.print_for(case, papers.KINDS["trail"], clerk)
    holds, said = verified()
    assert holds
    assert "2 kept files are those of the trail" in said


def test_a_changed_and_a_missing_file_are_named(
    case: Case, scan: Upload, clerk: StaffMember
) -> None:
    path = uploads_in.path_of(scan.token)
    data = path.read_bytes()
    sequence = case.entries.get(act="take_in").sequence
    path.write_bytes(data[:-1] + bytes([data[-1] ^ 1]))
    holds, said = verified()
    assert not holds
    assert f"entry {sequence}: the file of case {case.number}" in said
    assert f"{scan.sha256} was changed" in said
    path.unlink()
    assert "is missing" in verified()[1]
    assert verified(no_files=True)[0]  # left out for speed


def test_a_changed_printed_paper_is_named(case: Case, clerk: StaffMember) -> None:
    paper = papers.print_for(case, papers.KINDS["trail"], clerk)
    path = paper_store.path_of(paper.sha256)
    path.write_bytes(path.read_bytes() + b" ")
    holds, said = verified()
    assert not holds
    assert f"the file of paper {paper.number} was changed" in said


def test_a_row_whose_digest_the_trail_does_not_hold_is_named(scan: Upload) -> None:
    data = picture("JPEG", colour="red")
    uploads_in.path_of(scan.token).write_bytes(data)
    digest = hashlib.sha256(data).hexdigest()
    raw.past_triggers(
        "UPDATE chain_of_custody_upload SET sha256 = %s WHERE id = %s", digest, scan.pk
    )
    said = verified()[1]
    assert f"{digest} stands in no entry" in said
    assert f"{scan.sha256} that this entry names has no row" in said


def test_a_digest_of_something_else_is_no_missing_file(case: Case, scan: Upload) -> None:
    """As that of a run's series of readings, or of the rules of the law."""
    with transaction.atomic():
        trail.append(
            trail.Act(
                facility=case.facility,
                name="note",
                happened_at=clock.now(),
                recorded_at=clock.now(),
                case=case,
                facts={"series_sha256": "1" * 64, "sha256": "2" * 64},
            )
        )
    assert kept_files.check(case.facility).findings == []


def left(folder: Path, name: str, age: float) -> Path:
    """A file as a power cut leaves it, this old."""
    path = folder / name[:2] / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(b"left over")
    at = time.time() - age
    os.utime(path, (at, at))
    return path


def test_only_what_no_row_names_and_is_older_than_a_day_is_removed(
    scan: Upload, case: Case, clerk: StaffMember, settings: Any
) -> None:
    uploads, printed = Path(settings.UPLOADS_DIR), Path(settings.PAPERS_DIR)
    papers.print_for(case, papers.KINDS["trail"], clerk)
    kept = [uploads_in.path_of(scan.token), paper_store.path_of(Paper.objects.get().sha256)]
    for path in kept:  # however old: a row names it
        os.utime(path, (0, 0))
    old = [
        left(uploads, "a" * 43, DAY + 60),
        left(printed, f"{'0' * 64}.pdf", DAY + 60),
        left(uploads, "tmp1234.part", DAY + 60),
    ]
    young = left(uploads, "b" * 43, DAY - 60)
    foreign = left(uploads, "notes of the owner.txt", 9 * DAY)
    assert "4 files have no row" in verified()[1]
    said = cleared(keep=True)
    assert all(path.exists() for path in old)
    said = cleared()
    assert not any(path.exists() for path in old)
    assert all(path.exists() for path in (*kept, young, foreign))
    assert said.count("; removed") == 3
    assert str(young) in said
    assert "4 files without a row, 3 of them older than a day" in said


def test_nothing_is_removed_where_the_folders_belong_to_another_database(
    facility: Facility, settings: Any
) -> None:
    names = [f"{n:043d}" for n in range(21)]
    paths = [left(Path(settings.UPLOADS_DIR), name, 2 * DAY) for name in names]
    with pytest.raises(CommandError, match="another database"):
        cleared()
    assert all(path.exists() for path in paths)
