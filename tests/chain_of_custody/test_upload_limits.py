"""What is too large is refused while it comes in: in words, and never kept whole."""

import io
import tracemalloc
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from cases.models import Case
from chain_of_custody import uploads
from chain_of_custody.models import Upload
from crematory.models import Facility
from tests import cast
from tests.papers_in import pdf, picture

pytestmark = pytest.mark.django_db

BOUNDARY = "a-boundary-of-this-test"
MB = 1024 * 1024


class Endless(io.RawIOBase):
    """A body made piece by piece: `parts` are bytes, or a number of zero bytes."""

    def __init__(self, parts: list[bytes | int]) -> None:
        self.size = sum(part if isinstance(part, int) else len(part) for part in parts)
        self._pieces = self._made(parts)
        self._left = b""
        self.was_read = 0

    def _made(self, parts: list[bytes | int]) -> Iterator[bytes]:
        for part in parts:
            if isinstance(part, bytes):
                yield part
                continue
            while part > 0:
                yield b"\0" * min(part, 64 * 1024)
                part -= 64 * 1024

    def read(self, size: int = -1) -> bytes:
        while len(self._left) < size:
            piece = next(self._pieces, b"")
            if not piece:
                break
            self._left += piece
        out, self._left = self._left[:size], self._left[size:]
        self.was_read += len(out)
        return out


def field(name: str, value: str) -> bytes:
    return (
        f'--{BOUNDARY}\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'
    ).encode()


def file_head(name: str) -> bytes:
    return (
        f'--{BOUNDARY}\r\nContent-Disposition: form-data; name="files"; filename="{name}"\r\n'
        "Content-Type: application/octet-stream\r\n\r\n"
    ).encode()


def body(*files: tuple[str, bytes | int]) -> Endless:
    parts: list[bytes | int] = [field("token", cast.token())]
    for name, content in files:
        parts += [file_head(name), content, b"\r\n"]
    return Endless([*parts, f"--{BOUNDARY}--\r\n".encode()])


def send(client: Client, address: str, stream: Endless) -> Any:
    environment: dict[str, Any] = {
        "CONTENT_TYPE": f"multipart/form-data; boundary={BOUNDARY}",
        "CONTENT_LENGTH": str(stream.size),
        "wsgi.input": stream,
    }
    return client.generic("POST", address, **environment)


@pytest.fixture
def case(facility: Facility) -> Case:
    return cast.make_case(facility)


@pytest.fixture
def temporary(settings: Any, tmp_path: Path) -> Path:
    settings.FILE_UPLOAD_TEMP_DIR = str(tmp_path / "coming")
    (tmp_path / "coming").mkdir()
    settings.UPLOADS_DIR = tmp_path / "uploads"
    return tmp_path / "coming"


def address(case: Case) -> str:
    return reverse("cases:take-in", args=[case.number])


def test_200_megabytes_are_refused_in_words_and_never_held(
    as_clerk_here: Client, case: Case, temporary: Path
) -> None:
    stream = body(("scan.pdf", 200 * MB), ("small.png", picture("PNG")))

    as_clerk_here.get(address(case))
    tracemalloc.start()
    try:
        answer = send(as_clerk_here, address(case), stream)
        largest = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert answer.status_code == 422
    text = answer.content.decode()
    assert "scan.pdf</bdi>: The file is larger than 25 MB" in text
    assert stream.was_read == stream.size  # the sender could finish: no broken connection
    assert largest < 20 * MB
    assert list(temporary.iterdir()) == []
    assert [u.original_name for u in Upload.objects.all()] == ["small.png"]


def test_what_is_on_disk_while_it_comes_stays_within_the_limit(
    as_clerk_here: Client, case: Case, temporary: Path
) -> None:
    seen: list[int] = []
    stream = body(("scan.pdf", 60 * MB))
    read = stream.read

    def watched(size: int = -1) -> bytes:
        seen.append(sum(path.stat().st_size for path in temporary.iterdir()))
        return read(size)

    stream.read = watched  # type: ignore[method-assign]
    send(as_clerk_here, address(case), stream)
    assert uploads.MAX_BYTES * 0.9 < max(seen) <= uploads.MAX_BYTES
    assert seen[-1] == 0


def test_too_many_files_and_too_many_bytes(
    as_clerk_here: Client, case: Case, temporary: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(uploads, "MAX_FILES", 2)
    files = [(f"{n}.png", picture("PNG", (20 + n, 20))) for n in range(3)]
    text = send(as_clerk_here, address(case), body(*files)).content.decode()
    assert "2.png</bdi>: At most 2 files are taken at once" in text
    monkeypatch.setattr(uploads, "MAX_TOTAL", 3000)
    more: list[tuple[str, bytes | int]] = [("a.pdf", pdf(2)), ("b.bin", 64 * 1024)]
    text = send(as_clerk_here, address(case), body(*more)).content.decode()
    assert "b.bin</bdi>: All files together are larger than" in text
    assert Upload.objects.count() == 3


def test_a_file_at_the_limit_is_taken_or_judged_and_one_byte_more_is_not(
    as_clerk_here: Client, case: Case, temporary: Path
) -> None:
    at = picture("PNG")
    at += b"\0" * (uploads.MAX_BYTES - len(at))
    assert send(as_clerk_here, address(case), body(("at.png", at))).status_code == 302
    answer = send(as_clerk_here, address(case), body(("over.png", at + b"\0")))
    assert "larger than 25 MB" in answer.content.decode()


def test_of_a_stranger_no_file_is_kept_at_all(case: Case, temporary: Path) -> None:
    seen: list[int] = []
    stream = body(("scan.pdf", 5 * MB))
    read = stream.read

    def watched(size: int = -1) -> bytes:
        seen.append(sum(path.stat().st_size for path in temporary.iterdir()))
        return read(size)

    stream.read = watched  # type: ignore[method-assign]
    answer = send(Client(), address(case), stream)
    assert answer.status_code == 302
    assert "sign-in" in answer.headers["Location"]
    assert max(seen) == 0


@pytest.mark.parametrize(
    "stream",
    [
        lambda: Endless([field("a" * 40, "x" * 4 * MB), f"--{BOUNDARY}--\r\n".encode()]),
        lambda: body(*((f"{n}.png", b"") for n in range(150))),
        lambda: Endless([field(str(n), "x") for n in range(1200)]),
    ],
    ids=["text", "files", "fields"],
)
def test_what_the_framework_refuses_is_said_in_our_words(
    as_clerk_here: Client, case: Case, temporary: Path, stream: Any
) -> None:
    as_clerk_here.raise_request_exception = False
    answer = send(as_clerk_here, address(case), stream())
    assert answer.status_code == 400
    assert "Nothing was changed" in answer.content.decode()


@pytest.fixture
def as_clerk_here(facility: Facility) -> Client:
    client = Client(enforce_csrf_checks=False)
    client.force_login(cast.member(facility, cast.CLERK))
    return client


def test_the_check_against_forgery_reads_a_sending_once(
    facility: Facility, case: Case, temporary: Path
) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(cast.member(facility, cast.CLERK))
    client.get(reverse("cases:documents", args=[case.number]))  # gives the cookie
    stream = body(("scan.pdf", 40 * MB))
    answer = send(client, address(case), stream)
    assert answer.status_code == 403
    assert stream.was_read == stream.size
    assert list(temporary.iterdir()) == []


def test_the_fake_body_is_what_a_browser_sends(
    as_clerk_here: Client, case: Case, temporary: Path
) -> None:
    assert send(as_clerk_here, address(case), body(("a.png", picture("PNG")))).status_code == 302
    assert Upload.objects.get().kind == "PNG"
