"""The pages of holds: open, look, tell, lift; Today's list, the banner, the machine."""

from typing import Any

import pytest
from django.core.cache import caches
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from cases import hold_acts, trail_paper
from cases.models import Case, Hold
from crematory.models import Facility, StaffMember
from tests import cast
from tests.cases.pages import browser, signed, text_of, url

pytestmark = pytest.mark.django_db


@pytest.fixture
def dispute(case: Case, clerk: StaffMember) -> Hold:
    """A son objects: it holds the case by itself."""
    cast.bring(case, "in_care")
    cast.says(case, clerk, "Ben Example", "objects")
    return case.holds.get()


def opening(who: StaffMember, **changes: Any) -> dict[str, Any]:
    return {
        "ground": "He asks us to wait", "objector": "", "raised_by": "", "token": cast.token(),
        **signed(who), **changes,
    }  # fmt: skip


def test_anybody_records_an_objection_with_the_hold(
    case: Case, clerk: StaffMember, operator: StaffMember
) -> None:
    cast.bring(case, "in_care")
    son, letter = cast.says(case, clerk, "Ben Example", ""), cast.paper(case, "other")
    client = browser(operator)
    page = text_of(client, url("hold", case))
    assert "Yes: Ben Example (son)" in page
    assert "MCA 37-19-907" in page
    sent = opening(operator, objector=son.pk, document=letter.pk)
    assert client.post(url("hold", case), sent).status_code == 302
    hold = case.holds.get()
    assert (hold.kind, hold.holder, hold.document) == ("dispute", son, letter)
    assert son.statements.get().position == "objects"


def test_a_stranger_who_objects_is_named(case: Case, operator: StaffMember) -> None:
    client = browser(operator)
    answer = client.post(url("hold", case), opening(operator, objector="else"))
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "Say who objects" in page
    assert "He asks us to wait" in page
    sent = opening(operator, objector="else", raised_by="A man who gave no name")
    assert client.post(url("hold", case), sent).status_code == 302
    assert case.holds.get().raised_by == "A man who gave no name"


def test_the_holds_own_page_says_what_happened_and_who_knows(
    dispute: Hold, clerk: StaffMember
) -> None:
    client, address = browser(clerk), url("held", dispute.case, dispute.pk)
    page = text_of(client, address)
    for words in (
        "Ben Example (son) objects to the cremation.",
        "somebody objects",
        "Not told yet",
        "Where persons with the right disagree, a district court decides.",
        "A manager lifts this hold.",
        "The person stays in care",
    ):
        assert words in page
    sent = {
        "told": ["Example Funeral Home"], "others": "Sheriff Example\n\nMary Example",
        "how": "by telephone", "told_at": "2024-03-05T10:00", "token": cast.token(),
    }  # fmt: skip
    answer = client.post(address, sent)
    assert answer.headers["Location"] == address
    assert set(dispute.notices.values_list("told", flat=True)) == {
        "Example Funeral Home", "Sheriff Example", "Mary Example",
    }  # fmt: skip
    page = text_of(client, address)
    assert "5 Mar 2024 10:00" in page
    assert page.count('name="told"') == 1  # Ben Example alone has not heard yet
    answer = client.post(address, sent)
    assert answer.headers["Location"] == address
    assert dispute.notices.count() == 3


def test_telling_keeps_what_was_typed(dispute: Hold, clerk: StaffMember) -> None:
    address = url("held", dispute.case, dispute.pk)
    for change, words in (
        ({"others": ""}, "Say who was told."),
        ({"told_at": "2090-01-01T10:00"}, "lies in the future"),
        ({"others": "x" * 301}, "A name is at most"),
    ):
        sent = {
            "others": "Mary Example", "how": "by a letter of mine", "told_at": "2024-03-05T10:00",
            "token": cast.token(), **change,
        }  # fmt: skip
        answer = browser(clerk).post(address, sent)
        assert answer.status_code == 422
        assert words in answer.content.decode()
        assert "by a letter of mine" in answer.content.decode()


def lifting(who: StaffMember, **changes: Any) -> dict[str, Any]:
    return {
        "on": "order",
        "reason": "It is decided",
        "token": cast.token(),
        **signed(who),
        **changes,
    }


