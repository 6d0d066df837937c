"""Looking for a person by keyboard alone: no address on the way holds what was typed."""

from collections.abc import Iterator
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import BrowserContext, Dialog, Page, expect

from crematory.models import Facility
from tests import cast
from tests.browser.conftest import sign_in

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def facility(transactional_db: None) -> Facility:
    """The cast's facility, in real transactions, as the browser's server sees it."""
    return cast.make_facility()


@pytest.fixture
def page(context: BrowserContext, live_server: object, facility: Facility) -> Iterator[Page]:
    """A page of a signed-in clerk, with three persons to find; every address asked is looked at."""
    for name in ("Ada Quillfeather", "Bela Quillfeather", "Cora Marsh"):
        cast.make_case(facility, decedent_name=name)
    page, addresses = context.new_page(), []
    page.on("request", lambda request: addresses.append(request.url))
    sign_in(page, str(live_server), facility.case_prefix + cast.CLERK, cast.PASSWORD)
    yield page
    assert any("/persons/" in address for address in addresses)
    for typed in ("quill", "bela", "marsh", "cora"):
        assert not any(typed in address.lower() for address in addresses)


def type_into(page: Page, box: str, text: str) -> None:
    page.locator(box).press("ControlOrMeta+a")
    page.keyboard.type(text)
    page.keyboard.press("Enter")


def expect_names(page: Page, *names: str) -> None:
    expect(page.locator("tbody bdi")).to_have_text(list(names))


def test_enter_in_the_scan_box_finds_and_the_box_is_ready_again(page: Page) -> None:
    type_into(page, "#scan", "bela")
    expect_names(page, "Bela Quillfeather")
    expect(page.locator("#scan")).to_be_focused()
    page.keyboard.type("cora")
    page.keyboard.press("Enter")
    expect_names(page, "Cora Marsh")
    expect(page.locator("#scan")).to_be_focused()


def test_enter_in_the_lists_box_back_and_reload(page: Page) -> None:
    page.goto(f"http://{urlsplit(page.url).netloc}/persons/")
    type_into(page, "#find", "ada q")
    expect_names(page, "Ada Quillfeather")
    type_into(page, "#find", "cora")
    expect_names(page, "Cora Marsh")
    page.reload()
    expect_names(page, "Cora Marsh")
    page.go_back()
    expect_names(page, "Ada Quillfeather")
    expect(page.locator("#find")).to_have_value("ada q")
    page.go_forward()
    expect_names(page, "Cora Marsh")


def test_a_number_typed_leads_to_the_case(page: Page, facility: Facility) -> None:
    number = facility.cases.earliest("pk").number
    type_into(page, "#scan", number)
    expect(page.locator("h1")).to_contain_text("Ada Quillfeather")


def test_what_is_typed_to_find_somebody_is_no_loss_at_sign_out(page: Page) -> None:
    page.goto(f"http://{urlsplit(page.url).netloc}/persons/")
    questions: list[str] = []

    def agree(dialog: Dialog) -> None:
        questions.append(dialog.message)
        dialog.accept()

    page.on("dialog", agree)
    page.locator("#find").fill("marsh")
    page.get_by_role("button", name="Sign out").click()
    expect(page.locator("input[name=username]")).to_be_visible()
    assert questions == []
