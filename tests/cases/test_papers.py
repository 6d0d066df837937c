"""What each paper of a case says, read back from the paper itself."""

import re
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pypdfium2
import pytest
import zxingcpp
from django.test import Client
from django.urls import reverse

from cases import corrections, papers, scans
from cases.models import Case
from cases.papers import KINDS
from chain_of_custody import press
from chain_of_custody.models import Paper
from chain_of_custody.paper_store import path_of
from chain_of_custody.press import PrintRefused
from crematory.models import Facility, StaffMember
from tests import cast

LONG_NAME = ("María del Carmen Wilhelmina Łukasz-Nguyễn " * 8)[:300].strip()
OTHER_SCRIPTS = ["Łukasz", "Nguyễn", "Παπαδόπουλος", "Щукин"]


@pytest.fixture(autouse=True)
def papers_dir(tmp_path: Path, settings: Any) -> None:
    settings.PAPERS_DIR = tmp_path / "papers"


@pytest.fixture
def house(facility: Facility) -> Facility:
    facility.licence_number, facility.telephone = "CR-0042", "406-555-0142"
    facility.save()
    return facility


@pytest.fixture
def released(house: Facility) -> Case:
    return cast.bring(cast.make_case(house), "released")


def printed(case: Case, kind: str, by: StaffMember) -> tuple[Paper, str]:
    paper = papers.print_for(case, KINDS[kind], by)
    return paper, read(press.read_paper(paper))


def read(data: bytes) -> str:
    document = pypdfium2.PdfDocument(data)
    text = " ".join(page.get_textpage().get_text_range() for page in document)
    return re.sub(r"\s+", " ", text)


def letters(text: str) -> str:
    """Only the letters: lines end at hyphens, which the reader then takes for soft ones."""
    return "".join(character for character in text if character.isalpha())


def assert_says(text: str, *items: str) -> None:
    missing = [item for item in items if item not in text]
    assert not missing, f"{missing} not in: {text}"


def test_the_receipt_says_what_the_statutes_ask(released: Case, clerk: StaffMember) -> None:
    paper, text = printed(released, "receipt", clerk)
    assert_says(
        text,
        "Receipt of remains",
        paper.number,
        released.number,
        "Name of the decedent Ada Example",
        "Date and time of death Sat 2 Mar 2024 09:00 MST",
        "Date and time of delivery Mon 4 Mar 2024 09:30 MST",
        "Place of delivery Quiet Valley Crematory, 1 Example Road Helena, Montana",
        "Delivered by Dora Driver",
        "Firm of the deliverer Example Funeral Home",
        "Address of the firm",
        "Type of container fibreboard",
        "Mass with container 179.7 lb (81.5 kg)",
        "Belongings none",
        "Received by Clara Clerk",
        "Printed name: Dora Driver",
        "Printed name: Clara Clerk",
        "Signed with staff code QVC1 and PIN, Mon 4 Mar 2024 09:30 MST",
        "compared the identity band",
    )


def test_the_certificate_is_complete(released: Case, clerk: StaffMember) -> None:
    paper, text = printed(released, "certificate", clerk)
    assert_says(
        text,
        "Certificate of cremation",
        "Quiet Valley Crematory 1 Example Road Helena, Montana",
        "Licence CR-0042",
        "Name of the decedent Ada Example",
        "Date of death Sat 2 Mar 2024",
        "Date and time of cremation Mon 4 Mar 2024 11:30 MST; burner off Mon 4 Mar 2024 12:15 MST",
        f"Disc number {released.disc.number}",
        "Permit to operate PERMIT-1",
        "Authorizing agents Anna Agent, daughter",
        "Operator Olive Operator, certificate CERT-1",
        "Signed cremation authorization R-1, issued by Registrar",
        "Issued by Printed name: Clara Clerk Date and time:",
        "I issue this certificate",
        f"Serial number of this certificate {paper.number}",
    )


def test_the_release_receipt_says_what_the_statutes_ask(released: Case, clerk: StaffMember) -> None:
    paper, text = printed(released, "release", clerk)
    assert_says(
        text,
        paper.number,
        "Name of the decedent Ada Example",
        f"Disc number {released.disc.number}",
        "Date and time Mon 4 Mar 2024 15:45 MST",
        "Place Quiet Valley Crematory, 1 Example Road Helena, Montana",
        "Recipient Rita Recipient",
        "Released by Clara Clerk",
        "Witnessed by Cyril Clerk",
        "1 of 1 urn 201.4 in³ (3.30 L) 5.29 lb (2.40 kg)",
        "Printed name: Rita Recipient Date and time:",
        "Signed with staff code QVC1 and PIN",
    )


