"""The bytes of a file as lines of text: encoding, limits, and what is no text at all. Pure."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from retort_log.logger_files.refusals import FileRefused

# Choices of this design: a year of readings every second is about 1.3 GB and is cut before.
MAX_BYTES = 64 * 1024 * 1024
MAX_LINES = 2_000_000
MAX_LINE_BYTES = 16_384
MAX_COLUMNS = 512

_HEAD = 65_536
_NEWLINE = 10
# So few lines are sooner looked for than all are counted.
_NEAR = 100
_MARK = b"\xef\xbb\xbf"
_BLANK = b"\0 \t\r\n"
_CONTROL = bytes(byte for byte in range(1, 32) if byte not in b"\t\n\r\x1a\x0c")
_SIGNATURES = {
    b"PK\x03\x04": "workbook",
    b"\xd0\xcf\x11\xe0": "workbook",
    b"%PDF": "binary",
    b"\x1f\x8b": "binary",
}


@dataclass(frozen=True)
class Source:
    """A file as bytes in an encoding that keeps ASCII, every line ended by a line feed.

    The text starts at `origin` of `data`, behind the mark of its encoding. Line numbers count
    from 1. The bytes of the file are not copied if they end with a line feed.
    """

    data: bytes
    origin: int
    encoding: str

    @cached_property
    def buffer(self) -> NDArray[np.uint8]:
        """All bytes."""
        return np.frombuffer(self.data, np.uint8)

    @cached_property
    def newlines(self) -> NDArray[np.int64]:
        """Where in `buffer` each line ends."""
        return np.flatnonzero(self.buffer == _NEWLINE)

    @property
    def count(self) -> int:
        """How many lines there are."""
        return len(self.newlines)

    def start(self, line: int) -> int:
        """Where in `buffer` a line starts; the end of the file for one that is not there."""
        if line > _NEAR:
            return int(self.newlines[line - 2]) + 1 if line - 2 < self.count else len(self.data)
        at = self.origin
        for _ in range(line - 1):
            at = self.data.find(b"\n", at) + 1 or len(self.data)
        return at

    def end(self, line: int) -> int:
        """Where in `buffer` a line ends."""
        if line > _NEAR:
            return int(self.newlines[line - 1])
        return self.data.find(b"\n", self.start(line))

    def line(self, line: int) -> str:
        """The text of a line, without its end, cut at MAX_LINE_BYTES."""
        start = self.start(line)
        return self.decode(start, min(self.end(line), start + MAX_LINE_BYTES))

    def decode(self, start: int, end: int) -> str:
        """The text between two places of `buffer`."""
        return self.data[start:end].decode(self.encoding, "replace").rstrip("\r")

    def length(self, line: int) -> int:
        """How many bytes a line has."""
        return self.end(line) - self.start(line)


def open_source(raw: bytes) -> Source:
    """Find the encoding and refuse what is no text within the limits.

    UTF-8 (with or without its mark), UTF-16 (with its mark, or recognised by its empty bytes),
    else Windows-1252. Raises FileRefused.
    """
    if len(raw) > MAX_BYTES:
        raise FileRefused("too_big", limit=f"{MAX_BYTES // 1024**2} MB")
    for signature, code in _SIGNATURES.items():
        if raw.startswith(signature):
            raise FileRefused(code)
    body, encoding = _decoded(raw)
    origin = 3 if body.startswith(_MARK) else 0
    if not body[origin : origin + 64].strip(_BLANK) and not body[origin:].strip(_BLANK):
        raise FileRefused("empty")
    if _is_binary(body[:_HEAD]):
        raise FileRefused("binary")
    if b"\n" not in body:
        body = body.replace(b"\r", b"\n")
    source = Source(body if body.endswith(b"\n") else body + b"\n", origin, encoding)
    # A line has a byte at the least.
    if len(body) > MAX_LINES and body.count(b"\n") > MAX_LINES:
        raise FileRefused("too_many_lines", limit=f"{MAX_LINES:,}")
    return source


def _decoded(raw: bytes) -> tuple[bytes, str]:
    """The bytes in an encoding that keeps ASCII, and its name."""
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        return _from_utf16(raw, "utf-16")
    head = raw[:4096]
    for odd, encoding in ((1, "utf-16-le"), (0, "utf-16-be")):
        if len(head) >= 4 and head[odd::2].count(0) > 0.4 * len(head) > 4 * head[
            1 - odd :: 2
        ].count(0):
            return _from_utf16(raw, encoding)
    return raw, _encoding(raw)


def _from_utf16(raw: bytes, encoding: str) -> tuple[bytes, str]:
    return raw.decode(encoding, "replace").encode("utf-8", "replace"), "utf-8"


def _encoding(raw: bytes) -> str:
    # Past the head there is usually nothing but ASCII, and that is quickly seen.
    cut = raw.find(b"\n", _HEAD) + 1
    is_plain = cut and cut < len(raw) and np.frombuffer(raw, np.uint8)[cut:].max() < 128
    head = raw[:cut] if is_plain else raw
    try:
        head.decode("utf-8")
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def _is_binary(head: bytes) -> bool:
    """True where so many control bytes stand that this is no text; a run of NULs is not enough."""
    if head.count(0) > len(head) // 2:
        return True
    control = len(head) - len(head.translate(None, _CONTROL))
    return control > len(head) // 50 or (control > 0 and head.count(0) > len(head) // 20)
