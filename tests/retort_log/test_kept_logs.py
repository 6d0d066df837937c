"""The files of loggers are read again with all other kept files, and only strays are cleared."""

import os
import time
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command

from chain_of_custody import kept_files
from crematory.models import StaffMember
from retort_log.logger_acts import path_of
from retort_log.models import Logger, Retort
from tests.retort_log.test_logger_acts import AT, lines, take

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def folders(tmp_path: Path, settings: Any) -> None:
    settings.UPLOADS_DIR, settings.PAPERS_DIR = tmp_path / "uploads", tmp_path / "papers"


def test_a_changed_file_of_a_logger_is_named(retort: Retort, operator: StaffMember) -> None:
    logger = Logger.objects.create(retort=retort, name="recorder")
    file = take(logger, operator, lines(AT, [("1500", "1700")] * 3))
    assert kept_files.check(retort.facility).findings == []
    path = path_of(file.stored_name)
    path.write_bytes(path.read_bytes() + b"1")
    (finding,) = kept_files.check(retort.facility).findings
    assert finding.text == (f"the file of logger recorder with SHA-256 {file.sha256} was changed")
    assert finding.sequence == retort.facility.entries.get(act="take_log").sequence
    path.unlink()
    assert "is missing" in kept_files.check(retort.facility).findings[0].text


def test_only_a_file_of_no_row_is_cleared(retort: Retort, operator: StaffMember) -> None:
    logger = Logger.objects.create(retort=retort, name="recorder")
    file = take(logger, operator, lines(AT, [("1500", "1700")] * 3))
    stray = path_of("s" * 43)
    stray.parent.mkdir(parents=True)
    stray.write_bytes(b"left over")
    for path in (stray, path_of(file.stored_name)):
        os.utime(path, (time.time() - 2 * kept_files.A_DAY,) * 2)
    call_command("clear_strays", stdout=StringIO())
    assert not stray.exists()
    assert path_of(file.stored_name).exists()
