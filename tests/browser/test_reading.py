"""Entering a reading on a tablet: what is typed stays, and a refusal is seen at once."""

from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from crematory import clock
from crematory.models import Facility
from retort_log.models import Retort
from tests import cast
from tests.browser.conftest import TABLET, sign_in

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def page(browser: Browser, live_server: Any) -> Iterator[Page]:
    facility: Facility = cast.make_facility()
    context = browser.new_context(viewport=TABLET, locale="en-US")
    context.set_default_timeout(15_000)
    page = context.new_page()
    sign_in(page, live_server.url, facility.case_prefix + cast.OPERATOR, cast.PASSWORD)
    page.goto(f"{live_server.url}/machine/retort-1/")
    yield page
    context.close()


def send(page: Page, secondary: str, primary: str) -> None:
    page.fill("[name=secondary]", secondary)
    page.fill("[name=primary]", primary)
    page.locator("form:has([name=primary]) button[type=submit]").click()


def test_news_of_the_retort_leave_alone_what_is_typed(page: Page) -> None:
    page.locator("[name=secondary]").press_sequentially("16")
    with page.expect_response(lambda answer: answer.request.headers.get("hx-request") == "true"):
        page.evaluate("htmx.ajax('GET', location.pathname, '#live')")
    page.keyboard.type("40")
    expect(page.locator("[name=secondary]")).to_have_value("1640")
    expect(page.locator("[name=secondary]")).to_be_focused()


def test_a_refusal_is_in_sight_and_the_cursor_beside_it(page: Page) -> None:
    send(page, "1640", "hot")
    field = page.locator("[name=primary]")
    expect(field).to_be_focused()
    expect(field).to_have_attribute("aria-describedby", "id_primary_helptext id_primary_error")
    expect(page.locator("#id_primary_error")).to_be_in_viewport(ratio=1)
    expect(page.locator("label[for=id_primary]")).to_be_in_viewport(ratio=1)


def test_a_doubt_is_asked_in_sight_and_answered_by_a_tick(page: Page) -> None:
    retort = Retort.objects.get(name="Retort 1")
    cast.read(retort, cast.HOT, clock.now() - timedelta(minutes=5))
    send(page, "1202", "1616")
    box = page.locator("[name=is_confirmed]")
    expect(box).to_be_focused()
    expect(page.locator("#id_is_confirmed_error")).to_be_in_viewport(ratio=1)
    expect(page.locator("[name=secondary]")).to_have_value("1202")
    box.check()
    page.locator("form:has([name=primary]) button[type=submit]").click()
    expect(page.get_by_text("Reading of Retort 1 recorded")).to_be_visible()
    assert retort.readings.count() == 2
