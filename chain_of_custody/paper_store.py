"""The files of printed papers, each named by the SHA-256 of its bytes."""

import hashlib
from pathlib import Path

from django.conf import settings

from chain_of_custody import file_store


class PaperDamaged(Exception):
    """The stored bytes of a paper are missing or are not those that were printed."""


PDF, TEXT = ".pdf", ".txt"


def path_of(sha256: str, suffix: str = PDF) -> Path:
    """Return where the bytes with this hex digest lie."""
    return Path(settings.PAPERS_DIR) / sha256[:2] / f"{sha256}{suffix}"


def write(data: bytes, suffix: str = PDF) -> str:
    """Store the bytes and return their hex SHA-256; after this they survive a power cut."""
    digest = hashlib.sha256(data).hexdigest()
    file_store.write(path_of(digest, suffix), data)
    return digest


def read(sha256: str, suffix: str = PDF) -> bytes:
    """Return the bytes with this digest. Raises PaperDamaged if missing or changed."""
    try:
        return file_store.read(path_of(sha256, suffix), sha256)
    except file_store.FileMissing as error:
        raise PaperDamaged(
            "The file of this paper cannot be read. Restore it from a backup; the trail holds "
            f"its SHA-256, {sha256}."
        ) from error
    except file_store.FileChanged as error:
        raise PaperDamaged(
            "The file of this paper was changed after it was printed. Do not use it: restore it "
            f"from a backup. Its true SHA-256 is {sha256}."
        ) from error
