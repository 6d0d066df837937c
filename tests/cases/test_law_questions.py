"""What the law makes depend on an answer: asked, answered, refused while open, told."""

from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from django.urls import reverse

from cases import acts, case_clocks, law, law_acts, law_questions, seen
from cases.errors import ActRefused
from cases.gates import GATES, PASSED, REFUSED, Situation, Verdict
from cases.law.page_words import sections
from cases.law.reading import RuleFileError, parse
from cases.models import AgreedTime, Case, Document, LawAnswer
from cases.steps import STEPS
from chain_of_custody.models import CustodyEntry
from chain_of_custody.trail import facts_of
from crematory import clock
from crematory.models import StaffMember
from tests import cast, raw

pytestmark = pytest.mark.django_db
NOON = cast.START + timedelta(days=2)


@pytest.fixture(autouse=True)
def at_noon() -> Any:
    with clock.pinned(NOON):
        yield


def case_in(code: str) -> Case:
    return cast.make_case(cast.make_facility("LQ", jurisdiction=code), at=NOON)


def fresh(case: Case) -> Case:
    return Case.objects.get(pk=case.pk)


def ask(case: Case, gate: str = "papers_at_charge", now: datetime = NOON) -> Verdict:
    step = STEPS["authorize" if gate == "documents_on_file" else "charge"]
    return GATES[gate](Situation(case=fresh(case), step=step, now=now))


def who(case: Case, key: str = cast.CLERK) -> StaffMember:
    return cast.member(case.facility, key)


def answer(case: Case, key: str = cast.CLERK, **told: Any) -> CustodyEntry:
    stated = {"informant": "Vera Oldmeadow", "basis": "telephone", **told}
    member = who(case, key)
    return law_acts.answer_law(case, cast.signature(member), cast.token(), law_acts.Told(**stated))


# Wis. Stat. 440.78(1): report for final disposition where required. New Zealand: Form C where a
# coroner takes part. N.C.G.S. 90-210.129(c): the authorization in deaths under full investigation.
CONDITIONAL = [
    ("us-wi", "report_required", "disposition_report", "papers_at_charge"),
    ("nz", "coroner_takes_part", "coroner_form", "documents_on_file"),
    ("us-nc", "full_investigation", "disposition_permit", "papers_at_charge"),
]


@pytest.mark.parametrize(("code", "question", "paper", "gate"), CONDITIONAL)
def test_an_open_question_refuses_a_no_passes_a_yes_asks_the_paper(
    code: str, question: str, paper: str, gate: str
) -> None:
    case = case_in(code)
    cast.file_papers(case, "charge")
    refused = ask(case, gate)
    assert refused.state == REFUSED
    assert "Not answered:" in refused.reason
    assert law.paper_words(paper) in refused.reason
    assert law.CHECK_LOCALLY in refused.citation
    answer(case, answers={question: False})
    passed = ask(case, gate)
    assert passed.state == PASSED
    assert f"Not asked here: {law.paper_words(paper)}. Vera Oldmeadow answered no" in passed.reason
    answer(case, answers={question: True}, basis="the coroner's office called")
    assert ask(case, gate).reason == f"Not on file: {law.paper_words(paper)}."
    cast.file_paper(case, paper)
    assert ask(case, gate).state == PASSED


@pytest.mark.parametrize(("code", "question", "paper", "gate"), CONDITIONAL)
def test_where_the_paper_is_there_nothing_is_asked(
    code: str, question: str, paper: str, gate: str
) -> None:
    case = case_in(code)
    cast.file_papers(case, "charge")
    cast.file_paper(case, paper)
    assert ask(case, gate).state == PASSED
    assert not case.law_answers.exists(), question


def test_a_yes_is_taken_back_by_a_manager_alone() -> None:
    case = case_in("us-wi")
    cast.file_papers(case, "charge")
    answer(case, answers={"report_required": True})
    with pytest.raises(ActRefused) as refused:
        answer(case, answers={"report_required": False})
    assert refused.value.code == "role"
    assert ask(case).state == REFUSED
    answer(case, cast.MANAGER, answers={"report_required": False})
    assert ask(case).state == PASSED


def test_who_answered_when_on_what_and_what_is_kept_and_in_the_trail() -> None:
    case = case_in("us-wi")
    paper = cast.paper(case, "other")
    entry = answer(case, answers={"report_required": True}, document=paper)
    row = case.law_answers.get()
    assert (row.is_so, row.informant, row.basis) == (True, "Vera Oldmeadow", "telephone")
    assert (row.paper, row.document, row.answered_at) == ("disposition_report", paper, NOON)
    told = facts_of(entry)
    assert told["report_required"] == "yes"
    assert (told["informant"], told["basis"], told["paper"]) == (
        "Vera Oldmeadow", "telephone", "other",
    )  # fmt: skip
    assert "Vera" not in entry.payload
    assert '"yes"' not in entry.payload
    client = Client()
    client.force_login(who(case))
    page = client.get(reverse("cases:trail", args=[case.number])).content.decode()
    assert "Question of the law answered" in page


