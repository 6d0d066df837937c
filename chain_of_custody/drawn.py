"""Pages of uploads as pictures, drawn anew and kept beside the originals to be shown again.

What lies in the folder may be removed at any time. Each picture carries a code made with the
site's secret, so that nobody shows another one by putting it there.
"""

import hmac
import os
import tempfile
from pathlib import Path

from django.conf import settings
from django.utils.crypto import salted_hmac

from chain_of_custody import apart, uploads_in
from chain_of_custody.models import Upload
from chain_of_custody.uploads import UploadRefused

CODE_BYTES = 32
KEPT_PICTURES = 500  # of about a megabyte each


def page(upload: Upload, number: int) -> bytes:
    """Return page `number` (from 1) as PNG.

    Raises UploadDamaged where the original is missing or changed, UploadRefused where there is no
    such page.
    """
    if not 1 <= number <= upload.pages:
        raise UploadRefused("page_unknown", "There is no such page.")
    data = uploads_in.read(upload)  # what is shown must still be what came in
    path = Path(settings.DRAWN_DIR) / f"{upload.token}-{number}"
    kept = _kept(path)
    if kept is None:
        kept = apart.draw(data, number)
        _keep(path, kept)
    return kept


def _code(path: Path, picture: bytes) -> bytes:
    value = path.name.encode() + b"\n" + picture
    return salted_hmac("chain_of_custody.drawn", value, algorithm="sha256").digest()


def _kept(path: Path) -> bytes | None:
    try:
        data = path.read_bytes()
    except OSError:
        return None
    code, picture = data[:CODE_BYTES], data[CODE_BYTES:]
    return picture if hmac.compare_digest(code, _code(path, picture)) else None


def _keep(path: Path, picture: bytes) -> None:
    """Keep the picture if there is room; it can always be drawn again."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        descriptor, name = tempfile.mkstemp(dir=path.parent)
        with os.fdopen(descriptor, "wb") as file:
            file.write(_code(path, picture) + picture)
        os.replace(name, path)
        _drop_oldest(path.parent)
    except OSError:
        return


def _drop_oldest(folder: Path) -> None:
    pictures = sorted(folder.iterdir(), key=lambda file: file.stat().st_mtime)
    for old in pictures[:-KEPT_PICTURES]:
        old.unlink(missing_ok=True)
