"""200 MB over a real connection: the answer arrives in words, and the connection holds."""

import http.client
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from django.test import Client
from django.urls import reverse

from chain_of_custody.models import Upload
from tests import cast
from tests.chain_of_custody.test_upload_limits import BOUNDARY, MB, Endless, field, file_head

pytestmark = pytest.mark.django_db(transaction=True)


def test_200_megabytes_are_answered_in_words(
    live_server: Any, transactional_db: None, settings: Any, tmp_path: Path
) -> None:
    settings.FILE_UPLOAD_TEMP_DIR = str(tmp_path)
    settings.UPLOADS_DIR = tmp_path / "uploads"
    facility = cast.make_facility()
    case = cast.make_case(facility)
    client = Client()
    client.force_login(cast.member(facility, cast.CLERK))
    client.get(reverse("cases:documents", args=[case.number]))
    proof = client.cookies["csrftoken"].value
    stream = Endless(
        [
            field("csrfmiddlewaretoken", proof),
            field("token", cast.token()),
            file_head("scan.pdf"),
            200 * MB,
            f"\r\n--{BOUNDARY}--\r\n".encode(),
        ]
    )
    connection = http.client.HTTPConnection(urlsplit(live_server.url).netloc, timeout=120)
    connection.request(
        "POST",
        reverse("cases:take-in", args=[case.number]),
        body=stream,
        headers={
            "Content-Type": f"multipart/form-data; boundary={BOUNDARY}",
            "Content-Length": str(stream.size),
            "Accept": "application/json",
            "Cookie": "; ".join(
                f"{name}={cookie.value}" for name, cookie in client.cookies.items()
            ),
        },
    )
    answer = connection.getresponse()
    text = answer.read().decode()
    connection.close()
    assert answer.status == 422
    assert "larger than 25 MB" in text
    assert not Upload.objects.exists()
    assert list(tmp_path.iterdir()) == []
