"""The files of data loggers among the kept files that are compared with the trail."""

import json
from collections.abc import Iterable
from pathlib import Path

from django.conf import settings

from chain_of_custody.kept_files import CHUNK, Kept, Source
from chain_of_custody.models import CustodyEntry
from crematory.models import Facility
from retort_log.models import LoggerFile


def folder() -> Path:
    """Return where the files of loggers lie."""
    return Path(settings.UPLOADS_DIR) / "loggers"


def names() -> set[str]:
    """Return the names that rows give these files."""
    return set(LoggerFile.objects.values_list("stored_name", flat=True))


def files_of(facility: Facility) -> Iterable[Kept]:
    """Yield every logger's file of the facility, with the entry that names its digest."""
    entries = CustodyEntry.objects.filter(facility=facility, act="take_log", outcome="done")
    stated = {
        json.loads(payload)["facts"]["file_sha256"]: sequence
        for sequence, payload in entries.values_list("sequence", "payload").iterator(CHUNK)
    }
    rows = LoggerFile.objects.filter(logger__retort__facility=facility)
    for name, sha256, logger in rows.values_list("stored_name", "sha256", "logger__name"):
        yield Kept(
            told=f"the file of logger {logger} with SHA-256 {sha256}",
            path=folder() / name[:2] / name,
            sha256=sha256,
            sequence=stated.get(sha256),
        )


SOURCE = Source(folder=folder, names=names, files_of=files_of)
