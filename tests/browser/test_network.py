"""The tablet loses the network in the middle of a run: nothing entered is lost, nothing twice."""

import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from cases.models import Case
from crematory import clock
from crematory.models import Facility
from retort_log.models import Reading, Retort, RunEvent
from tests import cast
from tests.browser.conftest import TABLET, sign_in

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
WAITING = "[data-waiting]"
PUT_BACK = "([key, text]) => { localStorage.setItem(key, text); return sendAll(); }"
KEPT = "() => Object.entries(localStorage).filter(([key]) => key.startsWith('waiting/'))"


@pytest.fixture
def case_inside(transactional_db: Any) -> Case:
    """A person in Retort 1, charged a while ago, read five minutes ago."""
    facility = cast.make_facility()
    case = cast.bring(cast.make_case(facility, at=clock.now() - timedelta(days=4)), "in_retort")
    cast.read(case.run.retort, cast.HOT, clock.now() - timedelta(minutes=5))
    return case


@pytest.fixture
def page(browser: Browser, live_server: Any, case_inside: Case) -> Iterator[Page]:
    context = browser.new_context(viewport=TABLET, locale="en-US")
    context.set_default_timeout(15_000)
    page = context.new_page()
    sign_in(page, live_server.url, "QV" + cast.OPERATOR, cast.PASSWORD)
    page.goto(f"{live_server.url}/machine/retort-1/")
    yield page
    context.close()


def enter_reading(page: Page, secondary: str, primary: str) -> None:
    page.fill("[name=secondary]", secondary)
    page.fill("[name=primary]", primary)
    page.get_by_role("button", name="Record the reading").click()


def see_emission(page: Page, opacity: str) -> None:
    page.locator("summary", has_text="Visible emission").click()
    page.fill("#emission-opacity", opacity)
    page.get_by_role("button", name="Record the emission").click()


def test_the_network_cut_and_restored_in_the_middle_of_a_run(page: Page) -> None:
    page.context.set_offline(True)
    before = clock.now()
    enter_reading(page, "1650", "1250")
    page.get_by_role("button", name="Door opened").click()
    see_emission(page, "200")
    expect(page.locator(WAITING)).to_have_count(3)
    expect(page.locator(WAITING).first).to_contain_text("Secondary chamber: 1650")
    expect(page.locator("#outbox")).to_contain_text("No network.")
    expect(page.locator("[name=secondary]")).to_have_value("")
    after = clock.now()
    kept = page.evaluate(KEPT)
    assert not any(word in json.dumps(kept) for word in ("csrfmiddlewaretoken", "pin"))
    assert not RunEvent.objects.exists()
    page.wait_for_timeout(1500)

    page.context.set_offline(False)
    expect(page.locator(WAITING)).to_have_count(0)
    reading, event = Reading.objects.latest("at"), RunEvent.objects.get()
    assert event.kind == "door_opened"
    for row in (reading, event):
        assert before - timedelta(seconds=2) <= row.at <= after
    expect(page.locator("#readings")).to_contain_text("1,650")
    expect(page.locator("#live")).to_contain_text("Door opened")

    for entry in kept:  # sent once more, as if the answer had been lost
        page.evaluate(PUT_BACK, entry)
    assert Reading.objects.filter(at=reading.at).count() == 1
    assert RunEvent.objects.filter(kind="door_opened").count() == 1

    refused = page.locator("[data-refused]")
    expect(refused).to_have_count(1)
    expect(refused).to_contain_text("each from 0 to 100 %")
    refused.get_by_label("Opacity, per cent").fill("20 25")
    refused.get_by_role("button", name="Send").click()
    expect(page.locator("#outbox")).to_be_hidden()
    emission = RunEvent.objects.get(kind="visible_emission")
    assert emission.opacity == [20, 25]
    assert before - timedelta(seconds=2) <= emission.at <= after
    assert page.evaluate(KEPT) == []


def test_what_was_refused_goes_only_when_somebody_says_so(page: Page) -> None:
    page.context.set_offline(True)
    see_emission(page, "200")
    page.context.set_offline(False)
    refused = page.locator("[data-refused]")
    expect(refused).to_have_count(1)
    page.once("dialog", lambda dialog: dialog.dismiss())
    refused.get_by_role("button", name="Discard").click()
    expect(refused).to_have_count(1)
    page.once("dialog", lambda dialog: dialog.accept())
    refused.get_by_role("button", name="Discard").click()
    expect(page.locator("#outbox")).to_be_hidden()
    assert not RunEvent.objects.exists()


def test_where_the_browser_keeps_nothing_what_was_typed_stays(page: Page) -> None:
    page.evaluate("() => { Storage.prototype.setItem = () => { throw new Error('full'); }; }")
    page.context.set_offline(True)
    enter_reading(page, "1650", "1250")
    expect(page.locator("#outbox-news")).to_contain_text("this browser keeps nothing")
    expect(page.locator("[name=secondary]")).to_have_value("1650")
    page.context.set_offline(False)
    page.get_by_role("button", name="Record the reading").click()
    expect(page.locator("#outbox-news")).to_contain_text("Reading of Retort 1 recorded")


