"""The form of the permit: filled in from a published text, stated by a manager."""

import pytest
from django.test import Client

from chain_of_custody.models import CustodyEntry
from crematory.models import Facility, StaffMember
from retort_log.models import PermitToOperate
from retort_log.permit_profiles import codes, profile
from retort_log.permit_rules import Mark
from retort_log.permits import rules_of
from tests import cast

pytestmark = pytest.mark.django_db


def page(member: StaffMember) -> Client:
    client = Client()
    client.force_login(member)
    return client


def filled(client: Client, permit: PermitToOperate, chosen: str = "") -> dict[str, str]:
    """Return what stands in the form, as a browser would send it."""
    form = client.get(f"/house/permits/{permit.pk}/?profile={chosen}").context["form"]
    sent = {field.html_name: field.value() for field in form}
    return {name: str(value) for name, value in sent.items() if value not in (None, False, "")}


def send(client: Client, permit: PermitToOperate, sent: dict[str, str], chosen: str = "") -> str:
    address = f"/house/permits/{permit.pk}/?profile={chosen}"
    response = client.post(address, sent)
    return "" if response.status_code == 302 else response.content.decode()


@pytest.mark.parametrize("code", codes())
def test_every_published_text_fills_the_form_in_and_keeps_its_sources(
    permit: PermitToOperate, manager: StaffMember, code: str
) -> None:
    client = page(manager)
    sent = filled(client, permit, code) | {"own_pin": cast.pin_of(manager), "source": "Permit 7"}
    assert send(client, permit, sent, code) == ""
    permit.refresh_from_db()
    stated, published = rules_of(permit), profile(code)
    for name in ("secondary_minimum", "residence", "opacity", "concentrations", "averaging"):
        assert getattr(stated, name) == getattr(published, name), name


def test_what_the_house_changes_counts_as_read_by_the_house(
    permit: PermitToOperate, manager: StaffMember
) -> None:
    client = page(manager)
    sent = filled(client, permit, "us-ny-2020") | {
        "own_pin": cast.pin_of(manager),
        "secondary_minimum_value": "1650",
        "recording_interval_value": "5",
        "recording_interval_unit": "minute",
        "recording_interval_citation": "condition 9",
    }
    assert send(client, permit, sent, "us-ny-2020") == ""
    permit.refresh_from_db()
    rules = rules_of(permit)
    assert rules.secondary_minimum is not None
    assert (rules.secondary_minimum.value, rules.secondary_minimum.mark) == (1650, Mark.HOUSE)
    assert rules.residence is not None
    assert rules.residence.mark is Mark.FOUND
    assert permit.recording_interval_min == 5


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"own_pin": cast.WRONG_PIN}, "PIN"),
        ({"secondary_minimum_value": "1600 F"}, "is no number"),
        ({"secondary_minimum_value": "1600", "secondary_minimum_unit": "degC"}, "unit right"),
        ({"averaging": "time", "averaging_min": ""}, "averaging, minutes"),
        ({"hours_from": "07:00"}, "hours"),
        ({"charging_value": ""}, "may be charged"),
    ],
)
def test_refused_in_words_with_what_was_typed(
    permit: PermitToOperate, manager: StaffMember, given: dict[str, str], words: str
) -> None:
    client = page(manager)
    sent = filled(client, permit, "us-ny-2020") | {"own_pin": cast.pin_of(manager)}
    text = send(client, permit, sent | {"number": "TYPED-7"} | given, "us-ny-2020")
    assert words in text
    assert "TYPED-7" in text
    permit.refresh_from_db()
    assert permit.terms == {}


def test_only_a_manager_of_the_house(
    permit: PermitToOperate, operator: StaffMember, other_facility: Facility
) -> None:
    assert page(operator).get(f"/house/permits/{permit.pk}/").status_code == 403
    stranger = cast.member(other_facility, cast.MANAGER)
    assert page(stranger).get(f"/house/permits/{permit.pk}/").status_code == 404
    assert not CustodyEntry.objects.filter(act="permit").exists()