def test_the_release_receipt_can_be_signed_at_the_handing_over(
    house: Facility, clerk: StaffMember
) -> None:
    case = cast.bring(cast.make_case(house), "contained")
    _, text = printed(case, "release_form", clerk)
    assert_says(text, "To be filled in and signed", "May be released to Rita Recipient, daughter")
    assert_says(text, "Firm of the recipient", "Page 1 of 1")


def test_a_shipped_release_names_carrier_and_tracking_number(
    house: Facility, clerk: StaffMember
) -> None:
    case = cast.bring(cast.make_case(house), "contained")
    cast.do("release", case, carrier="Example Post", tracking_number="EX 123")
    _, text = printed(case, "release", clerk)
    assert_says(text, "Carrier Example Post", "Tracking number EX 123", "or the carrier")


def test_the_return_receipt_is_complete(house: Facility, clerk: StaffMember) -> None:
    case = cast.bring(cast.make_case(house), "returned")
    _, text = printed(case, "return", clerk)
    assert_says(
        text,
        "returned uncremated",
        "Ada Example",
        "Date and time Mon 4 Mar 2024 10:00 MST",
        "Place Quiet Valley Crematory",
        "Recipient Dora Driver",
        "Firm of the recipient Example Funeral Home",
        "Belongings returned none",
        "Returned by Clara Clerk",
        "I received this person, uncremated",
    )


def codes_on(paper: Paper, page: int = 0) -> list[str]:
    picture = pypdfium2.PdfDocument(press.read_paper(paper))[page].render(scale=200 / 72)
    return [code.text for code in zxingcpp.read_barcodes(picture.to_pil())]


def test_the_label_is_read_by_a_scanner(released: Case, clerk: StaffMember) -> None:
    paper, text = printed(released, "label", clerk)
    assert codes_on(paper) == [f"CASE/{released.number}/{paper.number}"]
    assert scans.case_number(codes_on(paper)[0]) == released.number
    assert_says(
        text,
        "Ada Example",
        "1941–2024",
        released.number,
        released.disc.number,
        "Sent by Example Funeral Home",
        "Quiet Valley Crematory",
        paper.number,
    )
    size = pypdfium2.PdfDocument(press.read_paper(paper))[0].get_size()
    assert size == (288, 432)


def test_a_label_before_the_disc_says_so(house: Facility, clerk: StaffMember) -> None:
    case = cast.bring(cast.make_case(house), "in_care")
    _, text = printed(case, "label", clerk)
    assert_says(text, "Disc none yet", "No disc yet: not for the charge", "after tagging")


def test_only_the_label_can_be_scanned_as_a_label(released: Case, clerk: StaffMember) -> None:
    for kind in {kind.name for kind in papers.available(released)} - {"label"}:
        paper, _ = printed(released, kind, clerk)
        assert codes_on(paper) == [], kind


@pytest.mark.parametrize("name", [LONG_NAME, "W" * 300, "m" * 300], ids=["words", "W", "m"])
def test_a_name_of_300_characters_fits(house: Facility, clerk: StaffMember, name: str) -> None:
    case = cast.bring(cast.make_case(house, decedent_name=name, sender="S" * 200), "in_care")
    label, text = printed(case, "label", clerk)
    assert len(pypdfium2.PdfDocument(press.read_paper(label))) == 1
    assert codes_on(label) == [f"CASE/{case.number}/{label.number}"]
    assert letters(name) in letters(text)
    _, text = printed(case, "receipt", clerk)
    assert letters(name) in letters(text)


def test_names_are_read_back_in_their_script(house: Facility, clerk: StaffMember) -> None:
    name = " ".join(OTHER_SCRIPTS)
    case = cast.bring(cast.make_case(house, decedent_name=name), "in_care")
    paper, text = printed(case, "receipt", clerk)
    assert_says(text, *OTHER_SCRIPTS)
    assert paper.facts["unprintable"] == []


def test_a_name_with_marks_of_html_is_text(house: Facility, clerk: StaffMember) -> None:
    name = "<b>Ada</b> & <img src=x>"
    case = cast.bring(cast.make_case(house, decedent_name=name), "in_care")
    _, text = printed(case, "receipt", clerk)
    assert_says(text, name)


