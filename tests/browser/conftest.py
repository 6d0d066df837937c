"""A real browser for the tests: the system's Chromium, driven by Playwright."""

import os
import shutil
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, ViewportSize, sync_playwright

os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
TABLET = ViewportSize(width=1024, height=768)
DESK = ViewportSize(width=1280, height=800)


def chromium_path() -> str:
    """Return the path of an installed Chromium; skip loudly, or fail where it is required."""
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    if path:
        return path
    if os.environ.get("REQUIRE_BROWSER"):
        pytest.fail("No chromium found, and REQUIRE_BROWSER is set.")
    pytest.skip("NO CHROMIUM FOUND: the browser tests did not run. Install chromium.")


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """One browser for the session."""
    path = chromium_path()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=path, args=["--no-sandbox", "--disable-dev-shm-usage"]
        )
        yield browser
        browser.close()


@pytest.fixture
def context(browser: Browser) -> Iterator[BrowserContext]:
    """A fresh browser context of a tablet's size that fails on any error in the page."""
    errors: list[str] = []
    context = browser.new_context(viewport=TABLET, accept_downloads=True, locale="en-US")
    context.set_default_timeout(15_000)
    context.on("weberror", lambda e: errors.append(str(e.error)))
    yield context
    context.close()
    assert errors == []


def sign_in(page: Any, base: str, code: str, password: str) -> None:
    """Sign in by staff code."""
    page.goto(f"{base}/sign-in/")
    page.fill("input[name=username]", code)
    page.fill("input[name=password]", password)
    page.click("main button[type=submit]")
