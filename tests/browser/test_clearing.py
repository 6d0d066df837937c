"""A clerk answers the device questions and lists things, in a real browser."""

from typing import Any

import pytest
from playwright.sync_api import Browser, Page, ViewportSize, expect

from cases import things
from crematory.models import Facility
from tests import cast
from tests.browser.conftest import DESK, TABLET, sign_in

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture(params=[TABLET, DESK], ids=["tablet", "desk"])
def page(request: Any, browser: Browser, live_server: Any) -> Any:
    size: ViewportSize = request.param
    context = browser.new_context(viewport=size, locale="en-US")
    yield context.new_page()
    context.close()


def question(page: Page, device: str) -> Any:
    """The fieldset of a device, by the hidden value that names it."""
    return page.locator(f"fieldset[data-question]:has(input[type=hidden][value='{device}'])")


def test_one_click_answers_no_and_records_nothing_by_itself(
    page: Page, live_server: Any, transactional_db: None
) -> None:
    facility: Facility = cast.make_facility()
    case = cast.make_case(facility)
    sign_in(page, live_server.url, f"QV{cast.CLERK}", cast.PASSWORD)
    page.goto(f"{live_server.url}/cases/{case.number}/devices/")
    assert page.locator("input[type=radio]:checked").count() == 0
    question(page, "pacemaker").locator("input[value=yes]").check()
    page.get_by_role("button", name="None of these").click()
    assert page.locator("input[value=no]:checked").count() == 13
    expect(page.locator("[data-answered]")).to_contain_text("13 answered. Nothing is recorded yet.")
    assert not case.device_answers.exists()
    pacemaker = question(page, "pacemaker")
    expect(pacemaker.locator("[name$=removed_by]")).to_be_hidden()
    assert pacemaker.locator("option[value=stays]").count() == 0
    pacemaker.locator("select[name$=outcome]").select_option("attested")
    expect(pacemaker.locator("[name$=attested_by]")).to_be_visible()
    pacemaker.locator("[name$=attested_by]").fill("M. Tolworthy")
    page.fill("[name=informant]", "Vera Example, daughter")
    page.get_by_role("button", name="Record the answers").click()
    expect(page.locator("main")).to_contain_text("An attestation names who attests it")
    expect(pacemaker.locator("[name$=attested_by]")).to_have_value("M. Tolworthy")
    pacemaker.locator("[name$=attester_licence]").fill("E-22")
    page.get_by_role("button", name="Record the answers").click()
    page.wait_for_url(f"**/cases/{case.number}/")
    assert case.device_answers.count() == 14
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def test_a_ring_is_listed_and_the_list_closed(
    page: Page, live_server: Any, transactional_db: None
) -> None:
    case = cast.make_case(cast.make_facility())
    cast.do("receive", case, belongings="wedding ring")
    sign_in(page, live_server.url, f"QV{cast.CLERK}", cast.PASSWORD)
    page.goto(f"{live_server.url}/cases/{case.number}/things/")
    expect(page.locator("[name=things-0-description]")).to_have_value("wedding ring")
    page.select_option("[name=things-0-kind]", "jewellery")
    page.select_option("[name=things-0-wish]", "returned")
    page.fill("[name=decided_by]", "Vera Example, daughter")
    page.fill("[name=kept_in]", "safe, envelope 14")
    page.check("[name=is_complete]")
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    page.get_by_role("button", name="Record the list").click()
    page.wait_for_url(f"**/cases/{case.number}/")
    assert [thing.description for thing in things.due(case)] == ["wedding ring"]
