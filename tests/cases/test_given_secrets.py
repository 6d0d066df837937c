"""What a manager gave signs and opens nothing until its owner has chosen an own one."""

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from cases import acts, staffing
from cases.errors import ActRefused
from chain_of_custody.models import CustodyEntry
from crematory import tries
from crematory.models import Role, StaffMember
from crematory.signatures import SignatureRefused, sign
from tests import cast
from tests.cases.pages import browser, signed, url

pytestmark = pytest.mark.django_db

GIVEN, OWN = "quiet river under stones", "a lantern on the far hill"
GIVEN_PIN, OWN_PIN = "271828", "314159"


def signing_in(member: StaffMember, password: str) -> Client:
    client = Client()
    client.post(reverse("login"), {"username": member.staff_code, "password": password})
    return client


def choice(**changed: str) -> dict[str, str]:
    """Return what a member with a given password and PIN types."""
    return {
        "current": GIVEN,
        "password": OWN,
        "password_again": OWN,
        "own_pin": GIVEN_PIN,
        "pin": OWN_PIN,
        "pin_again": OWN_PIN,
        **changed,
    }


@pytest.fixture
def new(manager: StaffMember) -> StaffMember:
    """A member whom the manager has just added."""
    return staffing.add(
        cast.signature(manager),
        staffing.NewMember(
            staff_code="QVN1",
            printed_name="Nora New",
            roles=frozenset({Role.FRONT_OFFICE}),
            password=GIVEN,
            pin=GIVEN_PIN,
        ),
    )


def test_the_cast_owns_its_secrets(clerk: StaffMember) -> None:
    assert (clerk.pin_is_given, clerk.password_is_given) == (False, False)


def test_a_given_pin_signs_nothing_but_the_choice_of_an_own_one(
    clerk: StaffMember, manager: StaffMember
) -> None:
    staffing.give_pin(cast.signature(manager), clerk, GIVEN_PIN)
    with pytest.raises(SignatureRefused, match="given to you by a manager") as caught:
        sign(clerk.facility, clerk.staff_code, GIVEN_PIN)
    assert caught.value.code == "pin_given"
    client = browser(clerk)
    same = {"own_pin": GIVEN_PIN, "pin": GIVEN_PIN, "pin_again": GIVEN_PIN}
    assert client.post(reverse("my-pin"), same).status_code == 422
    sent = {"own_pin": GIVEN_PIN, "pin": OWN_PIN, "pin_again": OWN_PIN}
    assert client.post(reverse("my-pin"), sent).status_code == 302
    assert sign(clerk.facility, clerk.staff_code, OWN_PIN)


def test_a_step_signed_with_a_given_pin_is_refused_and_recorded(
    clerk: StaffMember, manager: StaffMember
) -> None:
    case = cast.make_case(clerk.facility)
    staffing.give_pin(cast.signature(manager), clerk, GIVEN_PIN)
    data = {"ground": "call first", "token": cast.token(), **signed(clerk, pin=GIVEN_PIN)}
    response = browser(clerk).post(url("hold", case), data)
    assert response.status_code == 403
    assert "given to you by a manager" in response.content.decode()
    entry = CustodyEntry.objects.get(case=case, act="open_hold")
    assert (entry.outcome, "pin_given" in entry.payload) == ("refused", True)


def test_a_manager_who_renews_the_own_secrets_owns_them(manager: StaffMember) -> None:
    staffing.give_pin(cast.signature(manager), manager, OWN_PIN)
    signature = sign(manager.facility, manager.staff_code, OWN_PIN)
    staffing.give_password(signature, manager, OWN)
    manager.refresh_from_db()
    assert not manager.password_is_given


@pytest.mark.parametrize("page", ["today", "house", "cases:list", "cases:announce", "my-pin"])
def test_a_given_password_opens_no_page_but_the_one_for_an_own_one(
    new: StaffMember, page: str
) -> None:
    client = signing_in(new, GIVEN)
    response = client.get(reverse(page))
    assert response.status_code == 302
    assert response.headers["Location"].startswith(reverse("my-password"))
    assert client.get(response.headers["Location"]).status_code == 200


def test_a_given_password_does_nothing_either(new: StaffMember) -> None:
    client = signing_in(new, GIVEN)
    sent = {
        "decedent_name": "Ada Example",
        "died_at": "2024-03-01T10:00",
        "sender": "Somebody",
        "token": cast.token(),
    }
    assert client.post(reverse("cases:announce"), sent).status_code == 302
    assert not CustodyEntry.objects.filter(act="announce").exists()
    assert client.post(reverse("my-password"), choice()).headers["Location"] == reverse(
        "cases:announce"
    )
    assert "Ada Example" in client.get(reverse("cases:announce")).content.decode()


def test_news_asked_by_a_page_reload_it(new: StaffMember) -> None:
    response = signing_in(new, GIVEN).get(reverse("today"), headers={"HX-Request": "true"})
    assert response.headers["HX-Refresh"] == "true"


