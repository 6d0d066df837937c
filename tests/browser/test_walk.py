"""One person's whole path, clicked and typed in a real browser by two people."""

import re
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import urljoin

import pypdfium2
import pytest
import zxingcpp
from django.utils import timezone
from playwright.sync_api import Browser, Page, expect
from pypdf import PdfReader

from cases.models import Case
from chain_of_custody.models import Paper
from chain_of_custody.verify import verify
from crematory import clock
from crematory.models import Facility
from tests import cast
from tests.browser.conftest import DESK, TABLET, sign_in

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

NAME = "Łukasz Oldmeadow-Nguyễn"
DISC = "4711"


@pytest.fixture
def house(transactional_db: None) -> Facility:
    """The cast's facility, in real transactions, as the browser's server sees it."""
    return cast.make_facility()


class Hand:
    """One person at one screen, signed in."""

    def __init__(self, browser: Browser, base: str, house: Facility, key: str) -> None:
        size = TABLET if key == cast.OPERATOR else DESK
        self.context = browser.new_context(
            viewport=size, locale="en-US", timezone_id=house.time_zone, accept_downloads=True
        )
        self.context.set_default_timeout(15_000)
        self.page: Page = self.context.new_page()
        self.errors: list[str] = []
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        self.base, self.house = base, house
        sign_in(self.page, base, house.case_prefix + key, cast.PASSWORD)

    def go(self, address: str) -> None:
        self.page.goto(urljoin(self.base, address))

    def fill(self, **fields: Any) -> None:
        """Type text, choose options and tick boxes by the names of the fields."""
        for name, value in fields.items():
            field = self.page.locator(f"main [name='{name}']")
            if field.first.get_attribute("type") == "radio":
                self.page.locator(f"main [name='{name}'][value='{value}']").check()
            elif value is True:
                field.check()
            elif field.evaluate("e => e.tagName") == "SELECT":
                field.select_option(value)
            else:
                field.fill(value)

    def sign(self, signer: str, witness: str | None = None) -> None:
        self.fill(signer_code=self.house.case_prefix + signer, signer_pin=cast.PINS[signer])
        if witness:
            self.fill(witness_code=self.house.case_prefix + witness, witness_pin=cast.PINS[witness])

    def send(self) -> None:
        """Press the one button that sends the form with a token or a reading."""
        self.page.locator(
            "main form:not([target], [data-outbox]):has([name='token']) "
            "button[type=submit]:not([name]), "
            "main form:has([name='primary']) button[type=submit]"
        ).last.click()

    def step(self, number: str, verb: str, *signers: str, **fields: Any) -> None:
        """Open the step from the case's page, state the facts, sign and send."""
        self.go(f"/cases/{number}/steps/{verb}/")
        self.fill(**fields)
        self.sign(*signers)
        self.send()
        expect(self.page).to_have_url(re.compile(f"/cases/{number}/$"))


def local(at: datetime) -> str:
    """A time as a datetime-local field takes it, in the zone in force."""
    return timezone.localtime(at).strftime("%Y-%m-%dT%H:%M")


def announce(office: Hand) -> str:
    office.go("/cases/announce/")
    office.fill(
        decedent_name=NAME,
        born_on="1941-05-06",
        died_at=local(timezone.now() - timedelta(hours=60)),
        sender="Harrow & Vale Funeral Directors",
    )
    office.send()
    expect(office.page.locator("h1")).to_contain_text("Łukasz Oldmeadow-Nguyễn")
    found = re.search(r"/cases/([A-Z0-9-]+)/", office.page.url)
    assert found
    return found[1]


def file_paper(office: Hand, number: str, kind: str) -> None:
    office.go(f"/cases/{number}/documents/")
    office.fill(kind=kind, reference="R-1", issued_by="Harrow & Vale", issued_on="2026-01-02")
    office.send()


def office_papers(office: Hand, number: str) -> None:
    file_paper(office, number, "cremation_authorization")
    office.go(f"/cases/{number}/agents/")
    office.fill(
        name="Vera Oldmeadow", relation="child/daughter", nobody_before=True, whole_class=True
    )
    office.send()
    office.go(f"/cases/{number}/recipients/")
    office.fill(name="Vera Oldmeadow", relationship="daughter")
    office.send()
    office.go(f"/cases/{number}/settle/")
    office.fill(is_death_reportable="False", disposition="hand_over")
    office.send()


