"""An operator drops a logger's file onto the page, answers what is asked, and takes it in."""

import base64
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from crematory.models import Facility
from retort_log.models import LoggerFile
from tests import cast
from tests.browser.conftest import sign_in
from tests.browser.test_papers_in import DROP
from tests.retort_log.logger_logs import raw

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def house(transactional_db: None, settings: Any, tmp_path: Any) -> Facility:
    settings.UPLOADS_DIR = tmp_path / "uploads"
    return cast.make_facility()


@pytest.fixture
def page(context: BrowserContext, live_server: Any, house: Facility) -> Page:
    page = context.new_page()
    sign_in(page, live_server.url, house.case_prefix + cast.OPERATOR, cast.PASSWORD)
    page.goto(f"{live_server.url}/machine/retort-1/log/")
    return page


def drop(page: Page, *names: str) -> None:
    files = [[name, "text/csv", base64.b64encode(raw(name)).decode()] for name in names]
    page.evaluate(DROP, files)


def test_a_dropped_file_is_looked_at_and_taken_in(page: Page) -> None:
    drop(page, "which_day.csv", "iso.csv")
    expect(page.locator("[data-told]")).to_have_text("Bring one file at a time.")
    page.fill("[name=name]", "panel recorder")
    drop(page, "which_day.csv")
    expect(page.locator("[data-told]")).to_contain_text("which_day.csv is ready")
    page.keyboard.press("Enter")  # the button has the focus
    expect(page.locator("h1")).to_have_text("What was understood of this file")
    expect(page.locator("button[value=take]")).to_have_count(0)
    page.check("[name=date_order][value=mdy]")
    page.select_option("[name=zone]", "America/Denver")
    page.click("button[value=look]")
    expect(page.locator("#store")).to_have_text("What would be stored")
    assert not LoggerFile.objects.exists()
    page.click("button[value=take]")
    expect(page.locator("h1")).to_have_text("Files of loggers")
    expect(page.locator(".message-success")).to_contain_text("taken in")
    file = LoggerFile.objects.get()
    expect(page.locator("table")).to_contain_text("which_day.csv")
    with page.expect_download() as saved:
        page.click("th a")
    assert saved.value.suggested_filename == file.original_name
