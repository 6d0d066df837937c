"""A clerk drops papers onto a case and files each beside its scan, in a real browser."""

import base64
import re
import time
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from cases.models import Case, Document
from chain_of_custody.models import Upload
from crematory.models import Facility
from tests import cast
from tests.browser.conftest import DESK, sign_in
from tests.papers_in import pdf, picture

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

DROP = """
async files => {
  const bag = new DataTransfer();
  for (const [name, type, text] of files) {
    const bytes = Uint8Array.from(atob(text), sign => sign.charCodeAt(0));
    bag.items.add(new File([bytes], name, { type }));
  }
  for (const kind of ["dragover", "drop"]) {
    document.querySelector("main h1").dispatchEvent(
      new DragEvent(kind, { bubbles: true, cancelable: true, dataTransfer: bag }));
  }
}
"""
# What the bars showed, written down as it happens: a small file is sent in a moment.
WATCH = """
() => {
  window.seen = [];
  new MutationObserver(() => document.querySelectorAll(".sending li").forEach(item => {
    window.seen.push(item.innerText + " " + (item.querySelector("progress")?.value ?? ""));
  })).observe(
    document.querySelector(".sending"), { subtree: true, childList: true, characterData: true });
}
"""


@pytest.fixture
def house(transactional_db: None) -> Facility:
    return cast.make_facility()


@pytest.fixture
def page(context: BrowserContext, live_server: Any, house: Facility) -> Page:
    page = context.new_page()
    sign_in(page, live_server.url, house.case_prefix + cast.CLERK, cast.PASSWORD)
    return page


def drop(page: Page, *files: tuple[str, str, bytes]) -> None:
    page.evaluate(DROP, [[n, kind, base64.b64encode(data).decode()] for n, kind, data in files])


def shown_pages(page: Page) -> int:
    """Wait until every page of the scan near the screen is drawn; return how many there are."""
    images = page.locator(".sheets img")
    for index in range(images.count()):
        images.nth(index).scroll_into_view_if_needed()
        page.wait_for_function(
            "i => document.querySelectorAll('.sheets img')[i].naturalWidth > 0", arg=index
        )
    return images.count()


def file_it(page: Page, kind: str, reference: str) -> None:
    page.select_option("[name=kind]", kind)
    page.fill("[name=reference]", reference)
    page.fill("[name=issued_by]", "Example Funeral Home")
    page.fill("[name=issued_on]", "2024-03-01")
    page.press("[name=issued_on]", "Enter")


def test_a_pdf_and_a_photograph_are_dropped_seen_and_filed(
    page: Page, live_server: Any, house: Facility
) -> None:
    case = cast.make_case(house)
    page.set_viewport_size(DESK)
    page.goto(f"{live_server.url}/cases/{case.number}/")
    page.evaluate(WATCH)
    with page.expect_navigation(url=re.compile("/documents/$")):
        drop(
            page,
            ("permit.pdf", "application/pdf", pdf(3)),
            ("certificate.jpg", "image/jpeg", picture("JPEG", (900, 1200))),
        )
    assert Upload.objects.filter(case=case).count() == 2
    expect(page.locator(".waiting-files")).to_contain_text("2 files wait")
    assert shown_pages(page) == 3
    file_it(page, "disposition_permit", "P-1")
    expect(page.locator(".waiting-files")).to_contain_text("One file waits")
    assert shown_pages(page) == 1
    file_it(page, "final_death_certificate", "C-1")
    expect(page).to_have_url(re.compile(f"/cases/{case.number}/$"))
    filed = Document.objects.filter(case=case, upload__isnull=False)
    assert {d.kind: d.upload.kind for d in filed if d.upload} == {
        "disposition_permit": "PDF",
        "final_death_certificate": "JPEG",
    }