def answer_devices(operator: Hand, number: str) -> None:
    operator.go(f"/cases/{number}/devices/")
    operator.page.locator("[data-answer-all]").click()
    operator.fill(informant="Vera Oldmeadow, daughter")
    operator.send()
    operator.go(f"/cases/{number}/things/")
    operator.fill(is_complete=True)
    operator.send()


def read_temperatures(operator: Hand, primary: str, secondary: str, at: str = "") -> None:
    operator.go("/machine/retort-1/")
    operator.fill(primary=primary, secondary=secondary)
    if at:
        operator.fill(at=at)
    operator.send()
    told = operator.page.locator("#outbox-news")
    asked = operator.page.locator(".question")
    expect(asked.or_(told.get_by_text("recorded"))).to_be_visible()
    if operator.page.locator("[name='is_confirmed']").count():
        operator.fill(is_confirmed=True)  # the walk takes minutes where a chamber takes hours
        operator.send()
    expect(told).to_contain_text("recorded")


def let_pass(monkeypatch: pytest.MonkeyPatch, later: timedelta) -> None:
    """Set the clock of the house forward, as if this time had passed since the test began."""
    monkeypatch.setattr(clock, "now", lambda: datetime.now(UTC) + later)


def press_print(hand: Hand, number: str, kind: str) -> Paper:
    """Press the print button of this paper on the case page: the page stays, a tab opens."""
    hand.go(f"/cases/{number}/")
    printed = Case.objects.get(number=number).papers.filter(kind=kind)
    before = printed.count()
    with hand.context.expect_page() as tab:
        hand.page.locator(f"form[action$='/print/{kind}/'] button").first.click()
    wait_until(lambda: printed.count() > before)
    expect(hand.page).to_have_url(re.compile(f"/cases/{number}/$"))
    tab.value.close()
    return printed.latest("pk")


def wait_until(is_so: Callable[[], bool]) -> None:
    end = time.monotonic() + 30
    while not is_so():
        assert time.monotonic() < end, "it did not happen within 30 seconds"
        time.sleep(0.1)


def scan_label(hand: Hand, number: str, folder: Path) -> str:
    """Print the label, and read its code off the page as a scanner does."""
    print_paper(hand, number, "label", folder)
    picture = pypdfium2.PdfDocument(folder / "label.pdf")[0].render(scale=200 / 72)
    (code,) = zxingcpp.read_barcodes(picture.to_pil())
    return str(code.text)


def print_paper(hand: Hand, number: str, kind: str, folder: Path) -> str:
    """Print this paper from the case page; return the text of the PDF."""
    paper = press_print(hand, number, kind)
    response = hand.context.request.get(
        urljoin(hand.base, f"/cases/{number}/papers/{paper.number}.pdf")
    )
    assert response.status == 200
    path = folder / f"{kind}.pdf"
    path.write_bytes(response.body())
    return "\n".join(page.extract_text() for page in PdfReader(path).pages)


def place(house: Facility, code: str) -> str:
    return str(house.places.get(code=code).pk)


