"""Files that must outlive a power cut: written whole and synced before a row names them."""

import hashlib
import os
import tempfile
from pathlib import Path


class FileMissing(Exception):
    """There is no file at this path, or it cannot be read."""


class FileChanged(Exception):
    """The bytes of the file are not those that were stored."""


def write(goal: Path, data: bytes) -> None:
    """Store the bytes under this path; after this they survive a power cut. Raises OSError."""
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


def read(path: Path, sha256: str) -> bytes:
    """Return the bytes with this hex digest. Raises FileMissing or FileChanged."""
    try:
        data = path.read_bytes()
    except OSError as error:
        raise FileMissing(sha256) from error
    if hashlib.sha256(data).hexdigest() != sha256:
        raise FileChanged(sha256)
    return data
