"""Decoding files that came in, in a process of their own.

A hostile file may take minutes, all memory, or end the process that reads it; no lock and no
limit inside the site's own process would help. So each file is decoded by a child without the
site's secrets, two at a time, and a child that takes too long is ended.
"""

import json
import os
import subprocess
import sys
import threading
from pathlib import Path

from chain_of_custody.uploads import Inspected, UploadRefused

# Choices of this design. The slowest sound file seen (60 pages at 600 dpi) took four seconds.
SECONDS = 25
MEMORY = 2 * 1024**3  # bytes of address space, where the system can limit it
AT_ONCE = 2
WAIT_SECONDS = 40
BASE_DIR = Path(__file__).resolve().parent.parent
# What a child needs to start on the systems we know; no secret is among it.
ENVIRONMENT = ("PATH", "SYSTEMROOT", "TEMP", "TMP", "LD_LIBRARY_PATH", "DYLD_LIBRARY_PATH", "LANG")
_turns = threading.BoundedSemaphore(AT_ONCE)


def inspect(data: bytes) -> Inspected:
    """Decode the whole file and say what it is. Raises UploadRefused."""
    return Inspected(**json.loads(_run("inspect", data)))


def draw(data: bytes, page: int) -> bytes:
    """Return the page (from 1) as a PNG, drawn anew. Raises UploadRefused."""
    return _run("draw", data, str(page))


def _run(*words: str | bytes) -> bytes:
    verb, data, *rest = words
    if not _turns.acquire(timeout=WAIT_SECONDS):
        raise UploadRefused(
            "file_busy", "Other files are being looked through. Send this one again in a minute."
        )
    try:
        ended = subprocess.run(  # noqa: S603 - our own module; the file goes in by a pipe
            [sys.executable, "-m", "chain_of_custody.apart_child", verb, *rest],
            input=data,
            capture_output=True,
            timeout=SECONDS,
            cwd=BASE_DIR,
            env={name: os.environ[name] for name in ENVIRONMENT if name in os.environ},
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        raise UploadRefused(
            "file_slow", "This file takes too long to read. Print it to a new PDF, or scan it."
        ) from error
    finally:
        _turns.release()
    return _answer(ended.stdout)


def _answer(told: bytes) -> bytes:
    """Read a child's answer: one word, then what it found; none from a child that broke down."""
    word, _, rest = told.partition(b"\n")
    if word == b"found":
        return rest
    if word == b"refused":
        raise UploadRefused(*json.loads(rest))
    raise UploadRefused(
        "file_broken", "The file is damaged or not complete. Scan or send it again."
    )
