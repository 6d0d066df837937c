"""Reading a code with the tablet's camera; the browser's own stand-in shows it a picture."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import segno
from playwright.sync_api import Browser, Page, expect

from cases.models import Case
from crematory import clock
from tests import cast
from tests.browser.conftest import TABLET, chromium_path, sign_in

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
WIDTH, HEIGHT, SCALE = 640, 480, 12
FRAMES = 20


@pytest.fixture
def case(transactional_db: Any) -> Case:
    facility = cast.make_facility()
    return cast.bring(cast.make_case(facility, at=clock.now() - timedelta(days=4)), "tagged")


def film(text: str, path: Path) -> None:
    """Write a film of one picture, a code that holds the text, as uncompressed YUV."""
    grey = [bytearray(b"\xeb" * WIDTH) for _ in range(HEIGHT)]
    for y, row in enumerate(segno.make(text, error="m").matrix_iter(scale=SCALE, border=4)):
        for x, is_dark in enumerate(row):
            grey[y + 20][x + 20] = 0x10 if is_dark else 0xEB
    frame = b"FRAME\n" + b"".join(grey) + b"\x80" * (WIDTH * HEIGHT // 2)
    path.write_bytes(f"YUV4MPEG2 W{WIDTH} H{HEIGHT} F10:1 Ip C420\n".encode() + frame * FRAMES)


@pytest.fixture
def page(browser: Browser, live_server: Any, case: Case, tmp_path: Path) -> Iterator[Page]:
    shown = tmp_path / "code.y4m"
    film(f"DISC/{case.disc.number}", shown)
    with_camera = browser.browser_type.launch(
        executable_path=chromium_path(),
        args=[
            "--no-sandbox",
            "--disable-dev-shm-usage",
            "--use-fake-ui-for-media-stream",
            "--use-fake-device-for-media-stream",
            f"--use-file-for-fake-video-capture={shown}",
        ],
    )
    context = with_camera.new_context(viewport=TABLET, locale="en-US")
    context.set_default_timeout(15_000)
    page = context.new_page()
    sign_in(page, live_server.url, "QV" + cast.OPERATOR, cast.PASSWORD)
    page.goto(f"{live_server.url}/cases/{case.number}/steps/charge/?retort=retort-1")
    yield page
    with_camera.close()


def test_a_code_before_the_camera_fills_the_field(page: Page, case: Case) -> None:
    outside: list[str] = []
    page.on("request", lambda r: outside.append(r.url) if "localhost" not in r.url else None)
    page.get_by_role("button", name="Camera: Scan the disc on the container").click()
    expect(page.locator("[name=disc_scan]")).to_have_value(f"DISC/{case.disc.number}")
    expect(page.locator("dialog.camera")).to_be_hidden()
    expect(page.locator("[name=label_scan]")).to_be_focused()
    assert outside == []


def test_a_hand_scanner_passes_the_camera_by(page: Page) -> None:
    page.fill("[name=disc_scan]", "D1")
    page.press("[name=disc_scan]", "Enter")
    expect(page.locator("[name=label_scan]")).to_be_focused()


def test_the_camera_closes_by_the_keyboard(page: Page) -> None:
    page.evaluate("() => { newDetector = () => new Promise(() => {}); }")  # it finds nothing
    button = page.get_by_role("button", name="Camera: Scan the disc on the container")
    button.focus()
    page.keyboard.press("Enter")
    expect(page.locator("dialog.camera")).to_be_visible()
    page.keyboard.press("Escape")
    expect(page.locator("dialog.camera")).to_be_hidden()
    expect(page.locator("[name=disc_scan]")).to_be_focused()


def test_without_a_camera_it_says_why(browser: Browser, live_server: Any, case: Case) -> None:
    page = browser.new_page()
    sign_in(page, live_server.url, "QV" + cast.OPERATOR, cast.PASSWORD)
    page.goto(f"{live_server.url}/cases/{case.number}/steps/charge/")
    expect(page.locator(".no-camera")).to_contain_text("Use a hand scanner")
    expect(page.locator(".camera-button")).to_have_count(0)
    page.close()