@pytest.mark.parametrize(
    ("told", "code"),
    [
        ({"answers": {}}, "law_answer_missing"),
        ({"answers": {"coroner_takes_part": True}}, "question_unknown"),
        ({"answers": {"report_required": True}, "basis": " "}, "basis_missing"),
        ({"answers": {"report_required": True}, "informant": " "}, "informant_missing"),
        ({"agreed_at": NOON}, "question_unknown"),
    ],
)
def test_what_is_refused(told: dict[str, Any], code: str) -> None:
    case = case_in("us-wi")
    with pytest.raises(ActRefused) as refused:
        answer(case, **told)
    assert refused.value.code == code
    assert not case.law_answers.exists()
    assert CustodyEntry.objects.filter(case=case, act="answer_law", outcome="refused").exists()


def test_an_operator_does_not_answer() -> None:
    with pytest.raises(ActRefused) as refused:
        answer(case_in("us-wi"), cast.OPERATOR, answers={"report_required": False})
    assert refused.value.code == "role"


def test_a_paper_of_another_case_or_of_an_older_version_is_refused() -> None:
    case = case_in("us-wi")
    other = cast.paper(cast.make_case(case.facility), "other")
    for document in (other, replaced_paper(case)):
        with pytest.raises(ActRefused):
            answer(case, answers={"report_required": False}, document=document)
    with raw.refuses("paper of its own case"), transaction.atomic():
        LawAnswer.objects.create(
            case=case, question="report_required", is_so=False, informant="x", basis="y",
            document=other, answered_at=NOON,
        )  # fmt: skip


def replaced_paper(case: Case) -> Any:
    first = cast.paper(case, "other")
    acts.file_document(
        case, who(case), cast.token(), kind="other", reference="R-2", issued_by="Registrar",
        issued_on=NOON.date(), replaces=first,
    )  # fmt: skip
    return first


# The database


def test_a_row_stays_and_says_who_and_on_what() -> None:
    case = case_in("us-wi")
    answer(case, answers={"report_required": False})
    row = case.law_answers.get()
    for statement in (
        "UPDATE {} SET is_so = NOT is_so WHERE id = %s",
        "DELETE FROM {} WHERE id = %s",
    ):
        with raw.refuses("written once"), transaction.atomic():
            raw.run(statement.format(LawAnswer._meta.db_table), row.pk)
    with raw.refuses("law_answer_by_whom_on_what"), transaction.atomic():
        LawAnswer.objects.create(
            case=case, question="report_required", is_so=False, informant="", basis="",
            answered_at=NOON,
        )  # fmt: skip


def test_the_database_lets_nobody_charge_past_a_paper_that_is_owed() -> None:
    case = cast.bring(cast.make_case(cast.make_facility("LQ")), "tagged")
    LawAnswer.objects.create(
        case=case, question="report_required", is_so=True, paper="disposition_report",
        informant="x", basis="y", answered_at=NOON,
    )  # fmt: skip
    with raw.refuses("asks for by an answer"), transaction.atomic():
        cast.bring(fresh(case), "in_retort")
    with clock.pinned(case.stage_since + timedelta(hours=60)):
        cast.file_paper(case, "disposition_report")
    assert cast.bring(fresh(case), "in_retort").stage == "in_retort"


# Florida 497.607(1): within 48 h after the time agreed in writing.
AGREED = datetime.fromisoformat("2026-03-05T09:00:00-05:00")


def agree(case: Case, at: datetime, **told: Any) -> CustodyEntry:
    return answer(case, agreed_at=at, document=cast.paper(case, "other"), **told)


def test_florida_counts_from_the_time_agreed_in_writing() -> None:
    case = case_in("us-fl")
    cast.file_papers(case, "charge")
    open_one = ask(case)
    assert "48 h after a time agreed in writing, and none is recorded" in open_one.reason
    assert "Fla. Stat. 497.607(1)" in open_one.citation
    assert open_one.citation.count("local authority") == 1
    agreed = NOON + timedelta(hours=20)
    agree(case, agreed)
    end = agreed + timedelta(hours=48)
    assert ask(case, now=end).state == PASSED
    late = ask(case, now=end + timedelta(seconds=1))
    assert late.state == REFUSED
    assert "Another time is agreed in writing" in late.reason
    agree(case, agreed + timedelta(hours=30))
    assert ask(case, now=end + timedelta(seconds=1)).state == PASSED


