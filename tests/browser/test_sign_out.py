"""Signing out with something typed: the person is asked first."""

import re

import pytest
from playwright.sync_api import Browser, Dialog, Page, expect

from crematory.models import Facility
from tests import cast
from tests.browser.conftest import sign_in

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
ANNOUNCE = "/cases/announce/"


@pytest.fixture
def page(browser: Browser, live_server: object, transactional_db: None) -> Page:
    facility: Facility = cast.make_facility()
    page = browser.new_context(locale="en-US").new_page()
    page.set_default_timeout(15_000)
    sign_in(page, str(live_server), facility.case_prefix + cast.CLERK, cast.PASSWORD)
    page.goto(f"{live_server}{ANNOUNCE}")
    return page


def press(page: Page, *, accept: bool) -> list[str]:
    """Press “Sign out”; return what was asked."""
    asked: list[str] = []

    def answer(dialog: Dialog) -> None:
        asked.append(dialog.message)
        if accept:
            dialog.accept()
        else:
            dialog.dismiss()

    page.once("dialog", answer)
    page.get_by_role("button", name="Sign out").click()
    return asked


def test_nothing_is_asked_where_nothing_was_typed(page: Page) -> None:
    assert press(page, accept=True) == []
    expect(page).to_have_url(re.compile("/sign-in/"))


def test_no_keeps_the_page_and_what_was_typed(page: Page) -> None:
    page.fill("[name=decedent_name]", "Ada Example")
    (question,) = press(page, accept=False)
    assert "will be lost" in question
    expect(page).to_have_url(re.compile(ANNOUNCE))
    expect(page.locator("[name=decedent_name]")).to_have_value("Ada Example")
    press(page, accept=True)
    expect(page).to_have_url(re.compile("/sign-in/"))


def test_what_came_back_with_an_error_counts_as_typed(page: Page) -> None:
    page.fill("[name=decedent_name]", "Ada Example")
    page.locator("main form button[type=submit]").click()
    page.wait_for_selector("[role=alert]")
    assert len(press(page, accept=False)) == 1
