"""What a house asks beyond the law: added and taken back by a manager, never less than the law."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import Error, transaction
from django.test import Client
from django.urls import reverse

from cases import house_rules, law
from cases.errors import ActRefused
from cases.house_rules import Answered, add, take_back
from cases.models import Case, RulesVersion
from chain_of_custody.models import CustodyEntry
from crematory import clock
from crematory.models import Facility
from tests import cast
from tests.attempts import before, refusal

pytestmark = pytest.mark.django_db


def manager(facility: Facility) -> cast.Signature:
    return cast.signature(cast.member(facility, cast.MANAGER))


def fresh(case: Case) -> Case:
    return Case.objects.select_related("facility").get(pk=case.pk)


def test_a_manager_asks_more_and_the_trail_says_so(case: Case) -> None:
    entry = add(manager(case.facility), "t", "wait.hours", 48)
    assert fresh(case).law.wait_hours == 48
    assert '"new":"48"' in entry.payload
    assert '"old":""' in entry.payload
    assert '"path":"wait.hours"' in entry.payload
    add(manager(case.facility), "u", "wait.hours", 36)  # less than before, more than the law
    assert fresh(case).law.wait_hours == 36


@pytest.mark.parametrize("hours", [12, 0])
def test_a_law_that_became_stricter_stands_in_place_of_the_house_rule(
    hours: int, client: Client
) -> None:
    """The law file asks 24 h now; the fewer hours were stored under an older one."""
    stored = {"wait.hours": hours, "document.add": ["court_order"]}
    case = cast.make_case(cast.make_facility("WT", jurisdiction="us-mt", added_rules=stored))
    assert fresh(case).law.wait_hours == 24
    client.force_login(cast.member(case.facility, cast.MANAGER))
    page = client.get(reverse("house-rules")).content.decode()
    assert page.count("The law now asks more itself.") == 1
    add(manager(case.facility), "t", "medical_clearance.rule", "always")
    take_back(manager(case.facility), "u", "document.add")
    take_back(manager(case.facility), "v", "wait.hours")
    assert fresh(case).facility.added_rules == {"medical_clearance.rule": "always"}


def test_what_is_wrong_in_another_way_is_still_refused() -> None:
    with pytest.raises(law.TighteningRefused):
        law.tightened("us-mt", {"wait.colour": 1})


def test_the_same_form_sent_twice_is_one_entry(case: Case) -> None:
    first = add(manager(case.facility), "t", "wait.hours", 48)
    assert add(manager(case.facility), "t", "wait.hours", 48) == first


def test_less_than_the_law_is_refused_with_what_the_law_asks(case: Case) -> None:
    with pytest.raises(ActRefused) as refused:
        add(manager(case.facility), "t", "wait.hours", 12)
    assert refused.value.code == "loosening"
    assert "Montana asks 24 h (MCA 37-19-705(2)" in refused.value.text
    assert "a house may ask more, never less" in refused.value.text
    assert CustodyEntry.objects.latest("pk").outcome == "refused"
    assert fresh(case).facility.added_rules == {}


def test_only_a_manager_changes_the_rules(case: Case) -> None:
    with pytest.raises(ActRefused, match="manager"):
        add(cast.signature(cast.member(case.facility, cast.CLERK)), "t", "wait.hours", 48)


def test_a_tightening_is_taken_back_down_to_the_law_and_recorded(case: Case) -> None:
    add(manager(case.facility), "t", "wait.hours", 48)
    entry = take_back(manager(case.facility), "u", "wait.hours")
    assert '"old":"48"' in entry.payload
    assert fresh(case).law == law.jurisdiction("us-mt")
    with pytest.raises(ActRefused, match="nothing more"):
        take_back(manager(case.facility), "v", "wait.hours")


def test_an_unknown_wait_takes_the_answer_of_the_authority() -> None:
    facility = cast.make_facility("ID", jurisdiction="us-id")
    case = before("charge", cast.make_case(facility))
    with pytest.raises(ActRefused, match="who of the local authority"):
        add(manager(facility), "t", "wait.hours", 24)
    said = Answered(by="County registrar, by letter", on=clock.now().date() - timedelta(days=1))
    entry = add(manager(facility), "u", "wait.hours", 24, said)
    assert "County registrar" not in entry.payload
    assert entry.sealed.get(key="answered_by").value == "County registrar, by letter"
    assert house_rules.standing(Facility.objects.get(pk=facility.pk))[0].answered_on == said.on
    cast.do("charge", case)
    assert case.judged_under is not None


def test_the_authority_may_answer_that_there_is_no_wait() -> None:
    facility = cast.make_facility("ID", jurisdiction="us-id")
    said = Answered(by="County registrar", on=clock.now().date())
    add(manager(facility), "u", "wait.hours", 0, said)
    rules = house_rules.rules_of(Facility.objects.get(pk=facility.pk))
    assert rules.wait_hours == 0
    with pytest.raises(law.TighteningRefused):
        law.tighten(law.jurisdiction("us-mt"), {"wait.hours": 0})


def test_more_papers_close_the_authorization(case: Case) -> None:
    case = before("authorize", case)
    add(manager(case.facility), "t", "document.add", ["identification"])
    refused = refusal("authorize", fresh(case))
    assert refused.codes == ["documents_on_file"]
    assert "record of positive identification" in refused.text


def test_the_case_keeps_the_rules_under_which_it_was_judged(case: Case) -> None:
    case = cast.bring(case, "in_retort")
    entry = CustodyEntry.objects.get(case=case, act="charge", outcome="done")
    assert case.judged_under is not None
    assert case.judged_under.digest == law.jurisdiction("us-mt").digest
    assert f'"judged_under":"{case.judged_under.digest}"' in entry.payload
    add(manager(case.facility), "t", "wait.hours", 48)
    assert fresh(case).law.wait_hours == 24  # judged before the house asked more
    assert RulesVersion.objects.count() == 1


def test_a_version_is_kept_once_a_digest(facility: Facility) -> None:
    for _ in range(2):
        cast.bring(cast.make_case(facility), "authorized")
    add(manager(facility), "t", "wait.hours", 48)
    cast.bring(cast.make_case(Facility.objects.get(pk=facility.pk)), "authorized")
    assert RulesVersion.objects.count() == 2


def test_the_database_refuses_another_version_and_other_rules(case: Case) -> None:
    case = cast.bring(case, "authorized")
    other = RulesVersion.objects.create(
        facility=case.facility, code="us-mt", digest="0" * 64, text="{}", kept_at=clock.now()
    )
    for change in (
        lambda: Case.objects.filter(pk=case.pk).update(judged_under=other),
        lambda: Case.objects.filter(pk=case.pk).update(judged_under=None),
        lambda: Case.objects.filter(pk=case.pk).update(jurisdiction="us-ks"),
        lambda: Facility.objects.update(added_rules={"wait.hours": 99}),
    ):
        with pytest.raises(Error), transaction.atomic():
            change()


def test_the_pages_list_change_and_take_back(case: Case, client: Client) -> None:
    client.force_login(cast.member(case.facility, cast.MANAGER))
    page = client.get(reverse("house-rules")).content.decode()
    assert "MCA 37-19-705(2)" in page
    assert law.CHECK_LOCALLY in page
    address = reverse("house-rule") + "?path=wait.hours"
    form = client.get(address).context["form"]
    sent = {"token": form.initial["token"], "path": "wait.hours", "own_pin": cast.PINS["M1"]}
    refused = client.post(reverse("house-rule"), sent | {"value": "12"})
    assert refused.status_code == 422
    assert "never less" in refused.content.decode()
    assert 'value="12"' in refused.content.decode()
    assert client.post(reverse("house-rule"), sent | {"value": "48"}).status_code == 302
    assert "48 h" in client.get(reverse("house")).content.decode()
    back = reverse("house-rule-back") + "?path=wait.hours"
    form = client.get(back).context["form"]
    sent["token"] = form.initial["token"]
    assert client.post(reverse("house-rule-back"), sent).status_code == 302
    assert Facility.objects.get(pk=case.facility_id).added_rules == {}


def leave_and_sign_in(client: Client, address: str, sent: dict[str, Any], key: str) -> str:
    """Send a form after the session ended, sign in again, and return the page one lands on."""
    client.logout()
    led = client.post(address, sent).headers["Location"]
    code = Facility.objects.get().case_prefix + key
    entered = client.post(led, {"username": code, "password": cast.PASSWORD}, follow=True)
    return entered.content.decode()


def test_what_was_typed_of_a_rule_outlives_the_session(case: Case, client: Client) -> None:
    client.force_login(cast.member(case.facility, cast.MANAGER))
    address = reverse("house-rule") + "?path=wait.hours"
    token = client.get(address).context["form"].initial["token"]
    sent = {"token": token, "path": "wait.hours", "value": "48", "own_pin": cast.PINS["M1"]}
    page = leave_and_sign_in(client, address, sent, cast.MANAGER)
    assert "Kept, not recorded yet." in page
    assert 'value="48"' in page
    assert f'value="{token}"' in page
    assert cast.PINS["M1"] not in page
    assert 'value="48"' not in client.get(address).content.decode()  # given back once
    assert Facility.objects.get(pk=case.facility_id).added_rules == {}


def test_several_papers_that_were_ticked_outlive_the_session(case: Case, client: Client) -> None:
    """The address of the page that asks again holds no path: the kept form does."""
    client.force_login(cast.member(case.facility, cast.MANAGER))
    sent = {"token": "t-1", "path": "document.add", "value": ["identification", "court_order"]}
    page = leave_and_sign_in(client, reverse("house-rule"), sent, cast.MANAGER)
    assert page.count("checked") == 2


def test_what_was_typed_to_take_back_outlives_the_session(case: Case, client: Client) -> None:
    manager = cast.member(case.facility, cast.MANAGER)
    house_rules.add(cast.signature(manager), cast.token(), "wait.hours", 48)
    client.force_login(manager)
    address = reverse("house-rule-back") + "?path=wait.hours"
    page = leave_and_sign_in(client, address, {"token": "t-1", "path": "wait.hours"}, "M1")
    assert "Kept, not recorded yet." in page
    assert 'value="t-1"' in page


def test_the_number_of_a_renewed_certificate_outlives_the_session(
    case: Case, client: Client
) -> None:
    client.force_login(cast.member(case.facility, cast.MANAGER))
    address = reverse("member-act", args=["QVO1", "certificate"])
    sent = {"certificate-number": "CERT-77", "certificate-expires_on": "2031-05-06"}
    page = leave_and_sign_in(client, address, sent, cast.MANAGER)
    assert 'value="CERT-77"' in page


@pytest.mark.parametrize("code", law.codes())
def test_the_page_of_each_law_says_all_of_it(code: str, client: Client) -> None:
    facility = cast.make_facility("XX", jurisdiction=code)
    client.force_login(cast.member(facility, cast.MANAGER))
    page = client.get(reverse("house-rules"))
    assert page.status_code == 200
    rules = law.jurisdiction(code)
    text = page.content.decode()
    assert ("Unknown here, which is not" in text) == any(
        entry.is_unknown for section in page.context["sections"] for entry in section.entries
    )
    assert rules.name in text
    for offer in law.offers(rules):
        answer = client.get(reverse("house-rule"), {"path": offer.path})
        assert answer.status_code == 200, offer.path