def test_the_clock_of_florida_runs_from_the_agreed_time() -> None:
    case = case_in("us-fl")
    clock_of = {c.title: c for c in case_clocks.clocks_of(fresh(case))}["Cremate by"]
    assert not clock_of.is_known
    agree(case, max(NOON, AGREED))
    clock_of = {c.title: c for c in case_clocks.clocks_of(fresh(case))}["Cremate by"]
    assert clock_of.at == max(NOON, AGREED) + timedelta(hours=48)
    now = max(NOON, AGREED) + timedelta(hours=47)
    pressing = case_clocks.pressing([fresh(case)], now)
    assert [shown.title for _, shown in pressing] == ["Cremate by"]


@pytest.mark.parametrize("lacks", ["paper", "death"])
def test_an_agreed_time_has_its_paper_and_lies_after_the_death(lacks: str) -> None:
    case = case_in("us-fl")
    paper = None if lacks == "paper" else cast.paper(case, "other")
    at = case.died_at - timedelta(minutes=1) if lacks == "death" else NOON
    with pytest.raises(ActRefused) as refused:
        answer(case, agreed_at=at, document=paper)
    assert refused.value.code == ("agreement_missing" if lacks == "paper" else "agreed_too_early")
    assert not AgreedTime.objects.exists()


def test_the_database_holds_an_agreed_time_to_a_paper_of_its_case() -> None:
    case = case_in("us-fl")
    other = cast.paper(cast.make_case(case.facility), "other")
    with raw.refuses("agreed in a paper of its own case"), transaction.atomic():
        AgreedTime.objects.create(
            case=case, agreed_at=NOON, informant="x", document=other, stated_at=NOON
        )
    agree(case, NOON)
    with raw.refuses("written once"), transaction.atomic():
        raw.run(f"UPDATE {AgreedTime._meta.db_table} SET informant = 'y' WHERE 1 = %s", 1)


# Texas 716.054: directions of the decedent, the agent refuses, costs paid, positive identification.


def texas() -> Case:
    case = case_in("us-tx")
    cast.file_paper(case, "final_death_certificate")
    return case


def test_texas_without_a_form_asks_four_things_together() -> None:
    case = texas()
    refused = ask(case, "documents_on_file")
    assert refused.reason.startswith("Not on file: signed cremation authorization. Without the")
    assert "Health and Safety Code 716.054" in refused.citation
    for need in ("own written directions", "positive identification", "refuse to sign", "costs"):
        assert need in refused.reason
    cast.file_paper(case, "decedent_directions")
    cast.file_paper(case, "identification")
    answer(case, cast.MANAGER, answers={"agent_refuses": True})
    assert ask(case, "documents_on_file").state == REFUSED
    answer(case, cast.MANAGER, answers={"costs_paid": True})
    passed = ask(case, "documents_on_file")
    assert passed.state == PASSED
    assert "Without a signed form" in passed.reason
    answer(case, cast.MANAGER, answers={"costs_paid": False})
    assert ask(case, "documents_on_file").state == REFUSED


def test_only_a_manager_answers_in_the_place_of_a_signed_form() -> None:
    case = texas()
    with pytest.raises(ActRefused) as refused:
        answer(case, cast.CLERK, answers={"agent_refuses": True})
    assert refused.value.code == "role"


def test_where_no_law_provides_it_nothing_stands_in_the_place_of_the_form() -> None:
    case = case_in("us-mt")
    assert law_questions.lacks_without_form(case, {"decedent_directions", "identification"}) is None
    assert "Without the signed form" not in ask(case, "documents_on_file").reason


# The pages


def send(case: Case, key: str = cast.CLERK, **data: Any) -> Any:
    client, member = Client(), who(case, key)
    client.force_login(member)
    signed = {"signer_code": member.staff_code, "signer_pin": cast.pin_of(member)}
    address = reverse("cases:law", args=[case.number])
    shown = {"seen": seen.mark(seen.of_law(fresh(case))), "token": cast.token()}
    return client.post(address, {**shown, **signed, **data})


def test_the_page_asks_and_only_what_is_new_is_recorded() -> None:
    case = case_in("us-wi")
    told = {"informant": "Vera Oldmeadow", "basis": "telephone", "report_required": "False"}
    assert send(case, **told).status_code == 302
    assert send(case, **told).status_code == 422
    assert send(case, **{**told, "report_required": "True", "basis": ""}).status_code == 422
    assert case.law_answers.count() == 1


def test_an_old_page_does_not_answer_over_what_was_answered_meanwhile() -> None:
    """It was opened while the answer was no; the yes that came since stays, and shuts the gate."""
    case = case_in("us-wi")
    cast.file_papers(case, "charge")
    answer(case, answers={"report_required": False})
    old = seen.mark(seen.of_law(fresh(case)))
    answer(case, cast.SECOND_CLERK, answers={"report_required": True})
    told = {"informant": "Vera Oldmeadow", "basis": "telephone"}
    for said in ("False", "True"):
        sent = send(case, seen=old, report_required=said, **told)
        assert sent.status_code in (409, 422)
        assert seen.TEXT in sent.content.decode()
    assert case.law_answers.count() == 2
    assert ask(case).state == REFUSED
    form = sent.context["form"]
    assert form["seen"].value() == seen.mark(seen.of_law(fresh(case)))
    assert form["report_required"].value() == "True"


