"""Remake the pictures of the README: `python -m tests.pictures`.

Starts the demonstration on a free loopback port, opens its pages in a headless Chromium at the
sizes of a desk and of a tablet, and ends the server that it started.
"""

import os
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path

from playwright.sync_api import Page, ViewportSize, sync_playwright

ROOT = Path(__file__).resolve().parent.parent
FOLDER = ROOT / "demo_data" / "pictures"
DESK = ViewportSize(width=1280, height=800)
TABLET = ViewportSize(width=1024, height=768)


def free_port() -> int:
    """Return a loopback port that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait_for(address: str) -> None:
    """Wait up to two minutes for the demonstration to answer."""
    for _ in range(240):
        try:
            urllib.request.urlopen(address, timeout=2)  # noqa: S310 - our own loopback server
        except OSError:
            time.sleep(0.5)
        else:
            return
    raise SystemExit("The demonstration did not answer within two minutes.")


def log_in(page: Page, base: str, code: str, password: str) -> None:
    """Sign in to the demonstration."""
    page.goto(f"{base}/sign-in/")
    page.fill("input[name=username]", code)
    page.fill("input[name=password]", password)
    page.click("main button[type=submit]")


def take_pictures(base: str, code: str, password: str, folder: Path) -> None:
    """Leave a picture of each page in the folder."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium"),
            args=["--no-sandbox", "--disable-dev-shm-usage"],
        )
        for size_name, size in (("", DESK), ("-tablet", TABLET)):
            page = browser.new_page(viewport=size)
            log_in(page, base, code, password)
            for name, address in addresses(page, base).items():
                page.goto(base + address)
                page.screenshot(path=folder / f"{name}{size_name}.png")
        browser.close()


def addresses(page: Page, base: str) -> dict[str, str]:
    """Return the pages to show; the case is the newest one that waits for its charge."""
    page.goto(f"{base}/persons/?state=tagged")
    link = page.locator("main table a[href^='/cases/']").first.get_attribute("href")
    if link is None:
        raise SystemExit("The demonstration has nobody who waits for the charge.")
    return {
        "today": "/",
        "persons": "/persons/",
        "case": link,
        "machines": "/machine/",
        "machine": "/machine/retort-1/",
        "places": "/places/",
        "trail": f"{link}trail/",
        "house": "/house/",
    }


def main() -> None:
    """Start the demonstration, take the pictures, end it."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER
    folder.mkdir(parents=True, exist_ok=True)
    port = free_port()
    with tempfile.TemporaryDirectory() as var:
        server = subprocess.Popen(
            [sys.executable, "manage.py", "demo", "--fresh", "--port", str(port)],
            cwd=ROOT,
            env={**os.environ, "VAR_DIR": var, "PYTHONUNBUFFERED": "1"},
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        try:
            base = f"http://127.0.0.1:{port}"
            wait_for(f"{base}/sign-in/")
            code, password = log_in_of(server)
            take_pictures(base, code, password, folder)
        finally:
            server.terminate()
            server.wait(timeout=20)
    sys.stdout.write(f"Pictures in {folder}\n")


def log_in_of(server: subprocess.Popen[str]) -> tuple[str, str]:
    """Read the manager's code and password from what the demonstration prints."""
    assert server.stdout is not None
    for line in server.stdout:
        if "manager" in line and (found := re.match(r"\s*(\S+)\s+(\S.*?)\s{2,}", line)):
            return found[1], found[2]
    raise SystemExit("The demonstration printed no manager.")


if __name__ == "__main__":
    main()
