"""The files of printed papers, each named by the SHA-256 of its bytes."""

import hashlib
import os
import tempfile
from pathlib import Path

from django.conf import settings


class PaperDamaged(Exception):
    """The stored bytes of a paper are missing or are not those that were printed."""


PDF, TEXT = ".pdf", ".txt"


def path_of(sha256: str, suffix: str = PDF) -> Path:
    """Return where the bytes with this hex digest lie."""
    return Path(settings.PAPERS_DIR) / sha256[:2] / f"{sha256}{suffix}"


def write(data: bytes, suffix: str = PDF) -> str:
    """Store the bytes and return their hex SHA-256; after this they survive a power cut."""
    digest = hashlib.sha256(data).hexdigest()
    goal = path_of(digest, suffix)
    goal.parent.mkdir(parents=True, exist_ok=True)
    descriptor, name = tempfile.mkstemp(dir=goal.parent, suffix=".part")
    try:
        with os.fdopen(descriptor, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.replace(name, goal)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    _sync_folders(goal.parent, goal.parent.parent)
    return digest


def _sync_folders(*folders: Path) -> None:
    """Make the new names safe too; Windows cannot open a folder and needs no such call."""
    if os.name == "nt":
        return
    for folder in folders:
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def read(sha256: str, suffix: str = PDF) -> bytes:
    """Return the bytes with this digest. Raises PaperDamaged if missing or changed."""
    try:
        data = path_of(sha256, suffix).read_bytes()
    except OSError as error:
        raise PaperDamaged(
            "The file of this paper cannot be read. Restore it from a backup; the trail holds "
            f"its SHA-256, {sha256}."
        ) from error
    if hashlib.sha256(data).hexdigest() != sha256:
        raise PaperDamaged(
            "The file of this paper was changed after it was printed. Do not use it: restore it "
            f"from a backup. Its true SHA-256 is {sha256}."
        )
    return data