# A paper that was replaced proves nothing until somebody has read the newer one.


def replace(case: Case, paper: Document) -> None:
    acts.file_document(
        case, who(case), cast.token(), kind=paper.kind, reference="R-2", issued_by="Registrar",
        issued_on=NOON.date(), replaces=paper,
    )  # fmt: skip


def test_an_answer_on_a_replaced_paper_is_open_again() -> None:
    case = case_in("us-wi")
    cast.file_papers(case, "charge")
    paper = cast.paper(case, "other")
    answer(case, answers={"report_required": False}, document=paper)
    assert ask(case).state == PASSED
    old = seen.mark(seen.of_law(fresh(case)))
    replace(case, paper)
    assert "Not answered:" in ask(case).reason
    told = {"informant": "Vera Oldmeadow", "basis": "the newer letter", "report_required": "False"}
    assert send(case, seen=old, **told).status_code in (409, 422)
    assert send(case, **told).status_code == 302
    assert ask(case).state == PASSED


def test_a_time_agreed_in_a_replaced_paper_counts_no_more() -> None:
    case = case_in("us-fl")
    cast.file_papers(case, "charge")
    agree(case, NOON + timedelta(hours=20))
    assert ask(case).state == PASSED
    replace(case, case.agreed_times.get().document)
    assert "none is recorded" in ask(case).reason
    agree(case, NOON + timedelta(hours=20))
    assert ask(case).state == PASSED


def test_the_page_of_the_authorization_shows_what_the_law_asks() -> None:
    case = case_in("us-wi")
    client = Client()
    client.force_login(who(case))
    cast.bring(case, "in_care")
    address = reverse("cases:step", args=[case.number, "authorize"])
    page = client.get(address).content.decode()
    assert "Must a report for final disposition be filed" in page
    assert "Not answered" in page
    assert reverse("cases:law", args=[case.number]) in page
    answer(case, answers={"report_required": False})
    assert "No: Vera Oldmeadow" in client.get(address).content.decode()
    settle = client.get(reverse("cases:settle", args=[case.number])).content.decode()
    assert reverse("cases:law", args=[case.number]) in settle
    shown = client.get(reverse("cases:law", args=[case.number])).content.decode()
    assert "Stated so far" in shown
    assert "Wis. Stat. 440.78(1)" in shown


@pytest.mark.parametrize("code", ["us-wi", "us-fl", "nz", "us-nc", "us-tx"])
def test_the_case_leads_to_what_is_asked(code: str) -> None:
    case = case_in(code)
    client = Client()
    client.force_login(who(case))
    page = client.get(reverse("cases:case", args=[case.number])).content.decode()
    assert reverse("cases:law", args=[case.number]) in page


def test_florida_is_asked_for_the_agreed_time_with_its_paper() -> None:
    case = case_in("us-fl")
    at = {"informant": "Vera Oldmeadow", "agreed_at": "2026-03-05T09:00"}
    assert send(case, **at).status_code == 422
    paper = cast.paper(case, "other")
    assert send(case, **at, document=str(paper.pk)).status_code == 302
    assert case.agreed_times.get().document == paper


def test_a_law_that_asks_nothing_has_no_such_page() -> None:
    case = case_in("us-mt")
    client = Client()
    client.force_login(who(case))
    assert client.get(reverse("cases:law", args=[case.number])).status_code == 404


def test_the_rules_of_the_house_put_the_question_in_words() -> None:
    texts = [
        text
        for code in ("us-wi", "us-tx")
        for section in sections(law.jurisdiction(code))
        for entry in section.entries
        for _, text in entry.values
    ]
    assert "Must a report for final disposition be filed for this death?" in texts
    assert any("Are the costs of the cremation paid?" in text for text in texts)


# The files


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('condition = "report_required"', 'condition = "perhaps"', "is none of"),
        (
            'condition = "report_required"',
            'condition = "report_required"\nalternatives = ["court_order"]',
            "asked on a condition",
        ),
        (
            'kind = "cremation_authorization"\nbefore = "charge"',
            'kind = "cremation_authorization"\nbefore = "charge"\ncondition = "report_required"',
            "stands twice",
        ),
    ],
)
def test_a_file_that_asks_oddly_is_refused(old: str, new: str, says: str) -> None:
    text = (law.FOLDER / "us-wi.toml").read_text("utf-8")
    assert old in text
    with pytest.raises(RuleFileError, match=says):
        parse(text.replace(old, new), "us-wi.toml")