def test_it_walks_a_person_from_the_call_to_the_release(
    browser: Browser,
    live_server: Any,
    house: Facility,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    with timezone.override(house.zone):
        office = Hand(browser, live_server.url, house, cast.CLERK)
        operator = Hand(browser, live_server.url, house, cast.OPERATOR)
        number = announce(office)
        file_paper(office, number, "removal_authorization")
        office.step(
            number,
            "receive",
            cast.CLERK,
            cast.OPERATOR,
            band_reads="ŁUKASZ OLDMEADOW-NGUYỄN",
            delivered_by="Tam Reed",
            firm="Harrow & Vale",
            container_kind="fibreboard",
            is_closed=True,
            is_rigid=True,
            is_leak_proof=True,
            is_combustible=True,
            mass_kg="182 lb",
            belongings="none",
            place=place(house, "bay-1"),
        )
        label = print_paper(office, number, "label", tmp_path)
        assert number in label
        receipt = print_paper(office, number, "receipt", tmp_path)
        assert "Tam Reed" in receipt
        office_papers(office, number)
        office.step(number, "authorize", cast.CLERK)
        answer_devices(operator, number)
        operator.step(number, "clear_devices", cast.OPERATOR, cast.SECOND_OPERATOR)
        operator.step(
            number,
            "assign_disc",
            cast.OPERATOR,
            disc_number=DISC,
            disc_number_again=f"DISC/{DISC}",
            is_attached=True,
        )
        expect(operator.page.locator("main")).to_contain_text("Print the label with the disc")
        label_code = scan_label(operator, number, tmp_path)
        operator.go(f"/cases/{number}/")
        expect(operator.page.locator("main")).not_to_contain_text("Print the label with the disc")
        read_temperatures(
            operator, "1100 F", "1650 F", local(timezone.now() - timedelta(minutes=10))
        )
        wrong_disc_fills_the_screen(operator, number, house)
        operator.step(
            number,
            "charge",
            cast.OPERATOR,
            cast.SECOND_OPERATOR,
            retort=str(house.retorts.get(name="Retort 1").pk),
            disc_scan=f"DISC/{DISC}",
            label_scan=label_code,
            chamber_is_empty=True,
        )
        let_pass(monkeypatch, timedelta(minutes=14))
        read_temperatures(operator, "1150 F", "1650 F")
        operator.step(
            number,
            "burner_off",
            cast.OPERATOR,
            flame_has_ended=True,
            short_burn_confirmed=True,
        )
        let_pass(monkeypatch, timedelta(hours=5))
        read_temperatures(operator, "150 F", "150 F")
        operator.step(
            number,
            "recover",
            cast.OPERATOR,
            chamber_is_swept=True,
            disc_scan=DISC,
            place=place(house, "tray-1"),
        )
        operator.step(
            number,
            "process",
            cast.OPERATOR,
            disc_scan=DISC,
            processor_was_empty=True,
            metal_fate="none found",
            mass_kg="5 lb 4 oz",
        )
        operator.step(
            number,
            "contain",
            cast.OPERATOR,
            **{
                "containers-0-kind": "urn",
                "containers-0-volume_l": "200 in3",
                "containers-0-mass_kg": "5 lb 4 oz",
                "containers-0-label_scan": scan_label(operator, number, tmp_path),
            },
            disc_scan=f"DISC/{DISC}",
            are_sealed=True,
            place=place(house, "shelf-1"),
        )
        office.step(
            number,
            "release",
            cast.CLERK,
            cast.SECOND_CLERK,
            recipient_name="Vera Oldmeadow",
            identification="passport, seen",
            disc_on_paper=DISC,
            disc_on_container=DISC,
            receipt_is_signed=True,
        )
        for kind, wanted in {
            "certificate": DISC,
            "release": "Vera Oldmeadow",
            "trail": "charge",
        }.items():
            assert wanted.lower() in print_paper(office, number, kind, tmp_path).lower()
        case = Case.objects.get(number=number)
        assert case.stage == "released"
        assert verify(house).findings == []
        assert office.errors == []
        assert operator.errors == []


def wrong_disc_fills_the_screen(operator: Hand, number: str, house: Facility) -> None:
    """The wrong disc at the machine: the refusal fills the screen and what was typed stays."""
    operator.go(f"/cases/{number}/steps/charge/")
    operator.fill(
        retort=str(house.retorts.get(name="Retort 1").pk),
        disc_scan="DISC/9999",
        label_scan=Case.objects.get(number=number).papers.latest("pk").number,
        chamber_is_empty=True,
    )
    operator.sign(cast.OPERATOR, cast.SECOND_OPERATOR)
    operator.send()
    screen = operator.page.locator(".refusal-screen")
    expect(screen).to_contain_text("WRONG DISC")
    box = screen.bounding_box()
    assert box is not None
    assert (box["width"], box["height"]) >= (TABLET["width"] * 0.98, TABLET["height"] * 0.98)
    refused = Case.objects.get(number=number).entries.filter(outcome="refused").latest("sequence")
    assert "disc_scanned" in refused.payload
    assert Case.objects.get(number=number).stage == "tagged"
