"""Files that were sent and wait for a person's word before anything is recorded of them.

A file waits for a day, under a name that nobody can guess, with what was said of it; `of` tells
whom it waits for, and nobody else gets it. It is no record: no row names it, and it may vanish.
"""

import json
import re
import secrets
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings

from chain_of_custody import file_store

FOLDER = "waiting"
A_DAY_S = 24 * 60 * 60
_TOKEN = re.compile(r"[A-Za-z0-9_-]{43}")
_END = b"\n"


@dataclass(frozen=True)
class Waiting:
    """A file that waits, and what was said of it when it was sent."""

    token: str
    raw: bytes
    about: Mapping[str, str]


def put(raw: bytes, of: str, about: Mapping[str, str]) -> str:
    """Let a file wait for `of`; return the token by which it is asked for. Raises OSError."""
    clear_old()
    token = secrets.token_urlsafe(32)
    head = json.dumps({"of": of, "about": dict(about)})
    file_store.write(_path(token), head.encode() + _END + raw)
    return token


def get(token: str, of: str) -> Waiting | None:
    """Return the file with this token; None where there is none any more, or not for `of`."""
    if not _TOKEN.fullmatch(token):
        return None
    path = _path(token)
    try:
        is_old = _age(path) > A_DAY_S
        head, _, raw = path.read_bytes().partition(_END)
        told = json.loads(head)
    except (OSError, ValueError):
        return None
    return None if is_old or told["of"] != of else Waiting(token, raw, told["about"])


def drop(token: str) -> None:
    """Let a file go that waits no more; one that is not there is no error."""
    if _TOKEN.fullmatch(token):
        _path(token).unlink(missing_ok=True)


def clear_old() -> int:
    """Remove what waited for more than a day; return how many files."""
    removed = 0
    for path in _folder().glob("*"):
        try:
            if path.is_file() and _age(path) > A_DAY_S:
                path.unlink()
                removed += 1
        except OSError:  # another process was there first
            continue
    return removed


def _folder() -> Path:
    return Path(settings.UPLOADS_DIR) / FOLDER


def _path(token: str) -> Path:
    return _folder() / token


def _age(path: Path) -> float:
    return time.time() - path.stat().st_mtime