def test_a_manager_lifts_a_dispute_with_its_paper(
    dispute: Hold, manager: StaffMember, clerk: StaffMember
) -> None:
    client, address = browser(manager), url("lift", dispute.case, dispute.pk)
    page = text_of(client, address)
    assert "the order of the court is on file as a court order" in page
    assert 'value="cleared"' not in page
    answer = client.post(address, lifting(manager))
    assert answer.status_code == 422
    assert "file it first" in answer.content.decode()
    assert "It is decided" in answer.content.decode()
    order = cast.paper(dispute.case, "court_order")
    refused = client.post(address, lifting(clerk, document=order.pk))
    assert refused.status_code == 403
    assert client.post(address, lifting(manager, document=order.pk)).status_code == 302
    page = text_of(client, url("held", dispute.case, dispute.pk))
    for words in ("A hold that was lifted", "order of a court", "It is decided", "Mabel Manager"):
        assert words in page
    page = text_of(client, url("case", dispute.case))
    assert "Holds that were lifted" in page
    assert url("held", dispute.case, dispute.pk) in page


def test_a_mistake_is_signed_by_two(
    dispute: Hold, manager: StaffMember, clerk: StaffMember
) -> None:
    client, address = browser(manager), url("lift", dispute.case, dispute.pk)
    alone = client.post(address, lifting(manager, on="mistake"))
    assert alone.status_code == 422
    assert "A second person signs" in alone.content.decode()
    both = lifting(manager, on="mistake", **signed(clerk, "witness"))
    assert client.post(address, both).status_code == 302


def test_the_pages_of_a_hold_of_another_case_are_not_there(
    dispute: Hold, facility: Facility, manager: StaffMember
) -> None:
    other = cast.make_case(facility)
    for name in ("held", "lift"):
        assert browser(manager).get(url(name, other, dispute.pk)).status_code == 404


def test_the_case_says_what_is_done_meanwhile_and_who_does_not_know(
    dispute: Hold, clerk: StaffMember
) -> None:
    page = text_of(browser(clerk), url("case", dispute.case))
    assert "Until the hold is lifted:" in page
    assert "Not told yet: <bdi>Example Funeral Home</bdi>, <bdi>Ben Example</bdi>." in page
    assert url("held", dispute.case, dispute.pk) in page


def test_the_machine_says_what_the_operator_does_meanwhile(
    case: Case, clerk: StaffMember, operator: StaffMember
) -> None:
    cast.bring(case, "in_retort")
    cast.says(case, clerk, "Ben Example", "objects")
    page = text_of(browser(operator), reverse("machine", args=["retort-1"]))
    assert "The machine finishes this run" in page
    page = text_of(browser(clerk), url("case", case))
    assert "the cremation cannot be stopped any more" in page
    page = text_of(browser(clerk), url("held", case, case.holds.get().pk))
    assert "It came after the charge" in page


def test_today_says_who_knows_and_asks_no_more_for_more_holds(
    dispute: Hold, client: Client, clerk: StaffMember, facility: Facility
) -> None:
    client.force_login(clerk)
    page = text_of(client, reverse("today"))
    assert "Not told yet:" in page
    assert url("held", dispute.case, dispute.pk) in page

    def queries() -> int:
        caches["parts"].clear()
        with CaptureQueriesContext(connection) as asked:
            text_of(client, reverse("today"))
        return len(asked)

    few = queries()
    for _ in range(3):
        case = cast.bring(cast.make_case(facility), "in_care")
        cast.says(case, clerk, "Ben Example", "objects")
        cast.says(case, clerk, "Cleo Example", "objects", relationship="daughter")
        hold_acts.tell(
            case.holds.all()[0], clerk, cast.token(), ["Ben Example"], "letter", case.stage_since
        )
    assert queries() == few


def test_the_trail_tells_it_in_words(
    dispute: Hold, clerk: StaffMember, manager: StaffMember
) -> None:
    order = cast.paper(dispute.case, "court_order")
    hold_acts.tell(dispute, clerk, cast.token(), ["Ben Example"], "by letter", dispute.opened_at)
    reading = hold_acts.Lifting(on="order", reason="It is decided", document=order)
    hold_acts.lift_hold(dispute, cast.signature(manager), cast.token(), reading)
    entries = trail_paper.facts(dispute.case)["entries"]
    told = {e["act"]: {f["label"]: f["value"] for f in e["facts"]} for e in entries}
    assert told["Put on hold"]["kind of hold"] == "somebody objects"
    assert told["Put on hold"]["raised by"] == "Ben Example"
    assert told["Hold lifted"]["lifted on"] == "order of a court"
    assert told["Hold lifted"]["paper it rests on"] == "court order"
    assert told["Hold lifted"]["reason of the lifting"] == "It is decided"
    assert told["Hold lifted"]["confirmed"] == "objection is settled"
    assert told["Told of a hold"]["how they were told"] == "by letter"
    page = text_of(browser(clerk), url("trail", dispute.case))
    for words in (
        "Put on hold", "somebody objects", "Told of a hold", "by letter", "Hold lifted",
        "order of a court", "objection is settled",
    ):  # fmt: skip
        assert words in page
