"""What no browser sends by itself is answered with a 4xx or with the form, never with an error."""

from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from cases.models import Case
from crematory.models import StaffMember
from retort_log.models import Reading, Retort
from tests import cast
from tests.cases.pages import browser, url
from tests.retort_log.logger_logs import raw

pytestmark = pytest.mark.django_db
ENDLESS = "9" * 5000  # more digits than Python reads as a number


@pytest.mark.parametrize("typed", [ENDLESS, "-1", "", "٣", "1e3"])
def test_the_number_of_containers_may_be_anything(
    case: Case, operator: StaffMember, typed: str
) -> None:
    cast.bring(case, "processed")
    rows = {"containers-TOTAL_FORMS": typed, "containers-INITIAL_FORMS": typed}
    page = url("step", case, "contain")
    assert browser(operator).post(page, rows).status_code == 422
    assert browser(operator).post(page, rows | {"more": "1"}).status_code == 200


@pytest.mark.parametrize("typed", [ENDLESS, "-1", "", "0", "20", "100000"])
def test_the_number_of_device_questions_may_be_anything(
    case: Case, operator: StaffMember, typed: str
) -> None:
    rows = {"devices-TOTAL_FORMS": typed, "devices-INITIAL_FORMS": "9", "token": "t"}
    assert browser(operator).post(url("devices", case), rows).status_code in (302, 422)


@pytest.mark.parametrize("typed", ["0001-01-01T00:00", "9999-12-31T23:59", "2024-03-10T02:30"])
def test_a_reading_at_no_time_of_this_world(
    retort: Retort, operator: StaffMember, typed: str
) -> None:
    assert _read(retort, operator, typed) == 422
    assert not Reading.objects.exists()


def test_a_reading_in_the_hour_that_is_struck_twice(retort: Retort, operator: StaffMember) -> None:
    assert _read(retort, operator, "2024-11-03T01:30") == 422
    assert _read(retort, operator, "2024-11-03T01:30 MST") == 302
    assert Reading.objects.get().at.hour == 8  # UTC


def _read(retort: Retort, member: StaffMember, at: str) -> int:
    data = {"primary": "100", "secondary": "100", "at": at}
    page = reverse("cases:reading", args=[retort.place.code])
    return browser(member).post(page, data).status_code


@pytest.mark.parametrize("typed", [ENDLESS, "-" + ENDLESS, "1e9", "9" * 18, "٣"])
def test_a_moment_that_no_clock_gave(retort: Retort, operator: StaffMember, typed: str) -> None:
    data = {"primary": "100", "secondary": "100", "stated_ms": typed}
    client = browser(operator)
    for name in ("reading", "event"):
        address = reverse(f"cases:{name}", args=[retort.place.code])
        assert client.post(address, data | {"kind": "fault", "note": "x"}).status_code == 422


@pytest.mark.parametrize("typed", [ENDLESS, "-1", "101", "٣", "1 " * 5000, "\x00"])
def test_opacity_that_no_eye_read(retort: Retort, operator: StaffMember, typed: str) -> None:
    data = {"kind": "preheat_begun", "opacity": typed}
    address = reverse("cases:event", args=[retort.place.code])
    assert browser(operator).post(address, data).status_code == 422


@pytest.mark.parametrize("typed", [ENDLESS, "NaN", "1e999999", "-1", "٣", "\x00", "fe80::1%1", " "])
@pytest.mark.parametrize("name", ["host", "port", "primary-register", "primary-scale"])
def test_a_controller_that_nobody_has(
    retort: Retort, manager: StaffMember, name: str, typed: str
) -> None:
    data = {"host": "127.0.0.1", "port": 1, "device_id": 1, "every_s": 1, "do": "ask"}
    data |= {"primary-register": "0", "primary-unit": "degC", "primary-scale": "1", name: typed}
    answer = browser(manager).post(reverse("cases:controller", args=[retort.place.code]), data)
    assert answer.status_code in (200, 422)


@pytest.mark.parametrize("typed", [ENDLESS, "-1", "x\x00", "../../etc/passwd", "2024-03-10T02:30"])
@pytest.mark.parametrize(
    "name", ["zone", "time_column", "start", "channel:1", "unit:1", "repeated_hour", "shown"]
)
def test_answers_about_a_file_that_nobody_gave(
    retort: Retort, operator: StaffMember, name: str, typed: str
) -> None:
    client, page = browser(operator), reverse("cases:log", args=[retort.place.code])
    file = SimpleUploadedFile("../a\r\nb\u202e.csv", raw("elapsed.csv"))
    address = client.post(page, {"name": "panel", "file": file}).headers["Location"]
    assert client.post(address, {"do": "take", name: typed}).status_code == 422
    assert client.get(address).status_code == 200


@pytest.mark.parametrize("charset", ["hex", "unicode_escape", "idna", "undefined", "punycode"])
@pytest.mark.parametrize("is_signed_in", [True, False])
def test_only_utf8_is_read(
    case: Case, clerk: StaffMember, charset: str, is_signed_in: bool
) -> None:
    client = browser(clerk) if is_signed_in else Client()
    body = b'--x\r\nContent-Disposition: form-data; name="ground"\r\n\r\n\\ud800\r\n--x--\r\n'
    kind = f"multipart/form-data; boundary=x; charset={charset}"
    assert client.generic("POST", url("hold", case), body, content_type=kind).status_code == 400


def test_half_a_character_in_the_address(clerk: StaffMember) -> None:
    kind: Any = {"content-type": "text/plain; charset=unicode_escape"}
    assert browser(clerk).get("/persons/?q=%5Cud800", headers=kind).status_code == 400


@pytest.mark.parametrize(
    "number", ["%00", "QV24-00001%00", "A" * 5000, "%ff", "ß", "9" * 40 + "%00"]
)
@pytest.mark.parametrize("rest", ["", "trail/", "devices/", "papers/K7QM-2XHD-9.pdf"])
def test_a_number_that_is_none(clerk: StaffMember, number: str, rest: str) -> None:
    assert browser(clerk).get(f"/cases/{number}/{rest}").status_code == 404


def test_a_paper_and_a_token_with_a_nul(case: Case, clerk: StaffMember) -> None:
    client = browser(clerk)
    assert client.get(f"/cases/{case.number}/papers/%00.pdf").status_code == 404
    assert client.post(url("print", case, "label"), {"token": "\0"}).status_code == 302


def test_the_code_of_a_retort_with_a_nul(case: Case, operator: StaffMember) -> None:
    page = url("step", case, "charge")
    assert browser(operator).get(page, {"retort": "a\0b"}).status_code == 200
