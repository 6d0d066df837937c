"""Tries are counted before they are checked: many at once get no further than one by one."""

import threading
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client, RequestFactory
from django.urls import reverse
from pytest_django import Settings

from crematory import clock, signatures, tries
from crematory.models import Facility, SignInTries, StaffMember
from crematory.signatures import SignatureRefused, sign
from tests import cast

AT_ONCE = 30
LOGIN = "/sign-in/"


def crowd(act: Callable[[], Any]) -> list[Any]:
    """Do the act many times at the same moment, each in its own thread."""
    gate, results = threading.Barrier(AT_ONCE), []

    def run() -> None:
        try:
            gate.wait(20)
            results.append(act())
        finally:
            connection.close()

    threads = [threading.Thread(target=run) for _ in range(AT_ONCE)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(120)
    assert len(results) == AT_ONCE
    return results


@pytest.mark.django_db(transaction=True)
def test_guesses_at_a_pin_in_the_same_moment(
    facility: Facility, clerk: StaffMember, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Counted after the check, nearly all of them would be checked before the first count."""
    checked: list[str] = []
    original = signatures.is_pin

    def is_pin(member: StaffMember, pin: str) -> bool:
        checked.append(pin)
        return original(member, pin)

    monkeypatch.setattr(signatures, "is_pin", is_pin)

    def guess() -> str:
        try:
            sign(facility, clerk.staff_code, cast.WRONG_PIN)
        except SignatureRefused as refused:
            return refused.code
        return "signed"

    answers = crowd(guess)
    assert len(checked) == tries.MAX_FAILURES
    assert answers.count("signature_wrong") == tries.MAX_FAILURES
    assert answers.count("signature_locked") == AT_ONCE - tries.MAX_FAILURES


@pytest.mark.django_db(transaction=True)
def test_guesses_at_a_password_in_the_same_moment(clerk: StaffMember) -> None:
    wrong = {"username": clerk.staff_code, "password": "wrong"}
    answers = crowd(lambda: Client().post(LOGIN, wrong).status_code)
    assert answers.count(200) == tries.MAX_FAILURES
    assert answers.count(429) == AT_ONCE - tries.MAX_FAILURES


def sign_in(code: str, password: str, address: str = "192.0.2.1") -> Any:
    return Client(REMOTE_ADDR=address).post(LOGIN, {"username": code, "password": password})


@pytest.mark.django_db
@pytest.mark.parametrize("code", ["QVC1", "NOBODY"])
def test_wrong_passwords_lock_a_code_whether_anybody_has_it(clerk: StaffMember, code: str) -> None:
    with clock.pinned(cast.START):
        pages = [sign_in(code, "wrong") for _ in range(tries.MAX_FAILURES)]
        assert {page.status_code for page in pages} == {200}
        locked = sign_in(code.lower(), cast.PASSWORD)
    assert locked.status_code == 429
    assert "Wait, then try again" in locked.content.decode()
    with clock.pinned(cast.START + timedelta(minutes=15)):
        assert sign_in(code, cast.PASSWORD).status_code == (302 if code == "QVC1" else 200)


@pytest.mark.django_db
def test_the_lock_holds_for_one_code_and_one_address(
    clerk: StaffMember, second_clerk: StaffMember
) -> None:
    for _ in range(tries.MAX_FAILURES):
        sign_in("QVC1", "wrong")
    assert sign_in("QVC1", cast.PASSWORD).status_code == 429
    assert sign_in("QVC1", cast.PASSWORD, "192.0.2.2").status_code == 302
    assert sign_in("QVC2", cast.PASSWORD).status_code == 302


@pytest.mark.django_db
def test_a_right_password_ends_the_count(clerk: StaffMember) -> None:
    for _ in range(3):
        for _ in range(tries.MAX_FAILURES - 1):
            assert sign_in("QVC1", "wrong").status_code == 200
        assert sign_in("QVC1", cast.PASSWORD).status_code == 302


@pytest.mark.django_db
def test_what_was_typed_is_stored_nowhere(
    clerk: StaffMember, caplog: pytest.LogCaptureFixture
) -> None:
    for _ in range(tries.MAX_FAILURES + 1):
        sign_in("myoldsecret", "wrong")
    row = str(SignInTries.objects.values().get())
    assert "secret" not in (row + caplog.text).lower()
    assert "192.0.2.1" not in row


@pytest.mark.django_db
def test_old_counts_are_thrown_away_but_no_lock_is(clerk: StaffMember) -> None:
    with clock.pinned(cast.START):
        sign_in("OLD", "wrong")
    late = cast.START + tries.KEPT_FOR + timedelta(minutes=1)
    with clock.pinned(cast.START + timedelta(seconds=1)):
        sign_in("LOCKED", "wrong")
    with clock.pinned(late):
        for _ in range(tries.MAX_FAILURES):
            sign_in("LOCKED", "wrong")
        sign_in("NEW", "wrong")
        assert SignInTries.objects.count() == 2
        assert sign_in("LOCKED", "wrong").status_code == 429


@pytest.mark.parametrize(
    ("is_behind", "forwarded", "address"),
    [
        (False, "198.51.100.9", "192.0.2.1"),
        (True, "198.51.100.9", "198.51.100.9"),
        (True, "203.0.113.66, 198.51.100.9", "198.51.100.9"),
        (True, "", "192.0.2.1"),
    ],
)
def test_the_address_is_the_one_that_our_proxy_saw(
    settings: Settings, is_behind: bool, forwarded: str, address: str
) -> None:
    settings.BEHIND_TLS_PROXY = is_behind
    given = {"X-Forwarded-For": forwarded} if forwarded else {}
    request = RequestFactory(REMOTE_ADDR="192.0.2.1").get("/", headers=given)
    assert tries.client_address(request) == address


@pytest.mark.django_db
@pytest.mark.parametrize("has_one", [True, False])
def test_the_page_for_signing_in_names_the_house_and_links_nowhere(
    facility: Facility, client: Client, request: pytest.FixtureRequest, has_one: bool
) -> None:
    if not has_one:
        request.getfixturevalue("other_facility")
    page = client.get(reverse("login")).content.decode()
    assert ("Quiet Valley Crematory" in page) == has_one
    assert f'href="{reverse("today")}"' not in page
