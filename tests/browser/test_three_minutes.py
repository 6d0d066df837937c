"""Intake, papers and authorization of one person by one clerk: counted in clicks, fields and keys.

A real browser is driven by keyboard and mouse as a person would: Tab goes from field to field,
what is typed is typed sign by sign, and the mouse is used where nothing else leads on. The
numbers, not the time of the machine, are held to bounds. `estimate` makes seconds of them with
the operators of the keystroke-level model (Card, Moran and Newell, CACM 23(7), 1980, 396-410).
"""

import base64
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, Page, expect

from cases.models import Case
from crematory.models import Facility
from tests import cast
from tests.browser.conftest import DESK, sign_in
from tests.browser.test_papers_in import DROP
from tests.papers_in import pdf, picture

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

NAME, FIRM = "Ada Oldmeadow", "Harrow & Vale"
# Seconds: a key for an average typist (40 words a minute) and a skilled one (55), pointing, half a
# click, going over between keyboard and mouse, getting ready in mind. Read as a course's table
# gives them: asi-www.informatik.uni-hamburg.de/informatik/SE_Evaluation/html/pages/goms.htm
KEY, SKILLED_KEY, POINT, PRESS, HOME, MIND = 0.28, 0.2, 1.1, 0.1, 0.4, 1.35
# The bounds: what was counted when this was written, with room for a field or two more.
MOST_CLICKS, MOST_FIELDS, MOST_KEYS, MOST_PAGES = 8, 35, 280, 16
THREE_MINUTES = 180


def strokes(text: str) -> int:
    """Return the keys that a text takes; Shift is a key of its own in the model."""
    return sum(2 if sign.isupper() or sign == "&" else 1 for sign in text)


@dataclass
class Count:
    """What one person did: presses of the mouse, drags, fields filled, keys, pages waited for."""

    clicks: int = 0
    drags: int = 0
    fields: int = 0
    keys: int = 0
    tabs: int = 0
    pages: int = 0

    def estimate(self, key: float) -> float:
        """Return seconds of the person; the machine's own time is left out.

        Each field and each click is one unit of thought. The hand goes to the mouse and back for
        each click and each drag.
        """
        mouse = self.clicks * (POINT + 2 * PRESS) + self.drags * (2 * POINT + 2 * PRESS)
        hands = (self.clicks + self.drags) * 2 * HOME
        thought = (self.fields + self.clicks + self.drags) * MIND
        return (self.keys + self.tabs) * key + mouse + hands + thought


class Clerk:
    """A clerk at the desk whose every key and click is counted."""

    def __init__(self, page: Page) -> None:
        self.page, self.count = page, Count()
        page.on("load", lambda _: setattr(self.count, "pages", self.count.pages + 1))

    def click(self, selector: str) -> None:
        """Point at one thing that can be seen, and press."""
        self.count.clicks += 1
        self.page.locator(selector).locator("visible=true").first.click()
        self.page.wait_for_load_state("load")

    def key(self, name: str) -> None:
        self.page.keyboard.press(name)
        self.count.keys += 1

    def to(self, field: str) -> None:
        """Go on to a field with Tab, however many fields lie between."""
        self.page.wait_for_load_state("load")
        for _ in range(60):
            if self.page.evaluate("document.activeElement?.name") == field:
                return
            self.page.keyboard.press("Tab")
            self.count.tabs += 1
        raise AssertionError(f"no Tab leads to {field}")

    def type(self, field: str, text: str) -> None:
        self.to(field)
        self.count.fields += 1
        self.page.keyboard.type(text)
        self.count.keys += strokes(text)

    def tick(self, *fields: str) -> None:
        for field in fields:
            self.to(field)
            self.count.fields += 1
            self.key("Space")

    def choose(self, field: str, letters: str, value: str) -> None:
        """Choose in a list by typing how the option begins."""
        self.type(field, letters)
        assert self.page.locator(f"main [name={field}]").input_value() == value

    def next_in(self, field: str) -> None:
        """Choose the next one of a list: the first that is offered."""
        self.to(field)
        self.count.fields += 1
        self.key("ArrowDown")

    def moment(self, field: str, at: datetime) -> None:
        """Type a time into its parts; the year takes an arrow to be left."""
        self.to(field)
        self.count.fields += 1
        local = timezone.localtime(at)
        for part in (local.strftime("%m%d%Y"), "", local.strftime("%I%M%p")[:5]):
            if part:
                self.page.keyboard.type(part)
                self.count.keys += len(part)
            else:
                self.key("ArrowRight")
        shown = self.page.locator(f"main [name={field}]").input_value()
        assert shown == local.strftime("%Y-%m-%dT%H:%M")

    def day(self, field: str, at: datetime) -> None:
        self.to(field)
        self.count.fields += 1
        self.page.keyboard.type(at.strftime("%m%d%Y"))
        self.count.keys += 8
        assert self.page.locator(f"main [name={field}]").input_value() == f"{at:%Y-%m-%d}"

    def drop(self, *files: tuple[str, str, bytes]) -> None:
        """Drag files from a folder onto the page: all of them at once."""
        self.count.drags += 1
        given = [[n, kind, base64.b64encode(data).decode()] for n, kind, data in files]
        with self.page.expect_navigation(url=re.compile("/documents/$")):
            self.page.evaluate(DROP, given)

    def send(self) -> None:
        """Enter, in a field of one line, sends the form."""
        with self.page.expect_navigation():
            self.key("Enter")


