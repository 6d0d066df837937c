"""The house: its rules and its staff."""

import pytest
from django.test import Client
from django.urls import reverse

from cases import staffing
from cases.errors import ActRefused
from chain_of_custody.models import CustodyEntry, SealedValue
from crematory.models import Facility, Role, StaffMember
from crematory.signatures import SignatureRefused, sign
from tests import cast
from tests.cases.pages import text_of

pytestmark = pytest.mark.django_db


class TestHouse:
    def test_rules_come_with_the_warning(self, as_clerk: Client) -> None:
        page = text_of(as_clerk, reverse("house"))
        assert "Check with the local authority" in page
        assert "24 h from death" in page or "h from death" in page
        assert "expired" in page
        assert reverse("member-add") not in page

    def test_manager_adds_a_member_who_can_sign_in(
        self, as_manager: Client, facility: Facility
    ) -> None:
        sent = {
            "staff_code": "qvnew",
            "printed_name": "Nora New",
            "roles": ["operator"],
            "password": "quiet river under stones",
            "pin": "481516",
            "own_pin": cast.PINS["M1"],
        }
        assert as_manager.post(reverse("member-add"), sent).status_code == 302
        signed = sign(facility, "QVNEW", "481516", to_choose_own=True)
        assert signed.member.roles == {Role.OPERATOR}
        entry = CustodyEntry.objects.get(act="staff.add")
        assert "Nora" not in entry.payload
        assert SealedValue.objects.get(entry=entry).value == "Nora New"

    @pytest.mark.parametrize(
        ("changed", "said"),
        [
            ({"own_pin": "000111"}, "do not match"),
            ({"staff_code": "QVC1"}, "already exists"),
            ({"pin": "111111"}, "three different digits"),
            ({"password": "short"}, "too short"),
            ({"roles": []}, "required"),
        ],
    )
    def test_what_stands_against_it_is_said(
        self, as_manager: Client, changed: dict[str, object], said: str
    ) -> None:
        sent = {
            "staff_code": "QVNEW",
            "printed_name": "Nora New",
            "roles": ["operator"],
            "password": "quiet river under stones",
            "pin": "481516",
            "own_pin": cast.PINS["M1"],
        }
        response = as_manager.post(reverse("member-add"), {**sent, **changed})
        assert response.status_code == 422
        assert said in response.content.decode()
        assert "481516" not in response.content.decode()
        assert not CustodyEntry.objects.filter(act="staff.add", outcome="done").exists()

    def act(self, client: Client, name: str, **sent: str) -> int:
        fields = {f"{name}-{key}": value for key, value in sent.items()}
        fields[f"{name}-own_pin"] = cast.PINS["M1"]
        return client.post(reverse("member-act", args=["QVO3", name]), fields).status_code

    def test_changes_to_a_member(self, as_manager: Client, expired_operator: StaffMember) -> None:
        new = {"number": "CERT-9", "expires_on": "2099-01-01"}
        assert self.act(as_manager, "certificate", **new) == 302
        assert self.act(as_manager, "certificate", **new) == 422
        assert self.act(as_manager, "pin", pin="271828", pin_again="271828") == 302
        assert self.act(as_manager, "pin", pin="271828", pin_again="271829") == 422
        phrase = "quiet river under stones"
        assert self.act(as_manager, "password", password=phrase, password_again=phrase) == 302
        assert self.act(as_manager, "deactivate") == 302
        assert self.act(as_manager, "deactivate") == 302
        with pytest.raises(SignatureRefused):
            sign(expired_operator.facility, "QVO3", "271828", to_choose_own=True)
        assert self.act(as_manager, "activate") == 302
        member = sign(expired_operator.facility, "QVO3", "271828", to_choose_own=True).member
        assert member.certificate_number == "CERT-9"
        assert member.check_password(phrase)
        done = CustodyEntry.objects.filter(outcome="done").order_by("sequence")
        acts_done = done.values_list("act", flat=True)
        assert [act.removeprefix("staff.") for act in acts_done] == [
            "renew_certificate",
            "give_pin",
            "give_password",
            "deactivate",
            "activate",
        ]

    def test_nobody_deactivates_themselves(self, manager: StaffMember) -> None:
        with pytest.raises(ActRefused, match="Another manager"):
            staffing.deactivate(cast.signature(manager), manager)

    def test_only_a_manager_of_the_same_house(
        self, clerk: StaffMember, manager: StaffMember, other_operator: StaffMember
    ) -> None:
        with pytest.raises(ActRefused, match="manager"):
            staffing.deactivate(cast.signature(clerk), manager)
        with pytest.raises(ActRefused, match="another facility"):
            staffing.give_pin(cast.signature(manager), other_operator, "271828")

    def test_own_pin(self, as_clerk: Client, clerk: StaffMember) -> None:
        sent = {"own_pin": cast.PINS["C1"], "pin": "271828", "pin_again": "271828"}
        assert as_clerk.post(reverse("my-pin"), {**sent, "own_pin": "999111"}).status_code == 422
        assert as_clerk.post(reverse("my-pin"), sent).status_code == 302
        assert sign(clerk.facility, clerk.staff_code, "271828")
        done = CustodyEntry.objects.get(act="staff.change_own_pin", outcome="done")
        assert done.signed_by == clerk
