"""The lists on the page of a case: what people typed is escaped, and nothing is left out."""

from datetime import date, timedelta
from types import SimpleNamespace as Row
from typing import Any

import pytest
from django.template import Context
from django.urls import reverse

from cases import papers
from cases.case_clocks import Clock, Shown
from cases.case_page import PathStep
from cases.gates import PASSED, REFUSED, Verdict
from cases.may_cremate import Need
from cases.models import AuthorizingAgent, Case, DeviceAnswer, Document, PersonalThing
from cases.roles import Power
from cases.steps import STEPS
from cases.templatetags import case_parts, case_record
from chain_of_custody.models import CustodyEntry, Paper
from crematory import clock
from crematory.models import StaffMember
from crematory.templatetags.crematory import ago, when
from tests import cast

TYPED, SHOWN = "<b>\"Ada\" & 'Bo'</b>", "&lt;b&gt;&quot;Ada&quot; &amp; &#x27;Bo&#x27;&lt;/b&gt;"
NUMBER = "QV26-00001-1"


def _case(**rows: list[Any]) -> Any:
    kinds = ("documents", "right_holders", "recipients")
    found = {kind: Row(all=lambda kind=kind: rows.get(kind, [])) for kind in kinds}
    return Row(number=NUMBER, **found)


def test_a_paper_says_its_scan_and_that_a_later_one_came() -> None:
    old = Document(pk=1, kind="other", reference=TYPED, issued_by=TYPED, issued_on=date(2026, 3, 2))
    new = Document(
        pk=2, kind="other", reference="R", issued_by="I", issued_on=date(2026, 3, 4), replaces_id=1
    )
    page = case_record.papers_on_file(_case(documents=[old, new]), True)
    assert page.count(SHOWN) == 2
    assert "<b>" not in page
    assert page.count("is-replaced") == page.count("Replaced by a later version") == 1
    assert page.count("no scan") == 2
    assert "2 Mar 2026" in page
    link = reverse("cases:documents", args=[NUMBER]) + "?replaces=2#filing"
    assert page.count("A later version came") == 1
    assert link in page
    assert link not in case_record.papers_on_file(_case(documents=[new]), False)
    assert "No paper is on file." in case_record.papers_on_file(_case())


def test_who_has_a_say_with_their_last_word() -> None:
    said = [Row(position="objects"), AuthorizingAgent(position="signed")]
    holders = [
        Row(name=TYPED, relationship=TYPED, statements=Row(all=lambda: said)),
        Row(name="B", relationship="son", statements=Row(all=list)),
    ]
    page = case_record.agents_on_file(_case(right_holders=holders))
    assert page.count(SHOWN) == 2
    assert ": has signed</li>" in page.lower()
    assert "objects" not in page
    assert "said nothing yet" in page
    assert "Nobody has signed or objected." in case_record.agents_on_file(_case())


def test_recipients_are_named_or_nobody_is() -> None:
    page = case_record.recipients_on_file(_case(recipients=[Row(name=TYPED, relationship=TYPED)]))
    assert page.count(SHOWN) == 2
    assert "Nobody is named." in case_record.recipients_on_file(_case())


def test_each_device_says_what_became_of_it() -> None:
    at = clock.now()
    rows = [
        (TYPED, None),
        ("A", DeviceAnswer(answer="yes", outcome="removed", removed_at=at, removed_by=TYPED,
                           went_to=TYPED, receipt_reference=TYPED)),
        ("B", DeviceAnswer(answer="yes", outcome="attested", attested_by=TYPED,
                           attester_licence=TYPED)),
        ("C", DeviceAnswer(answer="yes", outcome="stays", stays_by_rule=TYPED)),
        ("D", DeviceAnswer(answer="no")),
    ]  # fmt: skip
    page = case_record.device_rows(rows)
    assert page.count(SHOWN) == 7
    assert "<b>" not in page
    for words in ("not asked yet", f"removed {when(at)} by", "attested by", "licence", "stays:",
                  "receipt", "<strong>No</strong></li>"):  # fmt: skip
        assert words in page


def test_each_thing_says_the_wish_and_to_whom_it_went() -> None:
    at = clock.now()
    back: Any = Row(
        description=TYPED, returned=Row(returned_to=TYPED, returned_at=at), wish="returned"
    )
    lies = PersonalThing(description="Ring", wish="returned", kept_in=TYPED)
    lies._state.fields_cache["returned"] = None
    page = case_record.thing_rows([back, lies])
    assert page.count(SHOWN) == 3
    assert f"given back to <bdi>{SHOWN}</bdi>, {when(at)}" in page
    assert f"<strong>{lies.get_wish_display()}</strong>, lies in {SHOWN}" in page


def test_a_way_leads_on_or_names_who_may() -> None:
    case = _case()
    leads = case_record.way("cases:documents", case, Power(True, "x"), TYPED)
    assert reverse("cases:documents", args=[NUMBER]) in leads
    told = case_record.way("cases:documents", case, Power(False, TYPED), TYPED)
    assert "href" not in told
    assert f"{SHOWN} ({SHOWN} only)" in told