def test_after_the_session_ended_it_waits_for_the_sign_in(page: Page, live_server: Any) -> None:
    page.context.clear_cookies(name="sessionid")
    page.get_by_role("button", name="Door opened").click()
    expect(page.locator(WAITING)).to_have_count(1)
    page.get_by_role("link", name="Sign in, and it is sent.").click()
    page.fill("input[name=username]", "QV" + cast.OPERATOR)
    page.fill("input[name=password]", cast.PASSWORD)
    page.click("main button[type=submit]")
    expect(page.locator("#outbox-news")).to_contain_text("door opened, recorded")
    assert RunEvent.objects.get().recorded_by.staff_code == "QV" + cast.OPERATOR


def test_another_member_sends_nobody_elses_entries(page: Page, live_server: Any) -> None:
    page.context.set_offline(True)
    page.get_by_role("button", name="Door opened").click()
    expect(page.locator(WAITING)).to_have_count(1)
    page.context.clear_cookies(name="sessionid")
    page.goto("about:blank")
    page.context.set_offline(False)
    sign_in(page, live_server.url, "QV" + cast.SECOND_OPERATOR, cast.PASSWORD)
    page.goto(f"{live_server.url}/machine/retort-1/")
    expect(page.locator("#outbox")).to_contain_text("Entries of another member wait")
    expect(page.locator(WAITING)).to_have_count(0)
    assert not RunEvent.objects.exists()


def test_the_clock_is_the_servers_whatever_the_tablet_says(
    browser: Browser, live_server: Any, case_inside: Case
) -> None:
    context = browser.new_context(viewport=TABLET, locale="en-US", timezone_id="Asia/Tokyo")
    context.clock.install(time=datetime(2020, 1, 1, tzinfo=UTC))
    page = context.new_page()
    sign_in(page, live_server.url, "QV" + cast.OPERATOR, cast.PASSWORD)
    page.goto(f"{live_server.url}/machine/retort-1/")
    zone = Facility.objects.get().zone
    shown = page.locator("#house-clock time").text_content() or ""
    near = [clock.now().astimezone(zone) - timedelta(seconds=s) for s in range(4)]
    assert shown in [f"{at:%H:%M:%S} MST" for at in near]
    page.context.set_offline(True)
    before = clock.now()
    page.get_by_role("button", name="Door opened").click()
    expect(page.locator(WAITING)).to_have_count(1)
    page.context.set_offline(False)
    expect(page.locator(WAITING)).to_have_count(0)
    at = RunEvent.objects.get().at
    assert abs(at - before) < timedelta(seconds=5)
    context.close()


def test_a_step_keeps_what_was_typed_but_no_pin(
    page: Page, live_server: Any, case_inside: Case
) -> None:
    page.goto(f"{live_server.url}/cases/{case_inside.number}/steps/burner_off/?retort=retort-1")
    page.check("[name=flame_has_ended]")
    page.fill("[name=signer_pin]", cast.PINS[cast.OPERATOR])
    page.context.set_offline(True)
    page.locator("main form[data-draft] button[type=submit]").click()
    expect(page.locator("[data-no-network]")).to_be_visible()
    kept = page.evaluate("() => JSON.stringify(localStorage)")
    assert cast.PINS[cast.OPERATOR] not in kept
    assert "token" not in kept
    page.context.set_offline(False)
    page.goto(f"{live_server.url}/machine/retort-1/")
    page.goto(f"{live_server.url}/cases/{case_inside.number}/steps/burner_off/?retort=retort-1")
    expect(page.locator("[data-draft-told]")).to_be_visible()
    expect(page.locator("[name=flame_has_ended]")).to_be_checked()
    expect(page.locator("[name=signer_pin]")).to_have_value("")
    assert Retort.objects.filter(runs__burner_off_at__isnull=False).count() == 0


def test_who_goes_by_the_keyboard_keeps_the_place_when_news_come_in(page: Page) -> None:
    page.locator("#tap-door_opened").focus()
    with page.expect_response(lambda answer: answer.request.headers.get("hx-request") == "true"):
        page.evaluate("() => htmx.trigger('#live [data-refresh]', 'entered')")
    page.wait_for_timeout(300)
    expect(page.locator("#tap-door_opened")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("#live")).to_contain_text("Olive Operator")
    expect(page.locator("#outbox-news")).to_contain_text("door opened, recorded")


def test_targets_are_large_enough_for_gloves(page: Page, live_server: Any) -> None:
    for path in ("/machine/", "/machine/retort-1/", "/machine/retort-2/"):
        page.goto(live_server.url + path)
        small = page.evaluate(
            """() => [...document.querySelectorAll("main button, main a, main summary, main input")]
            .filter((e) => e.offsetParent && e.type !== "hidden")
            .filter((e) => Math.round(e.getBoundingClientRect().height) < 56)
            .map((e) => e.textContent.trim() || e.name)"""
        )
        assert small == []