@pytest.fixture
def house(transactional_db: None) -> Facility:
    return cast.make_facility()


@pytest.fixture
def clerk(browser: Browser, live_server: Any, house: Facility) -> Any:
    context = browser.new_context(viewport=DESK, locale="en-US", timezone_id=house.time_zone)
    context.set_default_timeout(15_000)
    page = context.new_page()
    sign_in(page, live_server.url, house.case_prefix + cast.CLERK, cast.PASSWORD)
    yield Clerk(page)
    context.close()


def announce(clerk: Clerk) -> None:
    clerk.click("main a[href$='/announce/']")
    clerk.type("decedent_name", NAME)
    clerk.day("born_on", datetime(1941, 5, 6))
    clerk.moment("died_at", timezone.now() - timedelta(hours=60))
    clerk.type("sender", FIRM)
    clerk.send()


def two_papers(clerk: Clerk) -> None:
    clerk.drop(
        ("removal.pdf", "application/pdf", pdf(1)),
        ("authorization.jpg", "image/jpeg", picture("JPEG", (900, 1200))),
    )
    for letters, kind in (
        ("rem", "removal_authorization"),
        ("signed c", "cremation_authorization"),
    ):
        clerk.choose("kind", letters, kind)
        clerk.type("reference", "R-1")
        clerk.type("issued_by", FIRM)
        clerk.day("issued_on", timezone.localtime())
        clerk.send()


def receive(clerk: Clerk, house: Facility) -> None:
    clerk.click("main a[href$='/steps/receive/']")
    clerk.type("band_reads", NAME)
    clerk.type("delivered_by", "Tam Reed")
    clerk.type("container_kind", "fibreboard")
    clerk.tick("is_closed", "is_rigid", "is_leak_proof", "is_combustible")
    clerk.type("mass_kg", "182 lb")
    clerk.type("belongings", "none")
    clerk.next_in("place")
    clerk.type("signer_pin", cast.PINS[cast.CLERK])
    clerk.type("witness_code", house.case_prefix + cast.OPERATOR)
    clerk.type("witness_pin", cast.PINS[cast.OPERATOR])
    clerk.send()


def authorizing_agent(clerk: Clerk) -> None:
    clerk.click("main a[href$='/agents/']")
    clerk.type("name", "Vera Oldmeadow")
    clerk.choose("relation", "daug", "child/daughter")
    clerk.tick("nobody_before", "whole_class", "receives")
    clerk.send()


def disposition(clerk: Clerk) -> None:
    clerk.click("main a[href$='/settle/']")
    clerk.choose("is_death_reportable", "No", "False")
    clerk.choose("disposition", "hand", "hand_over")
    clerk.click("main button[type=submit]")


def authorize(clerk: Clerk) -> None:
    clerk.click("main a[href$='/steps/authorize/']")
    clerk.type("signer_pin", cast.PINS[cast.CLERK])
    clerk.send()


def test_intake_papers_and_authorization_take_few_clicks_fields_and_keys(
    clerk: Clerk, house: Facility
) -> None:
    parts: list[tuple[str, Callable[[], None]]] = [
        ("announce", lambda: announce(clerk)),
        ("two papers", lambda: two_papers(clerk)),
        ("receive", lambda: receive(clerk, house)),
        ("agent and recipient", lambda: authorizing_agent(clerk)),
        ("disposition", lambda: disposition(clerk)),
        ("authorize", lambda: authorize(clerk)),
    ]
    done: dict[str, dict[str, int]] = {}
    with timezone.override(house.zone):
        for words, part in parts:
            before = Count(**vars(clerk.count))
            part()
            now = vars(clerk.count)
            done[words] = {key: now[key] - value for key, value in vars(before).items()}
    case = Case.objects.get()
    expect(clerk.page.locator("main")).to_contain_text("Authorized")
    assert case.stage == "authorized"
    count = clerk.count
    seconds = [round(count.estimate(key)) for key in (KEY, SKILLED_KEY)]
    print(f"{count}: {seconds[0]} s for an average typist, {seconds[1]} s for a skilled one")
    assert count.clicks + count.drags <= MOST_CLICKS, done
    assert count.fields <= MOST_FIELDS, done
    assert count.keys + count.tabs <= MOST_KEYS, done
    assert count.pages <= MOST_PAGES, done
    assert count.estimate(KEY) < THREE_MINUTES, done