@pytest.mark.parametrize(
    ("stage", "kinds"),
    [
        ("expected", {"trail"}),
        ("in_care", {"label", "receipt", "trail"}),
        ("in_retort", {"label", "receipt", "trail"}),
        ("recovered", {"label", "receipt", "certificate", "run_sheet", "trail"}),
        ("contained", {"label", "receipt", "certificate", "run_sheet", "release_form", "trail"}),
        ("released", {"label", "receipt", "certificate", "run_sheet", "release", "trail"}),
        ("returned", {"receipt", "return", "trail"}),
    ],
)
def test_papers_come_with_their_stages(
    house: Facility, clerk: StaffMember, stage: str, kinds: set[str]
) -> None:
    case = cast.bring(cast.make_case(house), stage)
    assert {kind.name for kind in papers.available(case)} == kinds
    for kind in {kind.name for kind in KINDS.values() if kind.is_listed} - kinds:
        with pytest.raises(PrintRefused, match="cannot be printed while"):
            papers.print_for(case, KINDS[kind], clerk)


def test_the_receipt_of_a_return_is_offered_where_a_person_is_returned(
    house: Facility, clerk: StaffMember, desk: Client
) -> None:
    case = cast.bring(cast.make_case(house), "in_care")
    assert (
        "Return receipt" not in desk.get(reverse("cases:case", args=[case.number])).content.decode()
    )
    step = desk.get(reverse("cases:step", args=[case.number, "return_uncremated"]))
    assert "Print: Return receipt, to be filled in" in step.content.decode()
    _, text = printed(case, "return_form", clerk)
    assert_says(text, "To be filled in and signed when this person is returned uncremated")


def test_the_filled_in_receipt_is_no_copy_of_the_blank_one(
    house: Facility, clerk: StaffMember
) -> None:
    case = cast.bring(cast.make_case(house), "contained")
    blank, _ = printed(case, "release_form", clerk)
    cast.do("release", case)
    filled, text = printed(case, "release", clerk)
    assert (blank.copy, filled.copy, filled.facts["replaces"]) == (1, 1, "")
    label = case.papers.filter(kind="label").latest("copy")
    assert_says(text, "were released as stated here", label.number)


def test_a_reprint_is_a_copy_of_what_replaced(
    released: Case, clerk: StaffMember, manager: StaffMember
) -> None:
    first, _ = printed(released, "receipt", clerk)
    second, _ = printed(released, "receipt", clerk)
    signed = cast.signature(manager)
    corrections.correct(released, signed, cast.token(), "belongings", "one ring", "misheard")
    third, _ = printed(released, "receipt", clerk)
    assert third.facts["replaces"].startswith(f"papers {first.number}, {second.number}, superseded")
    _, text = printed(released, "receipt", clerk)
    assert_says(text, "Copy 4")


def test_a_correction_supersedes_the_papers_that_show_the_value(
    released: Case, clerk: StaffMember, manager: StaffMember
) -> None:
    made = {kind: printed(released, kind, clerk)[0] for kind in ("receipt", "release", "label")}
    signed = cast.signature(manager)
    corrections.correct(released, signed, cast.token(), "belongings", "one ring", "misheard")
    superseded = set(Paper.objects.filter(superseded__isnull=False))
    assert superseded == {made["receipt"]}
    corrections.correct(released, signed, cast.token(), "born_on", date(1941, 5, 7), "misread")
    assert set(made.values()) < set(Paper.objects.filter(superseded__isnull=False))
    paper, text = printed(released, "receipt", clerk)
    assert_says(text, "Belongings one ring", "Born 7 May 1941")
    replaced = f"paper {made['receipt'].number}, superseded by a correction on"
    assert_says(text, f"Replaces {replaced}")
    assert "Copy" not in text.split("Delivered by")[0]
    assert paper.facts["replaces"].startswith(replaced)
    assert not hasattr(paper, "superseded")


def test_a_correction_that_overtakes_the_printing_is_on_the_paper(
    released: Case, clerk: StaffMember, manager: StaffMember, monkeypatch: pytest.MonkeyPatch
) -> None:
    original, signed = press.render, [cast.signature(manager)]

    def render(*args: Any) -> Any:
        done = original(*args)
        if signed:
            corrections.correct(
                released, signed.pop(), cast.token(), "belongings", "one ring", "misheard"
            )
        return done

    monkeypatch.setattr(press, "render", render)
    _, text = printed(released, "receipt", clerk)
    assert_says(text, "Belongings one ring")


