"""Files that come in: kept as they came, outside the web root, under a name nobody can guess.

A file is looked through and written before any row names it, and outside the transaction of the
act, for decoding takes time: `arrive`, then `record` inside the act. `keep` does both.
"""

import contextlib
import secrets
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.conf import settings

from chain_of_custody import apart, file_store, uploads
from chain_of_custody.models import Upload
from chain_of_custody.uploads import Inspected, UploadRefused
from crematory import clock
from crematory.models import StaffMember

LONGEST_NAME = 200


class UploadDamaged(Exception):
    """The stored bytes of an upload are missing or are not those that came in."""


@dataclass(frozen=True)
class Arrived:
    """A file on disk that no row names yet."""

    token: str
    name: str
    found: Inspected


def path_of(token: str) -> Path:
    """Return where the bytes of the upload with this token lie."""
    return Path(settings.UPLOADS_DIR) / token[:2] / token


def clean_name(name: str) -> str:
    """Return the last part of a file's name, without signs that steer a screen or a path."""
    last = unicodedata.normalize("NFC", name).replace("\\", "/").rsplit("/", 1)[-1]
    seen = "".join(sign for sign in last if unicodedata.category(sign)[0] != "C")
    return " ".join(seen.split())[:LONGEST_NAME].strip(" .") or "file"


def arrive(data: bytes, original_name: str) -> Arrived:
    """Look the file through and store it. Raises UploadRefused."""
    uploads.check_size(len(data))
    found = apart.inspect(data)
    token = secrets.token_urlsafe(32)
    try:
        file_store.write(path_of(token), data)
    except OSError as error:
        _forget(token)  # it may lie there whole, and not yet be safe from a power cut
        raise unstored() from error
    return Arrived(token, clean_name(original_name), found)


def unstored() -> UploadRefused:
    """Return the refusal of a file that the disk, or the system, did not take."""
    return UploadRefused(
        "file_unstored",
        "The file could not be stored. Tell the person who looks after this system, "
        "and keep the paper until it is.",
    )


def record(
    case: Any, member: StaffMember, arrived: Arrived, purpose: str = Upload.Purpose.PICTURE
) -> Upload:
    """Write the row of a file that arrived; call it in the transaction of the act."""
    return Upload.objects.create(
        facility_id=case.facility_id,
        case=case,
        token=arrived.token,
        purpose=purpose,
        original_name=arrived.name,
        kind=arrived.found.kind,
        pages=arrived.found.pages,
        size=arrived.found.size,
        sha256=arrived.found.sha256,
        uploaded_at=clock.now(),
        uploaded_by=member,
    )


def keep(
    case: Any,
    member: StaffMember,
    data: bytes,
    original_name: str,
    purpose: str = Upload.Purpose.PICTURE,
) -> Upload:
    """Keep a file that belongs to a row of the case. Raises UploadRefused.

    Only a `paper` waits to be filed as a document; a photograph or a drawing (`picture`) does not.
    """
    return record(case, member, arrive(data, original_name), purpose)


def forget_unrecorded(arrived: Iterable[Arrived]) -> None:
    """Remove the files that no row names, for their act was refused or had been done before."""
    tokens = {one.token for one in arrived}
    kept = set(Upload.objects.filter(token__in=tokens).values_list("token", flat=True))
    for token in tokens - kept:
        _forget(token)


def _forget(token: str) -> None:
    """Remove a file that no row names; one that the disk does not let go is no harm."""
    with contextlib.suppress(OSError):
        path_of(token).unlink(missing_ok=True)


def read(upload: Upload) -> bytes:
    """Return the bytes as they came. Raises UploadDamaged if missing or changed."""
    try:
        return file_store.read(path_of(upload.token), upload.sha256)
    except file_store.FileMissing as error:
        raise UploadDamaged(
            "This file cannot be read. Restore it from a backup; the trail holds its SHA-256, "
            f"{upload.sha256}."
        ) from error
    except file_store.FileChanged as error:
        raise UploadDamaged(
            "This file was changed after it came in. Do not rely on it: restore it from a backup. "
            f"Its true SHA-256 is {upload.sha256}."
        ) from error


def in_trail(upload: Upload | Inspected) -> dict[str, str | int]:
    """Return what an entry of the trail says about a file; its name is sealed apart."""
    return {
        "sha256": upload.sha256,
        "kind": upload.kind,
        "pages": upload.pages,
        "bytes": upload.size,
    }