def test_a_new_member_chooses_both_and_then_works(new: StaffMember) -> None:
    client = signing_in(new, GIVEN)
    address = client.get(reverse("places")).headers["Location"]
    assert client.post(address, choice()).headers["Location"] == reverse("places")
    assert client.get(reverse("places")).status_code == 200
    assert sign(new.facility, new.staff_code, OWN_PIN)
    new.refresh_from_db()
    assert new.check_password(OWN)
    done = CustodyEntry.objects.filter(outcome="done", signed_by=new).order_by("sequence")
    assert [entry.act for entry in done] == ["staff.change_own_password", "staff.change_own_pin"]
    assert OWN not in done[0].payload


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"current": "not this"}, "not your current password"),
        ({"password": GIVEN, "password_again": GIVEN}, "the password that you have"),
        ({"password_again": "another one entirely"}, "do not agree"),
        ({"password": "short", "password_again": "short"}, "too short"),
        ({"own_pin": "999000"}, "do not match"),
        ({"pin": GIVEN_PIN, "pin_again": GIVEN_PIN}, "the PIN that you have"),
        ({"pin": "111111", "pin_again": "111111"}, "three different digits"),
        ({"pin": ""}, "required"),
    ],
)
def test_what_stands_against_the_choice_is_said_and_nothing_is_changed(
    new: StaffMember, changed: dict[str, str], said: str
) -> None:
    client = signing_in(new, GIVEN)
    response = client.post(reverse("my-password"), choice(**changed))
    assert response.status_code == 422
    assert said in response.content.decode()
    assert not CustodyEntry.objects.filter(outcome="done", signed_by=new).exists()
    new.refresh_from_db()
    assert (new.password_is_given, new.pin_is_given) == (True, True)
    assert new.check_password(GIVEN)


def test_changing_the_own_password_ends_the_other_sessions_only(clerk: StaffMember) -> None:
    here, elsewhere = (signing_in(clerk, cast.PASSWORD) for _ in range(2))
    assert "own_pin" not in here.get(reverse("my-password")).content.decode()
    sent = {"current": cast.PASSWORD, "password": OWN, "password_again": OWN}
    assert here.post(reverse("my-password"), sent).headers["Location"] == reverse("house")
    assert here.get(reverse("today")).status_code == 200
    assert elsewhere.get(reverse("today")).status_code == 302
    entry = CustodyEntry.objects.get(act="staff.change_own_password")
    assert (entry.signed_by, '"signature":"session"' in entry.payload) == (clerk, True)


def test_the_current_password_cannot_be_guessed_in_an_open_session(clerk: StaffMember) -> None:
    client = browser(clerk)
    sent = {"current": "wrong", "password": OWN, "password_again": OWN}
    for _ in range(tries.MAX_FAILURES):
        assert client.post(reverse("my-password"), sent).status_code == 422
    page = client.post(reverse("my-password"), {**sent, "current": cast.PASSWORD})
    assert "locked for up to 15 minutes" in page.content.decode()
    refused = CustodyEntry.objects.filter(act="staff.change_own_password", outcome="refused")
    assert refused.count() == tries.MAX_FAILURES + 1


@pytest.mark.parametrize("wanted", ["https://example.org/", "//example.org/"])
def test_the_way_on_never_leads_to_another_site(new: StaffMember, wanted: str) -> None:
    client = signing_in(new, GIVEN)
    response = client.post(f"{reverse('my-password')}?next={wanted}", choice())
    assert response.headers["Location"] == reverse("house")


def test_all_that_stands_against_a_new_member_is_said_at_once(as_manager: Client) -> None:
    sent: dict[str, Any] = {
        "staff_code": "QVC1",
        "printed_name": "",
        "roles": [],
        "password": "short",
        "pin": "111111",
        "own_pin": cast.PINS["M1"],
    }
    page = as_manager.post(reverse("member-add"), sent).content.decode()
    for said in ("already exists", "required", "too short", "three different digits"):
        assert said in page


def test_refused_acts_about_the_staff_are_recorded(
    clerk: StaffMember, manager: StaffMember
) -> None:
    with pytest.raises(ActRefused):
        staffing.give_pin(cast.signature(clerk), manager, GIVEN_PIN)
    entry = CustodyEntry.objects.get()
    assert (entry.act, entry.outcome, entry.signed_by) == ("staff.give_pin", "refused", clerk)
    assert '"member":"QVM1","reasons":["role"]' in entry.payload


def test_the_code_of_another_house_stays_out_of_this_trail(
    manager: StaffMember, other_operator: StaffMember
) -> None:
    with pytest.raises(ActRefused):
        staffing.give_pin(cast.signature(manager), other_operator, GIVEN_PIN)
    entry = CustodyEntry.objects.get()
    assert entry.facility == manager.facility
    assert other_operator.staff_code not in entry.payload


def test_a_wrong_pin_under_an_act_about_the_staff_is_recorded(as_manager: Client) -> None:
    sent = {"own_pin": cast.WRONG_PIN, "pin": OWN_PIN, "pin_again": OWN_PIN}
    as_manager.post(reverse("my-pin"), sent)
    entry = CustodyEntry.objects.get()
    assert (entry.act, "signature_wrong" in entry.payload) == ("staff.change_own_pin", True)
    assert cast.WRONG_PIN not in entry.payload


def test_a_refused_announcement_is_recorded(operator: StaffMember) -> None:
    with pytest.raises(ActRefused):
        acts.announce(
            operator.facility,
            operator,
            cast.token(),
            decedent_name="Ada Example",
            died_at=cast.START,
            sender="Somebody",
        )
    entry = CustodyEntry.objects.get()
    assert (entry.act, entry.outcome, entry.case) == ("announce", "refused", None)
    assert "Ada" not in entry.payload