def test_printed_papers_say_copy_hand_and_that_they_were_superseded() -> None:
    at = clock.now()
    first = Paper(number="P-1", copy=1, printed_at=at)
    second = Paper(number="P-2", copy=2, printed_at=at)
    page = case_record.printed_rows(
        _case(), [(TYPED, second, True, False), ("T", first, False, True)]
    )
    assert page.count(SHOWN) == 1
    assert page.count("copy 2") == page.count("by hand") == page.count("Superseded") == 1
    assert "copy 1" not in page
    assert reverse("cases:paper", args=[NUMBER, "P-1"]) in page
    assert page.count(when(at)) == 2
    assert "Nothing was printed yet." in case_record.printed_rows(_case(), [])


def test_a_button_that_prints_has_its_tokens_and_the_way_by_hand() -> None:
    context = Context({"case": _case(), "csrf_token": "CSRF"})
    page = case_record.print_form(context, papers.KINDS["label"], "ONCE", TYPED)
    assert page.count('name="csrfmiddlewaretoken" value="CSRF"') == 2
    assert 'name="token" value="ONCE"' in page
    assert 'name="token" value="ONCE-hand"' in page
    assert SHOWN in page
    assert reverse("cases:print", args=[NUMBER, "label"]) in page
    assert reverse("cases:write", args=[NUMBER, "label"]) in page
    other = next(kind for kind in papers.KINDS.values() if not kind.by_hand)
    page = case_record.print_form(context, other, "ONCE")
    both = case_record.print_forms(context, [papers.KINDS["label"], other], "ONCE")
    assert both == case_record.print_form(context, papers.KINDS["label"], "ONCE") + page
    assert f"Print: {other.title}" in page
    assert "by hand" not in page


def test_a_clock_says_its_state_its_time_and_its_source() -> None:
    now = clock.now()

    def row(at: Any, day: str = "", is_duty: bool = True, is_known: bool = True) -> str:
        shown = Shown(Clock(TYPED, at, day, TYPED, TYPED, is_duty, is_known), now)
        page: str = case_parts.clock_rows([shown])
        assert page.count(SHOWN) == 3
        return page

    later = now + timedelta(days=3)
    assert "Passed" in row(now - timedelta(hours=1))
    assert "Presses" in row(now + timedelta(hours=1))
    assert "Unknown" in row(None, is_known=False)
    assert f"{when(later)}, {ago(later)}." in row(later)
    assert "Wed 4 Mar 2026." in row(None, "2026-03-04", is_duty=False)
    assert f", {ago(later)}." in row(later, "2026-03-04")
    assert "For ever." in row(None, "for ever", is_duty=False)
    assert "names no clock" in case_parts.clock_rows([])


def test_the_path_says_who_signed_what_is_next_and_what_comes_later() -> None:
    at = clock.now()
    entry = CustodyEntry(
        happened_at=at,
        signed_by=StaffMember(printed_name=TYPED),
        witness=StaffMember(printed_name=TYPED),
    )
    path = [
        PathStep(STEPS["receive"], entry, False),
        PathStep(STEPS["authorize"], None, True),
        PathStep(STEPS["charge"], None, False),
    ]
    page = case_parts.path_rows(path)
    assert page.count(SHOWN) == 2
    assert when(at) in page
    assert ago(at) in page
    assert page.count('aria-current="step"') == 1
    for word, step in (("Done", "receive"), ("Next", "authorize"), ("Later", "charge")):
        assert f'<span class="path-word">{word}</span>' in page
        assert STEPS[step].label in page


@pytest.mark.parametrize(
    ("calls_for", "sign"), [("", "waiting"), ("dispute", "hold"), ("review", "asked")]
)
def test_what_stands_against_it_says_who_settles_it_and_where(calls_for: str, sign: str) -> None:
    gate = Verdict("no_dispute", TYPED, REFUSED, TYPED, TYPED, citation=TYPED, calls_for=calls_for)
    case: Any = _case()
    page = case_parts.need_rows([Need(gate, STEPS["charge"])], case)
    assert page.count(SHOWN) == 4
    assert f"marks.svg#{sign}" in page
    assert f"asked at: {STEPS['charge'].label}" in page
    assert reverse("cases:agents", args=[NUMBER]) in page
    assert "Questions of the law" not in page
    paper = Verdict("papers_at_charge", "Papers", REFUSED, "None.", "office")
    page = case_parts.need_rows([Need(paper, STEPS["charge"])], case, ("papers_at_charge",))
    assert reverse("cases:law", args=[NUMBER]) in page
    assert "law-note" not in page


def test_what_is_proved_says_by_what() -> None:
    page = case_parts.proved_rows([Verdict("no_hold", TYPED, PASSED, TYPED, citation=TYPED)])
    assert page.count(SHOWN) == 3


def test_an_end_is_told_where_there_is_one() -> None:
    at = clock.now() + timedelta(hours=2)
    assert case_parts.ends(at) == f" From {when(at)}, {ago(at)}."
    assert case_parts.ends(None) == ""


def test_a_kind_of_paper_is_called_as_its_model_calls_it(case: Case) -> None:
    cast.bring(case, "in_care")
    page = case_record.papers_on_file(case)
    for document in case.documents.all():
        assert document.get_kind_display().lower() in page.lower()