def test_every_correctable_value_on_the_receipt_is_a_fact_of_its_name(
    released: Case, clerk: StaffMember
) -> None:
    paper, _ = printed(released, "receipt", clerk)
    named = {n for n, rule in corrections.CORRECTABLE.items() if rule.row != "settled"}
    assert named - {"sex", "is_embalmed", "discovered_at"} <= set(paper.facts)


@pytest.mark.parametrize("kind", ["receipt", "certificate", "release"])
def test_what_concerns_the_staff_is_on_the_page_and_on_no_paper(
    desk: Client, released: Case, clerk: StaffMember, kind: str
) -> None:
    _, text = printed(released, kind, clerk)
    assert "check with the local authority" not in text
    page = desk.get(reverse("cases:case", args=[released.number])).content.decode()
    assert "check with the local authority" in page


def test_another_house_prints_nothing(released: Case, other_operator: StaffMember) -> None:
    with pytest.raises(PrintRefused, match="cannot print here"):
        papers.print_for(released, KINDS["label"], other_operator)


@pytest.fixture
def desk(client: Client, clerk: StaffMember) -> Client:
    client.force_login(clerk)
    return client


def print_at(desk: Client, case: Case, kind: str, **data: str) -> Any:
    return desk.post(reverse("cases:print", args=[case.number, kind]), data)


def test_printing_leads_to_the_paper(desk: Client, released: Case) -> None:
    sent = print_at(desk, released, "label", token="form-1")
    again = print_at(desk, released, "label", token="form-1")
    assert sent.status_code == 302
    assert sent.url == again.url
    answer = desk.get(sent.url)
    paper = Paper.objects.latest("pk")
    assert answer.content == press.read_paper(paper)
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Content-Disposition"] == f'inline; filename="{paper.number}.pdf"'
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert "no-store" in answer["Cache-Control"]


def test_a_paper_is_printed_by_post_only(desk: Client, released: Case) -> None:
    for how in ("print", "write"):  # where signing in again leads
        opened = desk.get(reverse(f"cases:{how}", args=[released.number, "label"]))
        assert opened.headers["Location"] == reverse("cases:case", args=[released.number])
    assert print_at(desk, released, "poem").status_code == 404


def test_another_house_sees_no_paper(
    client: Client, clerk: StaffMember, other_operator: StaffMember, released: Case
) -> None:
    paper, _ = printed(released, "label", clerk)
    client.force_login(other_operator)
    assert (
        client.get(reverse("cases:paper", args=[released.number, paper.number])).status_code == 404
    )
    assert print_at(client, released, "label").status_code == 404


def test_a_superseded_paper_is_still_shown(
    desk: Client, clerk: StaffMember, manager: StaffMember, released: Case
) -> None:
    paper, _ = printed(released, "label", clerk)
    corrections.correct(
        released, cast.signature(manager), cast.token(), "sender", "Other Home", "misread"
    )
    assert desk.get(reverse("cases:paper", args=[released.number, paper.number])).status_code == 200


def messages_of(answer: Any) -> str:
    return " ".join(str(message) for message in answer.wsgi_request._messages)


def test_a_refused_or_damaged_paper_is_a_message(
    desk: Client, clerk: StaffMember, house: Facility, released: Case
) -> None:
    early = cast.make_case(house)
    answer = print_at(desk, early, "certificate")
    assert (answer.status_code, answer.url) == (302, reverse("cases:case", args=[early.number]))
    assert "cannot be printed while this case is expected" in messages_of(answer)
    paper, _ = printed(released, "label", clerk)
    path_of(paper.sha256).write_bytes(b"%PDF-1.7 another")
    answer = desk.get(reverse("cases:paper", args=[released.number, paper.number]))
    assert answer.status_code == 302
    assert "changed after it was printed" in messages_of(answer)


def test_without_the_library_the_remedy_is_a_message(
    desk: Client, released: Case, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("chain_of_custody.typesetter.pango_missing", lambda: "no pango")
    answer = print_at(desk, released, "label")
    assert answer.status_code == 302
    assert "Papers cannot be printed here: no pango" in messages_of(answer)


def test_a_missing_font_is_a_message(
    desk: Client, released: Case, monkeypatch: pytest.MonkeyPatch
) -> None:
    kind = KINDS["label"]
    strange = replace(kind, facts=lambda case: {**kind.facts(case), "sender": "\U0010fff0"})
    monkeypatch.setitem(KINDS, "label", strange)
    answer = print_at(desk, released, "label")
    assert "no font for U+10FFF0" in messages_of(answer)
