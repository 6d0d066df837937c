"""The chart of a run in a real browser: drawn, looked at closer, readable without scripts."""

from collections.abc import Iterator
from datetime import timedelta
from typing import Any
from urllib.parse import urljoin

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from cases.models import Case
from crematory import clock
from crematory.models import Facility
from tests import cast
from tests.browser.conftest import TABLET, sign_in
from tests.burned import burn

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
DRAWN = "performance.getEntriesByName('run chart drawn', 'measure').map(e => e.duration)"


@pytest.fixture
def house(transactional_db: None) -> Facility:
    return cast.make_facility()


@pytest.fixture
def burned(house: Facility) -> Case:
    """A run of some 40,000 readings of both chambers."""
    case = cast.make_case(house)
    burn(case)
    return case


@pytest.fixture
def page(browser: Browser, live_server: Any, burned: Case) -> Iterator[Page]:
    """The page of the run, as a manager sees it; nothing may go wrong in it."""
    context = browser.new_context(viewport=TABLET, locale="en-US", timezone_id="Asia/Tokyo")
    context.set_default_timeout(15_000)
    page, troubles = context.new_page(), list[str]()
    page.on("console", lambda said: troubles.append(said.text) if said.type == "error" else None)
    page.on("pageerror", lambda error: troubles.append(str(error)))
    house = burned.facility
    sign_in(page, live_server.url, house.case_prefix + cast.MANAGER, cast.PASSWORD)
    page.goto(f"{live_server.url}/cases/{burned.number}/run/")
    page.wait_for_function(f"{DRAWN}.length")
    yield page
    context.close()
    assert troubles == []


def test_it_is_drawn_looked_at_closer_and_read(page: Page) -> None:
    assert page.evaluate(DRAWN)[0] < 2_000  # a bound of this test's machine, not of the chart
    chart = page.locator(".run-chart")
    expect(chart.locator("canvas")).to_have_attribute("role", "img")
    assert page.evaluate(DARK_DOTS) > 500
    over = chart.locator(".u-over").bounding_box()
    assert over is not None
    legend = chart.locator(".u-legend")
    page.mouse.move(over["x"] + over["width"] * 0.5, over["y"] + 100)
    expect(legend).to_contain_text("°F")
    middle = legend.inner_text()
    assert "16:4" in middle  # of the house's zone, wherever the browser stands
    # Dragged across the burning, the same place shows an earlier time.
    page.mouse.move(over["x"] + over["width"] * 0.02, over["y"] + 100)
    page.mouse.down()
    page.mouse.move(over["x"] + over["width"] * 0.2, over["y"] + 100, steps=4)
    page.mouse.up()
    page.mouse.move(over["x"] + over["width"] * 0.5, over["y"] + 102)
    expect(legend).to_contain_text("12:2")
    chart.get_by_role("button", name="Whole run").click()
    page.mouse.move(over["x"] + over["width"] * 0.5, over["y"] + 100)
    expect(legend).to_contain_text("16:4")


def test_nothing_of_the_page_shuts_anybody_out(page: Page) -> None:
    settle = page.get_by_role("link", name="Settle").get_attribute("href")
    for address in ("", str(settle)):
        page.goto(urljoin(page.url, address))
        found = Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]})
        assert found.violations_count == 0, found.generate_report()


def test_new_readings_come_by_themselves(
    browser: Browser, live_server: Any, house: Facility, monkeypatch: pytest.MonkeyPatch
) -> None:
    case = cast.make_case(house)
    run = burn(case, "in_retort", every_s=20)
    at = run.charged_at + timedelta(minutes=20)
    monkeypatch.setattr(clock, "now", lambda: at)
    context = browser.new_context(viewport=TABLET)
    page = context.new_page()
    sign_in(page, live_server.url, house.case_prefix + cast.OPERATOR, cast.PASSWORD)
    page.clock.install()
    page.goto(f"{live_server.url}/cases/{case.number}/run/")
    expect(page.locator(".run-chart canvas")).to_be_visible()
    expect(page.locator(".run-state")).to_contain_text("20 min ago")
    expect(page.locator(".early")).to_have_count(0)
    monkeypatch.setattr(clock, "now", lambda: at + timedelta(minutes=8))
    with page.expect_response("**/run/chart.json"):
        page.clock.run_for(16_000)
    expect(page.locator(".run-state")).to_contain_text("28 min ago")
    expect(page.locator(".early")).to_contain_text("Not crossed yet")
    page.clock.run_for(1_000)
    over = page.locator(".u-over").bounding_box()
    assert over is not None
    page.mouse.move(over["x"] + over["width"] - 4, over["y"] + 50)
    page.clock.run_for(1_000)
    expect(page.locator(".u-legend")).to_contain_text("11:57")
    context.close()


def test_without_scripts_the_drawing_stands_in(
    browser: Browser, live_server: Any, burned: Case
) -> None:
    context = browser.new_context(viewport=TABLET, java_script_enabled=False)
    page = context.new_page()
    sign_in(page, live_server.url, burned.facility.case_prefix + cast.CLERK, cast.PASSWORD)
    page.goto(f"{live_server.url}/cases/{burned.number}/run/")
    picture = page.locator("img.run-picture")
    expect(picture).to_be_visible()
    assert picture.evaluate("image => image.naturalWidth") > 0
    context.close()


# How many dark dots the canvas has: lines of both chambers, limits, words.
DARK_DOTS = """() => {
  const canvas = document.querySelector(".run-chart canvas");
  const dots = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data;
  let dark = 0;
  for (let i = 0; i < dots.length; i += 4) if (dots[i + 3] > 200 && dots[i] < 60) dark += 1;
  return dark;
}"""
