"""The page of a case and the acts beside the steps, as people meet them."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from cases import acts, device_rules, hold_acts, law
from cases.models import Case
from chain_of_custody import trail
from chain_of_custody.models import CustodyEntry
from crematory import clock
from crematory.models import Facility, StaffMember
from tests import cast
from tests.cases.pages import browser, signed, url

pytestmark = pytest.mark.django_db
ADEN = "عدنان الخطيب"


def typed(field: str) -> str:
    """The name of the field in which a new value is typed."""
    return "died_at" if field == "died_at" else "value"


def text_of(client: Client, address: str, **kwargs: Any) -> str:
    return client.get(address, **kwargs).content.decode()


def filing(**changes: Any) -> dict[str, Any]:
    """A paper as typed."""
    return {
        "kind": "death_record",
        "reference": "R-77",
        "issued_by": "Registrar",
        "issued_on": "2024-03-01",
        "token": cast.token(),
    } | changes


def announcing(**changes: Any) -> dict[str, Any]:
    """A new case as typed."""
    return {
        "decedent_name": ADEN,
        "born_on": "1950-01-02",
        "died_at": "2024-03-01T05:06",
        "sender": "County",
        "token": cast.token(),
    } | changes


def device_form(**changes: Any) -> dict[str, Any]:
    """The page of all device questions, sent with some of them changed."""
    devices = device_rules.asked(law.jurisdiction("us-mt"))
    data: dict[str, Any] = {
        "token": cast.token(),
        "informant": "daughter",
        "devices-TOTAL_FORMS": len(devices),
        "devices-INITIAL_FORMS": len(devices),
    }
    for position, device in enumerate(devices):
        data[f"devices-{position}-device"] = device.value
    return data | changes


def test_the_sign_in_page_itself_can_be_opened(db: None) -> None:
    assert Client().get(reverse("login")).status_code == 200


def test_a_person_is_announced_once_with_a_name_in_any_script(
    facility: Facility, clerk: StaffMember
) -> None:
    client, data = browser(clerk), announcing()
    assert client.get(reverse("cases:announce")).status_code == 200
    first = client.post(reverse("cases:announce"), data)
    second = client.post(reverse("cases:announce"), data)
    assert first.status_code == second.status_code == 302
    case = Case.objects.get()
    page = text_of(client, first["Location"])
    assert f"<bdi>{ADEN}</bdi>, <span" in page
    assert "1950–2024" in page
    assert case.died_at.isoformat() == "2024-03-01T12:06:00+00:00"


def test_a_form_that_was_sent_leads_to_its_case_whatever_it_says_now(
    facility: Facility, clerk: StaffMember
) -> None:
    client, data = browser(clerk), announcing()
    first = client.post(reverse("cases:announce"), data)
    again = client.post(reverse("cases:announce"), data | {"decedent_name": ""}, follow=True)
    assert again.redirect_chain == [(first["Location"], 302)]
    assert "This form was already sent" in again.content.decode()
    assert Case.objects.count() == 1


@pytest.mark.parametrize("born_on", ["1950-01-02", ""])
def test_a_person_of_the_same_name_and_birth_is_asked_about_first(
    facility: Facility, clerk: StaffMember, born_on: str
) -> None:
    """As when somebody goes back in the browser and sends what still stands there."""
    client = browser(clerk)
    assert "is_another" not in text_of(client, reverse("cases:announce"))
    client.post(reverse("cases:announce"), announcing())
    first = Case.objects.get()
    data = announcing(decedent_name=ADEN.upper(), born_on=born_on)
    asked = client.post(reverse("cases:announce"), data)
    page = asked.content.decode()
    assert asked.status_code == 409
    assert f"is expected already: case {first.number}" in page
    assert url("case", first) in page
    assert 'name="is_another"' in page
    assert Case.objects.count() == 1
    refused = CustodyEntry.objects.get(act="announce", outcome="refused")
    assert trail.facts_of(refused)["reasons"] == ["announced_before"]
    sure = client.post(reverse("cases:announce"), data | {"is_another": "on"})
    assert sure.status_code == 302
    assert Case.objects.count() == 2
    second = CustodyEntry.objects.filter(act="announce", outcome="done").latest("sequence")
    assert trail.facts_of(second)["is_another_person"] is True


def test_another_birth_or_a_closed_case_is_not_asked_about(
    facility: Facility, clerk: StaffMember
) -> None:
    client = browser(clerk)
    cast.bring(cast.make_case(facility, decedent_name="Ada Once"), "released")
    cast.make_case(facility, decedent_name="Bo Born", born_on=date(1940, 1, 1))
    for name in ("Ada Once", "Bo Born"):
        data = announcing(decedent_name=name)
        assert client.post(reverse("cases:announce"), data).status_code == 302


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"died_at": "2199-01-01T00:00"}, "lies in the future"),
        ({"born_on": "2024-03-02"}, "after the death"),
        ({"decedent_name": "x" * 301}, "at most 300"),
        ({"decedent_name": "ﷺ" * 300}, "too long when it is written out"),
        ({"decedent_name": "Ada\x00"}, "Null characters"),
        ({"died_at": "0001-01-01T00:00"}, "Look at the year"),
        ({"decedent_name": " "}, "required"),
        ({"token": ""}, "required"),
    ],
)
def test_what_cannot_be_is_not_announced(
    facility: Facility, clerk: StaffMember, changes: dict[str, str], words: str
) -> None:
    response = browser(clerk).post(reverse("cases:announce"), announcing(**changes))
    assert response.status_code == 422
    assert words in response.content.decode()
    assert not Case.objects.exists()


def test_an_operator_may_not_announce_and_keeps_what_was_typed(
    facility: Facility, operator: StaffMember
) -> None:
    response = browser(operator).post(reverse("cases:announce"), announcing())
    assert response.status_code == 403
    assert ADEN in response.content.decode()


def test_the_page_shows_path_gates_and_what_later_steps_lack(
    facility: Facility, clerk: StaffMember
) -> None:
    case = cast.make_case(facility, died_at=cast.START - timedelta(hours=1))
    cast.do("receive", case)
    with clock.pinned(case.stage_since + timedelta(hours=1)):
        page = text_of(browser(clerk), url("case", case))
    assert "Clara Clerk, witness Cyril Clerk" in page
    assert 'aria-current="step"' in page
    assert "Not on file" in page
    assert "Not answered, or not known: Pacemaker" in page
    assert "The waiting period has not ended. 24 hours from the recorded time." in page
    assert "Ends Tue 5 Mar 2024 08:00 MST, in " in page
    assert url("step", case, "authorize") in page


@pytest.mark.parametrize("stage", ["expected", "tagged", "contained", "released", "returned"])
def test_the_page_opens_at_every_kind_of_stage(
    facility: Facility, manager: StaffMember, stage: str
) -> None:
    case = cast.bring(cast.make_case(facility), stage)
    assert browser(manager).get(url("case", case)).status_code == 200


def test_the_page_keeps_its_number_of_queries(
    facility: Facility, clerk: StaffMember, django_assert_num_queries: Any
) -> None:
    case = cast.make_case(facility)
    cast.do("receive", case)
    client = browser(clerk)
    client.get(url("case", case))  # the log-in's own queries, and the rules of law, once
    hold_acts.open_hold(case, cast.signature(clerk), cast.token(), "one")
    fill(case, clerk, 1)
    with django_assert_num_queries(QUERIES):
        client.get(url("case", case))
    fill(case, clerk, 25)
    with django_assert_num_queries(QUERIES):
        client.get(url("case", case))


QUERIES = 18


def fill(case: Case, clerk: StaffMember, count: int) -> None:
    """File many of everything on a case."""
    for _ in range(count):
        acts.file_document(
            case, clerk, cast.token(), kind="other", reference="R", issued_by="I",
            issued_on=clock.now().date(),
        )  # fmt: skip
        cast.says(case, clerk, f"A {case.right_holders.count()}", "signed")
        acts.name_recipient(case, clerk, cast.token(), name="A", relationship="son")
        acts.answer_device(
            case, clerk, cast.token(), device="pacemaker", answer="no", informant="son"
        )
        hold_acts.open_hold(case, cast.signature(clerk), cast.token(), "again")


def test_papers_agents_and_recipients_are_filed_once_a_form(
    facility: Facility, clerk: StaffMember
) -> None:
    case, client = cast.make_case(facility), browser(clerk)
    person = {"name": "Anna Agent", "relationship": "daughter", "token": cast.token()}
    for name, data in (
        ("documents", filing()),
        (
            "agents",
            person | {"relation": "child/daughter", "position": "signed", "how": "in person"},
        ),
        ("recipients", person | {"token": cast.token()}),
    ):
        before = getattr(case, name).count()
        assert client.get(url(name, case)).status_code == 200
        for _ in range(2):
            assert client.post(url(name, case), data).status_code == 302
        assert getattr(case, name).count() == before + 1
    assert "R-77" in text_of(client, url("documents", case))


def test_a_repeat_says_that_nothing_was_added(facility: Facility, clerk: StaffMember) -> None:
    case, client, data = cast.make_case(facility), browser(clerk), filing()
    client.post(url("documents", case), data)
    again = client.post(url("documents", case), data | {"reference": "another"}, follow=True)
    assert "nothing was added" in again.content.decode()


def test_a_wrong_role_is_refused_and_nothing_typed_is_lost(
    facility: Facility, operator: StaffMember
) -> None:
    case = cast.make_case(facility)
    response = browser(operator).post(url("documents", case), filing())
    text = response.content.decode()
    assert response.status_code == 403
    assert "This needs the role" in text
    assert 'value="R-77"' in text


def test_settling_records_only_what_changed(facility: Facility, clerk: StaffMember) -> None:
    case, client = cast.make_case(facility), browser(clerk)
    data = {"is_death_reportable": "False", "disposition": ""}
    client.post(url("settle", case), data | {"token": cast.token()})
    client.post(url("settle", case), data | {"token": cast.token()})
    case.refresh_from_db()
    assert case.is_death_reportable is False
    assert CustodyEntry.objects.filter(case=case, act="settle").count() == 1


def test_after_the_charge_nothing_is_settled(facility: Facility, clerk: StaffMember) -> None:
    case = cast.bring(cast.make_case(facility), "in_retort")
    data = {"is_death_reportable": "True", "token": cast.token()}
    response = browser(clerk).post(url("settle", case), data)
    assert response.status_code == 409
    assert "only a correction" in response.content.decode()


def test_only_changed_device_answers_are_recorded(facility: Facility, clerk: StaffMember) -> None:
    case, client = cast.make_case(facility), browser(clerk)
    assert client.get(url("devices", case)).status_code == 200
    data = device_form(**{"devices-0-answer": "no", "devices-3-answer": "unknown"})
    for _ in range(2):
        assert client.post(url("devices", case), data).status_code == 302
    answers = {a.device: a.answer for a in case.device_answers.all()}
    assert answers == {"pacemaker": "no", "loop_recorder": "unknown"}
    assert case.device_answers.count() == 2


def test_a_device_answer_needs_who_gave_it_and_no_newer_answer(
    facility: Facility, clerk: StaffMember
) -> None:
    case, client = cast.make_case(facility), browser(clerk)
    nameless = client.post(
        url("devices", case), device_form(informant="", **{"devices-0-answer": "no"})
    )
    assert nameless.status_code == 422
    old_page = device_form(**{"devices-0-answer": "no"})
    acts.answer_device(
        case, clerk, cast.token(), device="pacemaker", answer="yes", informant="physician"
    )
    stale = client.post(url("devices", case), old_page)
    assert stale.status_code == 409
    assert "Answered meanwhile: Yes, by physician." in stale.content.decode()


def test_a_removal_with_its_time_is_recorded(facility: Facility, clerk: StaffMember) -> None:
    case = cast.make_case(facility)
    removal = {
        "devices-0-answer": "yes",
        "devices-0-removed_by": "Dr Example",
        "devices-0-removed_at": "2024-03-04T10:00",
        "devices-0-went_to": "returned to the maker",
        "devices-0-outcome": "removed",
        "devices-0-receipt_reference": "R-14",
    }
    browser(clerk).post(url("devices", case), device_form(**removal))
    answer = case.device_answers.get()
    assert answer.removed_at is not None
    assert answer.removed_at.isoformat() == "2024-03-04T17:00:00+00:00"


def test_a_hold_is_opened_by_anybody_and_lifted_by_a_manager(
    facility: Facility, operator: StaffMember, manager: StaffMember
) -> None:
    case, client = cast.make_case(facility), browser(operator)
    data = {"ground": "the family asked", "token": cast.token()} | signed(operator)
    assert client.post(url("hold", case), data).status_code == 302
    assert "the family asked" in text_of(client, url("case", case))
    held = case.holds.get()
    lifting = {"reason": "settled", "on": "cleared", "token": cast.token()}
    refused = client.post(url("lift", case, held.pk), lifting | signed(operator))
    assert refused.status_code == 403
    assert "settled" in refused.content.decode()
    assert client.post(url("lift", case, held.pk), lifting | signed(manager)).status_code == 302
    twice = client.post(
        url("lift", case, held.pk), lifting | signed(manager) | {"token": cast.token()}
    )
    assert twice.status_code == 409


def test_a_wrong_pin_at_a_hold_is_recorded(facility: Facility, operator: StaffMember) -> None:
    case = cast.make_case(facility)
    data = {"ground": "the family asked", "token": cast.token()}
    response = browser(operator).post(
        url("hold", case), data | signed(operator, pin=cast.WRONG_PIN)
    )
    assert response.status_code == 403
    assert "the family asked" in response.content.decode()
    assert CustodyEntry.objects.filter(case=case, act="open_hold", outcome="refused").count() == 1


def test_holds_of_another_case_are_not_lifted_here(
    facility: Facility, manager: StaffMember
) -> None:
    case, other = cast.make_case(facility), cast.make_case(facility)
    hold_acts.open_hold(other, cast.signature(manager), cast.token(), "one")
    held = other.holds.get()
    assert browser(manager).get(url("lift", case, held.pk)).status_code == 404


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("decedent_name", "Ada Exemple", "Ada Exemple"),
        ("born_on", "1942-05-06", "1942–2024"),
        ("died_at", "2024-03-01T01:00", "1 Mar 2024 01:00"),
        ("mass_kg", "200 lb", ""),
    ],
)
def test_a_value_is_corrected_by_its_own_kind_of_field(
    facility: Facility, manager: StaffMember, field: str, value: str, words: str
) -> None:
    case, client = cast.bring(cast.make_case(facility), "in_care"), browser(manager)
    assert f"?field={field}" in text_of(client, url("correct", case))
    assert client.get(url("correct", case), {"field": field}).status_code == 200
    data = {"field": field, typed(field): value, "why": "misread", "token": cast.token()}
    response = client.post(url("correct", case), data | signed(manager), follow=True)
    assert "The correction is recorded" in response.content.decode()
    assert words in response.content.decode()


@pytest.mark.parametrize(
    ("field", "value"), [("decedent_name", "Ada Exemple"), ("died_at", "2024-03-01T01:00")]
)
def test_only_a_manager_corrects_who_it_is_and_when_it_was(
    facility: Facility, clerk: StaffMember, field: str, value: str
) -> None:
    case = cast.bring(cast.make_case(facility), "in_care")
    data = {"field": field, typed(field): value, "why": "misread", "token": cast.token()}
    assert browser(clerk).post(url("correct", case), data | signed(clerk)).status_code == 403
    assert case.entries.latest("sequence").outcome == "refused"
    assert not case.entries.filter(act="correct", outcome="done").exists()


def test_an_unknown_field_is_never_corrected(facility: Facility, clerk: StaffMember) -> None:
    case = cast.make_case(facility)
    data = {"field": "stage", "value": "released", "why": "x", "token": cast.token()}
    response = browser(clerk).post(url("correct", case), data | signed(clerk))
    assert response.status_code == 200
    case.refresh_from_db()
    assert case.stage == "expected"


def test_a_person_is_moved_to_a_free_place_of_the_same_kind(
    facility: Facility, operator: StaffMember
) -> None:
    case, client = cast.bring(cast.make_case(facility), "in_care"), browser(operator)
    goal = cast.free_place(case, "bay")
    assert client.get(url("move", case)).status_code == 200
    data = {"place": goal.pk, "token": cast.token()} | signed(operator)
    for _ in range(2):
        assert client.post(url("move", case), data).status_code == 302
    assert str(goal) in text_of(client, url("case", case))
    expected = cast.make_case(facility)
    nowhere = client.post(url("move", expected), data | {"token": cast.token()})
    assert nowhere.status_code == 422


@pytest.mark.parametrize(
    "name", ["documents", "agents", "recipients", "settle", "devices", "hold", "correct", "move"]
)
def test_pages_of_another_facilitys_case_do_not_exist(
    facility: Facility, other_operator: StaffMember, name: str
) -> None:
    case, client = cast.make_case(facility), browser(other_operator)
    assert client.get(url(name, case)).status_code == 404
    assert client.post(url(name, case), {"token": "x"}).status_code == 404
    assert client.put(url(name, case)).status_code == 405


@pytest.mark.parametrize(
    ("name", "data", "words"),
    [
        ("documents", filing(), "R-77"),
        ("hold", {"ground": "asked by phone", "token": "x"}, "asked by phone"),
        ("devices", device_form(**{"devices-8-went_to": "the maker"}), "the maker"),
        ("correct", {"field": "sender", "value": "Other House", "token": "x"}, "Other House"),
    ],
)
def test_what_was_typed_outlives_the_session(
    facility: Facility, clerk: StaffMember, name: str, data: dict[str, Any], words: str
) -> None:
    case, client = cast.make_case(facility), Client()
    assert client.post(url(name, case), data)["Location"].startswith(reverse("login"))
    client.post(reverse("login"), {"username": clerk.staff_code, "password": cast.PASSWORD})
    page = text_of(client, url(name, case))
    assert words in page
    assert "is kept and shown again" in page


@pytest.mark.parametrize(
    ("field", "value"), [("died_at", "2199-01-01T00:00"), ("born_on", "2199-01-01")]
)
def test_a_correction_does_not_lie_in_the_future(
    facility: Facility, clerk: StaffMember, field: str, value: str
) -> None:
    case = cast.make_case(facility)
    data = {"field": field, typed(field): value, "why": "misread", "token": cast.token()}
    response = browser(clerk).post(url("correct", case), data | signed(clerk))
    assert response.status_code == 422
    assert "lies in the future" in response.content.decode()


def test_a_token_that_no_database_takes_is_refused(facility: Facility, clerk: StaffMember) -> None:
    case = cast.make_case(facility)
    assert browser(clerk).post(url("documents", case), filing(token="a\x00")).status_code == 422


def test_a_printed_paper_is_listed_and_marked_once_it_is_superseded(
    facility: Facility, clerk: StaffMember
) -> None:
    case, client = cast.bring(cast.make_case(facility), "in_care"), browser(clerk)
    page = text_of(client, url("case", case))
    assert "Print: Container label" in page
    assert "Print: Certificate" not in page
    client.post(url("print", case, "label"), {"token": cast.token()})
    page = text_of(client, url("case", case))
    assert case.papers.get().number in page
    assert "Superseded" not in page
    data = {"field": "born_on", "value": "1942-05-06", "why": "x", "token": cast.token()}
    client.post(url("correct", case), data | signed(clerk))
    assert "Superseded by a correction" in text_of(client, url("case", case))
    paper = case.papers.get().number
    for read in (paper, f"CASE/{case.number}/{paper}"):
        found = client.post(reverse("cases:scan"), {"q": read}, follow=True)
        assert found.redirect_chain[-1][0] == url("case", case)
        assert f"Paper {paper} is superseded" in found.content.decode()
