"""A person at the counter signs: on paper by keyboard alone, or on the tablet with a pen."""

from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Page, Route, expect

from cases import thing_acts
from cases.models import AuthorizingAgent, Case, ThingsReceipt
from cases.thing_acts import Listed
from crematory.models import Facility
from tests import cast
from tests.browser.conftest import sign_in
from tests.cases import families as f

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
REASON = "[name=unsigned_reason]"
STRICT = "default-src 'self'; base-uri 'none'; object-src 'none'; frame-ancestors 'none'"


@pytest.fixture
def house(transactional_db: None) -> Facility:
    """The cast's facility, in real transactions, as the browser's server sees it."""
    return cast.make_facility()


@pytest.fixture
def case(house: Facility) -> Case:
    return f.case_in(house)


def _strictly(route: Route) -> None:
    """Give every answer a strict policy, as a house behind one would."""
    answer = route.fetch(max_redirects=0)
    route.fulfill(response=answer, headers=answer.headers | {"content-security-policy": STRICT})


@pytest.fixture
def page(context: BrowserContext, live_server: Any, house: Facility, case: Case) -> Page:
    page = context.new_page()
    sign_in(page, live_server.url, house.case_prefix + cast.CLERK, cast.PASSWORD)
    page.route("**/cases/**", _strictly)
    page.goto(f"{live_server.url}/cases/{case.number}/agents/")
    return page


def test_a_spouse_signs_on_paper_by_keyboard_alone(page: Page) -> None:
    """One name, one choice, one box: what the count of fields in the guide rests on."""
    expect(page.locator("[name=name]")).to_be_focused()
    page.keyboard.type("Wanda Wife")
    page.keyboard.press("Tab")
    page.keyboard.type("wife")
    expect(page.locator("[data-before=spouse]")).to_contain_text(
        "person named on DD Form 93; agent"
    )
    expect(page.locator("[data-before=spouse]")).to_be_visible()
    page.locator("[name=nobody_before]").focus()
    page.keyboard.press("Space")
    page.keyboard.press("Enter")
    expect(page.locator("main")).to_contain_text("The authorization is sufficient.")
    said = AuthorizingAgent.objects.get()
    assert (said.holder.rank, said.holder.relationship, said.form) == ("spouse", "wife", "paper")


def draw(page: Page) -> None:
    """Draw a wave in the field, as a pen would."""
    page.locator("canvas").scroll_into_view_if_needed()
    box = page.locator("canvas").bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 40, box["y"] + 60)
    page.mouse.down()
    for n in range(30):
        page.mouse.move(box["x"] + 40 + 8 * n, box["y"] + 60 + (40 if n % 2 else -30))
    page.mouse.up()


def test_a_spouse_signs_on_the_tablet(page: Page) -> None:
    pad = page.locator("[data-pad]")
    expect(pad).to_be_hidden()
    page.fill("[name=name]", "Wanda Wife")
    page.select_option("[name=relation]", "spouse/wife")
    page.check("[name=way][value=tablet]")
    draw(page)
    page.get_by_role("button", name="Clear, and sign again").click()
    expect(page.locator("[name=strokes]")).to_have_value("")
    draw(page)
    page.check("[name=nobody_before]")
    page.get_by_role("button", name="Record", exact=True).click()
    expect(page.locator("img.drawn")).to_be_visible()
    assert page.evaluate("document.querySelector('img.drawn').naturalWidth") > 100
    said = AuthorizingAgent.objects.get()
    assert said.strokes
    assert len(said.strokes) == 1
    assert len(said.strokes[0]) > 20


def test_what_was_drawn_is_there_again_after_a_refusal(page: Page) -> None:
    page.check("[name=way][value=tablet]")
    draw(page)
    drawn = page.input_value("[name=strokes]")
    page.fill("[name=name]", "Wanda Wife")
    page.get_by_role("button", name="Record", exact=True).click()
    expect(page.locator("main")).to_contain_text("Nothing was changed.")
    assert page.input_value("[name=strokes]") == drawn
    expect(page.locator("[data-pad]")).to_be_visible()


def test_who_objects_is_not_asked_for_a_signature(page: Page) -> None:
    page.check("[name=position][value=objects]")
    expect(page.locator("[name=way]").first).to_be_hidden()


def test_a_receiver_of_things_signs_on_the_tablet(
    page: Page, case: Case, live_server: Any, house: Facility
) -> None:
    clerk = cast.member(house, cast.CLERK)
    ring = Listed("wedding ring", "jewellery", "returned", "Anna Agent", "safe")
    thing_acts.list_things(case, clerk, cast.token(), [ring])
    page.goto(f"{live_server.url}/cases/{case.number}/things/give-back/")
    pad, scan, reason = (page.locator(s) for s in ("[data-pad]", "[name=scan]", REASON))
    page.check("[name=way][value=paper]")
    expect(scan).to_be_visible()
    expect(pad).to_be_hidden()
    page.check("[name=way][value=unsigned]")
    expect(scan).to_be_hidden()
    expect(reason).to_be_visible()
    page.check("[name=way][value=tablet]")
    expect(reason).to_be_hidden()
    draw(page)
    page.fill("[name=returned_to]", "Anna Agent")
    page.fill("[name=identification]", "passport")
    page.fill("[name=signer_code]", clerk.staff_code)
    page.fill("[name=signer_pin]", cast.pin_of(clerk))
    page.get_by_role("button", name="Give back", exact=True).click()
    expect(page.locator("main")).to_contain_text("The things are given back.")
    receipt = ThingsReceipt.objects.get()
    assert receipt.strokes
    assert len(receipt.strokes[0]) > 20
    page.goto(f"{live_server.url}/cases/{case.number}/things/")
    assert page.evaluate("document.querySelector('img.drawn').naturalWidth") > 100