def test_each_file_has_its_bar_and_a_refused_one_says_why(
    page: Page, live_server: Any, house: Facility
) -> None:
    case = cast.make_case(house)
    page.goto(f"{live_server.url}/cases/{case.number}/")
    page.evaluate(WATCH)
    drop(
        page,
        ("page.html", "text/html", b"<h1>no</h1>"),
        ("big.png", "image/png", picture("PNG", (1500, 1500)) + b"\0" * 3_000_000),
    )
    expect(page.locator(".sending .is-refused")).to_contain_text(
        "This is no PDF, JPEG, PNG or HEIC"
    )
    link = page.get_by_role("link", name="File the one that was taken")
    expect(link).to_be_visible()
    seen = page.evaluate("window.seen")
    assert any(re.search(r"big\.png.*(\d+ % sent|looked through)", text, re.S) for text in seen)
    link.click()
    assert shown_pages(page) == 1
    assert Upload.objects.get(case=case).original_name == "big.png"


def test_what_is_typed_stays_while_more_files_come(
    page: Page, live_server: Any, house: Facility
) -> None:
    case = cast.make_case(house)
    page.goto(f"{live_server.url}/cases/{case.number}/documents/")
    page.fill("[name=reference]", "typed and not sent")
    drop(page, ("a.png", "image/png", picture("PNG")))
    expect(page.get_by_role("link", name="File the one that was taken")).to_be_visible()
    assert page.input_value("[name=reference]") == "typed and not sent"


def test_chosen_by_keyboard_and_too_large_is_said_without_sending(
    page: Page, live_server: Any, house: Facility, tmp_path: Path
) -> None:
    case = cast.make_case(house)
    page.goto(f"{live_server.url}/cases/{case.number}/documents/")
    large = tmp_path / "large.pdf"
    with large.open("wb") as file:
        file.truncate(200 * 1024 * 1024)
    sent: list[str] = []
    page.on(
        "request", lambda request: sent.append(request.url) if request.method == "POST" else None
    )
    started = time.monotonic()
    page.set_input_files("#drop-files", [large])
    expect(page.locator(".sending .is-refused")).to_contain_text("larger than 25 MB")
    assert time.monotonic() - started < 10
    assert sent == []
    with page.expect_file_chooser():
        page.focus("#drop-files")
        page.keyboard.press("Enter")


def test_without_scripts_the_same_form_sends_the_files(
    browser: Any, live_server: Any, house: Facility, tmp_path: Path
) -> None:
    case = cast.make_case(house)
    good, bad = tmp_path / "good.pdf", tmp_path / "bad.pdf"
    good.write_bytes(pdf(2))
    bad.write_bytes(b"no")
    context = browser.new_context(java_script_enabled=False, viewport=DESK)
    try:
        page = context.new_page()
        sign_in(page, live_server.url, house.case_prefix + cast.CLERK, cast.PASSWORD)
        page.goto(f"{live_server.url}/cases/{case.number}/documents/")
        page.set_input_files("#drop-files", [good, bad])
        page.click("text=Send the files")
        expect(page.get_by_role("alert")).to_contain_text("bad.pdf: This is no PDF")
        expect(page.locator(".sheets img")).to_have_count(2)
    finally:
        context.close()
    assert Case.objects.get().uploads.count() == 1


def test_pages_grow_and_turn_by_key(page: Page, live_server: Any, house: Facility) -> None:
    case = cast.make_case(house)
    page.goto(f"{live_server.url}/cases/{case.number}/documents/")
    with page.expect_navigation():
        drop(page, ("a.png", "image/png", picture("PNG", (600, 300))))
    shown_pages(page)
    room = page.locator(".sheet-turned").first
    before = room.bounding_box()
    page.focus(".sheets-pages")
    page.keyboard.press("r")
    turned = room.bounding_box()
    assert before
    assert turned
    assert before["width"] > before["height"]
    assert turned["height"] > turned["width"]
    page.keyboard.press("+")
    larger = room.bounding_box()
    assert larger
    assert larger["width"] > turned["width"] * 1.4
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
