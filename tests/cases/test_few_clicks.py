"""What spares a clerk clicks and keys, and what it must not do by itself."""

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from cases.models import AuthorizingAgent, Case, Recipient
from chain_of_custody.models import CustodyEntry
from crematory.models import Facility, StaffMember
from tests import cast
from tests.cases.pages import browser, url

pytestmark = pytest.mark.django_db
DAUGHTER = {
    "name": "Vera Oldmeadow",
    "relation": "child/daughter",
    "position": "signed",
    "how": "in person",
    "way": AuthorizingAgent.Form.PAPER.value,
    "nobody_before": "on",
    "whole_class": "on",
}


@pytest.fixture
def here(facility: Facility) -> Case:
    return cast.bring(cast.make_case(facility), "in_care")


def text(client: Client, address: str) -> str:
    return client.get(address).content.decode()


def names(case: Case, who: StaffMember, **more: Any) -> Any:
    data = {"token": cast.token(), **DAUGHTER, **more}
    return browser(who).post(url("agents", case), data, follow=True)


def test_who_signs_is_named_as_recipient_only_if_it_is_ticked(
    here: Case, clerk: StaffMember
) -> None:
    names(here, clerk)
    assert not here.recipients.exists()
    names(here, clerk, name="Bertram Oldmeadow", relation="child/son", receives="on")
    named = here.recipients.get()
    assert (named.name, named.relationship) == ("Bertram Oldmeadow", "son")
    acts = CustodyEntry.objects.filter(case=here, outcome="done").order_by("sequence")
    assert [entry.act for entry in acts][-2:] == ["name_holder", "name_recipient"]


def test_sent_twice_it_names_one_recipient(here: Case, clerk: StaffMember) -> None:
    token = cast.token()
    for _ in range(2):
        names(here, clerk, token=token, receives="on")
    assert here.recipients.count() == 1
    assert here.right_holders.count() == 1


def test_nobody_is_named_as_recipient_twice(here: Case, clerk: StaffMember) -> None:
    Recipient.objects.create(case=here, name="VERA OLDMEADOW", relationship="daughter")
    names(here, clerk, receives="on")
    assert here.recipients.count() == 1


def test_after_the_authorization_only_a_manager_is_offered_it(
    facility: Facility, clerk: StaffMember
) -> None:
    case = cast.bring(cast.make_case(facility), "authorized")
    manager = cast.member(facility, cast.MANAGER)
    assert 'name="receives"' not in text(browser(clerk), url("agents", case))
    assert 'name="receives"' in text(browser(manager), url("agents", case))
    before = case.recipients.count()
    names(case, clerk, name="Nora Niece", relation="next_of_kin/niece", receives="on")
    assert case.recipients.count() == before


def test_the_page_of_the_right_leads_on_to_what_is_left(here: Case, clerk: StaffMember) -> None:
    client = browser(clerk)
    assert "Name who receives the remains" not in text(client, url("agents", here))
    assert "Name who receives the remains" in names(here, clerk).content.decode()
    Recipient.objects.create(case=here, name="Vera Oldmeadow", relationship="daughter")
    left = text(client, url("agents", here))
    assert "Answer the open questions of the authorization" in left
    data = {"token": cast.token(), "is_death_reportable": "False", "disposition": "hand_over"}
    client.post(url("settle", here), data)
    left = text(client, url("agents", here))
    assert "Answer the open questions of the authorization" not in left


def test_the_firm_of_the_driver_is_the_sender_until_another_is_written(
    facility: Facility, clerk: StaffMember
) -> None:
    case = cast.make_case(facility, sender="Harrow & Vale")
    page = text(browser(clerk), url("step", case, "receive"))
    assert 'value="Harrow &amp; Vale"' in page
    assert "where another firm brings the person" in page


@pytest.mark.parametrize(
    ("name", "field"), [("recipients", "name"), ("settle", "is_death_reportable")]
)
def test_the_cursor_stands_in_the_first_field(
    here: Case, clerk: StaffMember, name: str, field: str
) -> None:
    assert cursor_in(text(browser(clerk), url(name, here))) == field


def test_the_cursor_stands_in_the_name_of_who_is_announced(clerk: StaffMember) -> None:
    assert cursor_in(text(browser(clerk), reverse("cases:announce"))) == "decedent_name"


def cursor_in(page: str) -> str:
    """Return the name of the field that the page opens with."""
    main = page[page.index("<main") :]
    at = main.index("autofocus")
    tag = main[main.rindex("<", 0, at) : main.index(">", at)]
    return tag.split('name="')[1].split('"')[0]
