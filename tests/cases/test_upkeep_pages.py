"""The pages of upkeep: who sees, who records, who says what is due."""

from datetime import timedelta

import pytest
from django.test import Client
from pytest_django import DjangoAssertNumQueries

from crematory import clock
from crematory.models import Facility, StaffMember
from retort_log.models import Retort, UpkeepDone, UpkeepRule
from retort_log.upkeep import Asked, Done, ask, record_done
from retort_log.upkeep_due import Every
from tests import cast

pytestmark = pytest.mark.django_db


def page(member: StaffMember) -> Client:
    client = Client()
    client.force_login(member)
    return client


def address(retort: Retort, act: str) -> str:
    return f"/upkeep/{retort.place.code}/{act}/"


def stated(**given: str) -> dict[str, str]:
    at = (clock.now() - timedelta(days=1)).strftime("%Y-%m-%dT%H:%M")
    return {"kind": "inspection", "done_at": at, "done_by": "A. Fitter", "passed": "yes", **given}


def test_a_manager_says_what_is_due_and_an_operator_records_it(
    retort: Retort, manager: StaffMember, operator: StaffMember
) -> None:
    due = {"kind": "inspection", "every_days": "30", "blocks": "on", "source": "house rule"}
    pin = {"own_pin": cast.pin_of(manager)}
    assert page(manager).post(address(retort, "due"), due | pin).status_code == 302
    assert "Overdue" in page(operator).get("/upkeep/").content.decode()
    sent = stated(own_pin=cast.pin_of(operator))
    assert page(operator).post(address(retort, "record"), sent).status_code == 302
    text = page(operator).get("/upkeep/").content.decode()
    assert "In time" in text
    assert "A. Fitter" in text
    assert UpkeepDone.objects.get().recorded_by == operator


def test_an_empty_rule_is_taken_back(retort: Retort, manager: StaffMember) -> None:
    ask(retort, cast.signature(manager), Asked("burner", Every(days=9), "house"))
    sent = {"kind": "burner", "own_pin": cast.pin_of(manager)}
    assert page(manager).post(address(retort, "due"), sent).status_code == 302
    assert not UpkeepRule.objects.get().is_in_force


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"own_pin": cast.WRONG_PIN}, "PIN"),
        ({"passed": "no"}, "Say what was found"),
        ({"done_by": ""}, "required"),
        ({"done_at": "2099-01-01T10:00"}, "future"),
    ],
)
def test_refused_in_words_with_what_was_typed(
    retort: Retort, operator: StaffMember, given: dict[str, str], words: str
) -> None:
    sent = stated(**{"own_pin": cast.pin_of(operator), "note": "", "subject": "north", **given})
    response = page(operator).post(address(retort, "record"), sent)
    assert response.status_code == 422
    text = response.content.decode()
    assert words in text
    assert "north" in text
    assert not UpkeepDone.objects.exists()


@pytest.mark.parametrize(
    ("key", "act", "status"),
    [
        (cast.CLERK, "record", 403),
        (cast.CLERK, "due", 403),
        (cast.OPERATOR, "due", 403),
        (cast.OPERATOR, "record", 200),
        (cast.MANAGER, "due", 200),
    ],
)
def test_who_may(facility: Facility, retort: Retort, key: str, act: str, status: int) -> None:
    client = page(cast.member(facility, key))
    assert client.get("/upkeep/").status_code == 200
    assert client.get(address(retort, act)).status_code == status


def test_another_house_is_not_there(other_facility: Facility, operator: StaffMember) -> None:
    other = Retort.objects.filter(facility=other_facility)[0]
    place = other.place
    place.code = "elsewhere"
    place.save()
    assert page(operator).get("/upkeep/elsewhere/record/").status_code == 404


def test_as_many_queries_for_many_rules(
    facility: Facility,
    operator: StaffMember,
    manager: StaffMember,
    django_assert_max_num_queries: DjangoAssertNumQueries,
) -> None:
    signed, client = cast.signature(manager), page(operator)
    for retort in Retort.objects.filter(facility=facility):
        for kind in ("inspection", "lining", "burner", "hearth", "thermocouple"):
            ask(retort, signed, Asked(kind, Every(days=9, cycles=5), "house"))
            record_done(retort, signed, Done(kind, clock.now(), "Firm"))
    client.get("/upkeep/")
    with django_assert_max_num_queries(10):
        assert "In time" in client.get("/upkeep/").content.decode()
