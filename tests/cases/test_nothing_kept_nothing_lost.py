"""No copy of a page is kept outside, and nothing that was typed is lost."""

import pytest
from django.core.checks import run_checks
from django.test import Client
from django.urls import reverse
from pytest_django import Settings

from cases.papers import KINDS, print_for
from chain_of_custody.models import CustodyEntry
from chain_of_custody.press import PrintRefused
from crematory.models import Facility, StaffMember
from tests import cast
from tests.cases.pages import browser, url

pytestmark = pytest.mark.django_db

WORDS = "the daughter asked to wait"


def strict_browser(member: StaffMember) -> Client:
    """Return a signed-in client whose forms need their CSRF token, as a browser's do."""
    client = Client(enforce_csrf_checks=True)
    client.force_login(member)
    return client


def hold(**more: str) -> dict[str, str]:
    return {"ground": WORDS, "token": "t-1", "signer_code": "QVC2", "signer_pin": "123456", **more}


@pytest.mark.parametrize("name", ["today", "cases:list", "places", "house", "machines"])
def test_no_page_is_stored_on_its_way(as_clerk: Client, name: str) -> None:
    assert "no-store" in as_clerk.get(reverse(name)).headers["Cache-Control"]


def test_answers_that_are_no_pages_are_not_stored_either(as_clerk: Client) -> None:
    for address in ("/no-such-page/", reverse("cases:export")):
        assert "no-store" in as_clerk.get(address).headers["Cache-Control"]


def test_static_files_may_be_kept(client: Client, settings: Settings) -> None:
    settings.WHITENOISE_USE_FINDERS = True
    response = client.get("/static/house.css")
    assert response.status_code == 200
    assert "no-store" not in response.headers["Cache-Control"]
    response.close()


def test_a_form_with_an_old_token_loses_nothing(clerk: StaffMember) -> None:
    case, client = cast.make_case(clerk.facility), strict_browser(clerk)
    response = client.post(url("hold", case), hold())
    assert response.status_code == 403
    page = response.content.decode()
    assert "What you had typed is kept" in page
    assert f'href="{url("hold", case)}"' in page
    again = client.get(url("hold", case)).content.decode()
    assert WORDS in again
    assert "QVC2" in again
    assert "123456" not in again
    assert not CustodyEntry.objects.filter(act="open_hold").exists()


@pytest.mark.parametrize("is_signed_in", [True, False])
def test_what_another_site_sent_is_not_shown_as_typed_here(
    clerk: StaffMember, is_signed_in: bool
) -> None:
    case = cast.make_case(clerk.facility)
    client = strict_browser(clerk) if is_signed_in else Client(enforce_csrf_checks=True)
    client.post(url("hold", case), hold(), headers={"Origin": "https://example.org"})
    client.force_login(clerk)
    assert WORDS not in client.get(url("hold", case)).content.decode()


def test_a_failed_sign_in_form_keeps_nothing(client: Client) -> None:
    strict = Client(enforce_csrf_checks=True)
    page = strict.post(reverse("login"), {"username": "QVC1", "password": cast.PASSWORD})
    assert page.status_code == 403
    assert "is kept" not in page.content.decode()


def test_a_member_half_added_outlives_the_session(manager: StaffMember) -> None:
    client = Client()
    sent = {
        "staff_code": "QVN1",
        "printed_name": "Nora New",
        "roles": ["front_office", "operator"],
        "password": "quiet river under stones",
        "own_pin": "240613",
    }
    client.post(reverse("member-add"), sent)
    client.force_login(manager)
    page = client.get(reverse("member-add")).content.decode()
    assert "Nora New" in page
    assert page.count("checked") == 2
    assert "quiet river" not in page


def test_the_code_of_the_member_signed_in_is_filled_in_and_no_pin(clerk: StaffMember) -> None:
    case = cast.make_case(clerk.facility)
    client = browser(clerk)
    page = client.get(url("step", case, "receive")).content.decode()
    assert page.count('value="QVC1"') == 1
    assert 'name="witness_code" value' not in page
    sent = client.post(url("hold", case), hold(signer_code="QVC2"))
    assert 'value="QVC2"' in sent.content.decode()


def test_a_refused_printing_is_recorded(facility: Facility, clerk: StaffMember) -> None:
    case = cast.make_case(facility)
    with pytest.raises(PrintRefused):
        print_for(case, KINDS["certificate"], clerk)
    entry = CustodyEntry.objects.get(act="print")
    assert (entry.outcome, entry.case, entry.signed_by) == ("refused", case, clerk)
    assert '"kind":"certificate","reasons":["stage"]' in entry.payload


def test_a_facility_without_rules_is_found_by_a_check(facility: Facility) -> None:
    assert "cases.E001" not in {m.id for m in run_checks(databases=["default"])}
    Facility.objects.filter(pk=facility.pk).update(jurisdiction="xx-nowhere")
    found = [m for m in run_checks(databases=["default"]) if m.id == "cases.E001"]
    assert "xx-nowhere" in str(found)
    assert "us-mt" in str(found)
