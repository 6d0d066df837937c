"""The custody trail as a paper: what an inspector reads of each entry, in plain words."""

import re
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from cases import corrections, hold_acts, papers
from cases.acts import answer_devices
from cases.errors import StepRefused
from cases.hold_acts import Lifting
from cases.models import Case
from cases.papers import KINDS
from chain_of_custody import press
from chain_of_custody.models import Paper
from chain_of_custody.paper_store import path_of
from crematory import clock
from crematory.models import Facility, StaffMember
from tests import cast
from tests.cases.test_papers import assert_says, letters, read

LONG = "María del Carmen Wilhelmina Łukasz-Nguyễn Παπαδόπουλος Щукин " * 4


@pytest.fixture(autouse=True)
def papers_dir(tmp_path: Path, settings: Any) -> None:
    settings.PAPERS_DIR = tmp_path / "papers"


@pytest.fixture
def released(facility: Facility) -> Case:
    return cast.bring(cast.make_case(facility), "released")


def trail_of(case: Case, by: StaffMember) -> tuple[Paper, str]:
    paper = papers.print_for(Case.objects.get(pk=case.pk), KINDS["trail"], by)
    return paper, read(press.read_paper(paper))


def test_it_shows_every_entry_the_head_and_how_to_check(released: Case, clerk: StaffMember) -> None:
    log, entries = released.facility.log, list(released.entries.order_by("sequence"))
    _, text = trail_of(released, clerk)
    assert_says(
        text, log.root, f"Size of the trail at printing {log.size}", log.facility.log_origin
    )
    for entry in entries:  # short in the table, whole in the annex
        assert_says(text, f"{entry.leaf_hash[:12]}…", entry.leaf_hash)
        assert_says(text, entry.recorded_at.strftime("%Y-%m-%dT%H:%M:%S"))
    assert_says(text, f"manage.py verify_trail --size {log.size} --root {log.root}")
    assert_says(text, "Caution:", "Check with the local authority", "RFC 9162")


def test_it_says_who_with_code_and_role_where_and_which_disc(
    released: Case, clerk: StaffMember
) -> None:
    _, text = trail_of(released, clerk)
    assert_says(text, "Charge → in the retort", "Mon 4 Mar 2024 11:30")
    assert_says(text, "Olive Operator (QVO1), operator, with PIN")
    assert_says(text, "witness Oscar Operator (QVO2), operator")
    assert_says(text, "from Cooler, Bay 1", "to Retort room, Retort 1", "out of the house")
    assert text.count(f"disc {released.disc.number}") > 4
    assert_says(text, "recipient: Rita Recipient", "identification seen:")


def test_it_says_both_names_of_a_correction_and_why(
    released: Case, clerk: StaffMember, manager: StaffMember
) -> None:
    signed = cast.signature(manager)
    corrections.correct(released, signed, cast.token(), "decedent_name", "Adah Exemple", "misheard")
    _, text = trail_of(released, clerk)
    assert_says(text, "Correction of entry 0: name of the decedent")
    assert_says(text, "before: Ada Example", "now: Adah Exemple", "reason: misheard")
    assert_says(text, "confirmed: came after the charge")


def test_it_says_why_a_hold_was_opened_and_lifted(
    case: Case, clerk: StaffMember, manager: StaffMember
) -> None:
    cast.bring(case, "in_care")
    hold_acts.open_hold(case, cast.signature(clerk), cast.token(), "The paper has no seal.")
    lifting = Lifting(on="cleared", reason="The seal is on the back.")
    hold_acts.lift_hold(case.holds.get(), cast.signature(manager), cast.token(), lifting)
    _, text = trail_of(case, clerk)
    assert_says(text, "Put on hold", "reason of the hold: The paper has no seal.")
    assert_says(text, "reason of the lifting: The seal is on the back.")
    assert_says(text, "lifted on: the ground no longer exists")


def test_it_names_papers_printed_and_by_hand(released: Case, clerk: StaffMember) -> None:
    label = papers.print_for(released, KINDS["label"], clerk)
    _, text = trail_of(released, clerk)
    assert_says(text, "Paper printed")
    assert_says(text, f"paper: Container label · paper number: {label.number} · copy: 3")
    assert_says(text, "confirmed: written by hand", label.sha256[:12])


def test_it_shows_refused_attempts_with_their_reasons(
    facility: Facility, clerk: StaffMember
) -> None:
    case = cast.bring(cast.make_case(facility), "contained")
    with pytest.raises(StepRefused):
        cast.do("release", case, recipient_name="Somebody Else")
    _, text = trail_of(case, clerk)
    assert_says(text, "Release Refused; nothing changed", "tried with the code of")
    assert_says(text, "reasons: not met: Recipient named by the authorization", "1 refused")


def test_it_says_when_it_was_recorded_only_where_that_differs(
    case: Case, clerk: StaffMember
) -> None:
    with clock.pinned(case.stage_since + timedelta(hours=2)):
        facts = cast.facts_for(
            "receive", case, happened_at=case.stage_since + timedelta(minutes=30)
        )
        cast.take("receive", case, facts, **cast.signers("receive", case), token="late")
    _, text = trail_of(case, clerk)
    assert len(re.findall(r"recorded (Mon|Tue|Wed|Thu|Fri|Sat|Sun) ", text)) == 1
    assert_says(text, "1 recorded later than they happened")


def test_device_questions_answered_alike_stand_together(case: Case, clerk: StaffMember) -> None:
    answers = [
        {"device": device, "answer": "no", "informant": "Anna Agent"}
        for device in ("pacemaker", "drug_pump")
    ]
    answer_devices(case, clerk, cast.token(), answers)
    _, text = trail_of(case, clerk)
    assert_says(text, "Pacemaker; Drug pump: no, said by: Anna Agent")


def test_no_code_of_ours_is_on_it(released: Case, clerk: StaffMember) -> None:
    _, text = trail_of(released, clerk)
    table = text.split("How to check")[0]
    assert re.findall(r"\b[a-z]+_[a-z_]+\b|\bus-mt\b|\bDISC/|\bTrue\b|\bNone\b", table) == []


def test_long_names_of_any_script_are_whole_and_pages_break_between_entries(
    case: Case, clerk: StaffMember, manager: StaffMember
) -> None:
    cast.bring(case, "in_care")
    signed = cast.signature(manager)
    name = LONG[:290].strip()
    corrections.correct(case, signed, cast.token(), "decedent_name", name, "Written anew. " * 20)
    for _ in range(4):
        hold_acts.open_hold(case, signed, cast.token(), "She rang and does not agree. " * 30)
    paper, text = trail_of(case, clerk)
    assert letters(text).count(letters(name)) >= 2  # the heading, and the correction
    pages = PdfReader(path_of(paper.sha256, ".pdf")).pages
    assert float(pages[0].mediabox.width) > float(pages[0].mediabox.height)
    for page in pages[1:-1]:  # the heading of the table stands on each page that it fills
        words = page.extract_text()
        assert "What was done" in words or "SHA-256 leaf hash" in words


def test_a_text_longer_than_a_page_is_whole(case: Case, clerk: StaffMember) -> None:
    ground = "She rang and does not agree. " * 300 + "So far her words."
    hold_acts.open_hold(case, cast.signature(clerk), cast.token(), ground)
    _, text = trail_of(case, clerk)
    assert text.count("She rang") == 300
    assert_says(text, "So far her words.")
