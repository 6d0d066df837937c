"""The pages that look over many persons: what they show, refuse, and ask of the database."""

import csv
import io
import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from cases import acts, corrections, overview, search, staffing
from cases.errors import ActRefused, StepRefused
from cases.models import Case
from cases.names import fold
from cases.views.persons import safe_cell
from chain_of_custody.models import CustodyEntry, SealedValue
from crematory import clock
from crematory.models import Facility, Role, StaffMember
from crematory.signatures import SignatureRefused, sign
from retort_log.models import Reading, Retort
from tests import cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def as_clerk(client: Client, clerk: StaffMember) -> Client:
    client.force_login(clerk)
    return client


@pytest.fixture
def as_operator(client: Client, operator: StaffMember) -> Client:
    client.force_login(operator)
    return client


@pytest.fixture
def as_manager(client: Client, manager: StaffMember) -> Client:
    client.force_login(manager)
    return client


def text_of(client: Client, address: str, status: int = 200) -> str:
    response = client.get(address)
    assert response.status_code == status
    return response.content.decode()


def many_cases(facility: Facility, count: int, first: int = 0) -> None:
    """Insert expected persons quickly; each name and sender differs."""
    at = datetime(2025, 1, 1, tzinfo=UTC)
    Case.objects.bulk_create(
        Case(
            facility=facility,
            number=f"QV25-{n:05d}-X",
            stage_since=at + timedelta(minutes=n),
            decedent_name=f"Person {n:05d}",
            name_folded=fold(f"Person {n:05d}"),
            died_at=at,
            sender=f"Sender {n % 7}",
            jurisdiction=facility.jurisdiction,
            announced_at=at + timedelta(minutes=n),
        )
        for n in range(first, first + count)
    )


class TestSigningIn:
    def test_code_is_taken_in_any_case(self, client: Client, clerk: StaffMember) -> None:
        sent = {"username": " qvc1 ", "password": cast.PASSWORD}
        response = client.post(reverse("login"), sent)
        assert response.headers["Location"] == reverse("today")

    def test_inactive_member_is_refused(self, client: Client, clerk: StaffMember) -> None:
        StaffMember.objects.filter(pk=clerk.pk).update(is_active=False)
        sent = {"username": "QVC1", "password": cast.PASSWORD}
        assert "do not match" in client.post(reverse("login"), sent).content.decode()

    def test_sign_out_needs_post_and_ends_the_session(self, as_clerk: Client) -> None:
        assert as_clerk.get(reverse("logout")).status_code == 405
        assert as_clerk.post(reverse("logout")).status_code == 302
        assert as_clerk.get(reverse("today")).status_code == 302

    def test_never_leads_back_to_signing_out(self, client: Client, clerk: StaffMember) -> None:
        sent = {"username": "QVC1", "password": cast.PASSWORD, "next": reverse("logout")}
        assert client.post(reverse("login"), sent).headers["Location"] == reverse("today")

    def test_news_asked_after_the_session_ended_reload_the_page(
        self, client: Client, retort: Retort
    ) -> None:
        address = reverse("machine", args=[retort.place.code])
        response = client.get(address, headers={"HX-Request": "true"}, follow=True)
        assert response.headers["HX-Refresh"] == "true"


class TestToday:
    def test_group_names_step_signers_and_person(self, as_clerk: Client, case: Case) -> None:
        page = text_of(as_clerk, reverse("today"))
        assert "Receive into care" in page
        assert "front office or operator, with a second person" in page
        assert "Ada Example" in page
        assert "1941–2024" in page

    def test_hold_stands_first_and_only_there(self, as_clerk: Client, case: Case) -> None:
        acts.open_hold(case, cast.signature(cast.member(case.facility, "O1")), "t", "Ring missing")
        page = text_of(as_clerk, reverse("today"))
        assert "Ring missing" in page
        assert page.count("Ada Example") == 1

    def test_longest_wait_first_and_at_most_10(self, facility: Facility, as_clerk: Client) -> None:
        many_cases(facility, 30)
        [group] = overview.waiting(facility)
        assert group.total == 30
        assert [c.number for c in group.cases] == [f"QV25-{n:05d}-X" for n in range(10)]
        page = text_of(as_clerk, reverse("today"))
        assert "All 30" in page
        assert "?state=expected" in page

    def test_shows_person_in_the_retort(self, as_clerk: Client, case: Case) -> None:
        cast.bring(case, "in_retort")
        page = text_of(as_clerk, reverse("today"))
        assert "next: Burner off" in page
        assert "3 of 3 free" in page

    def test_others_are_not_shown(self, as_clerk: Client, other_facility: Facility) -> None:
        cast.make_case(other_facility, decedent_name="Nobody Here")
        assert "Nobody Here" not in text_of(as_clerk, reverse("today"))


class TestPersons:
    def find(self, client: Client, text: str, state: str = "") -> list[str]:
        page = client.get(reverse("cases:list"), {"q": text, "state": state})
        return re.findall(r"<bdi>(.*?)</bdi>", page.content.decode())

    @pytest.fixture(autouse=True)
    def people(self, facility: Facility) -> None:
        for name, sender in (("Łukasz Ábel", "North Home"), ("Abel Marsh", "South Home")):
            cast.make_case(facility, decedent_name=name, sender=sender)

    def test_beginning_of_the_name_folded(self, as_clerk: Client) -> None:
        assert self.find(as_clerk, "LUK") == ["Łukasz Ábel"]
        assert self.find(as_clerk, "abel") == ["Abel Marsh"]

    def test_middle_and_sender_where_nobody_begins_so(self, as_clerk: Client) -> None:
        assert self.find(as_clerk, "marsh") == ["Abel Marsh"]
        assert self.find(as_clerk, "north") == ["Łukasz Ábel"]

    def test_wildcards_and_bytes_are_plain_text(self, as_clerk: Client) -> None:
        assert self.find(as_clerk, "%") == []
        assert self.find(as_clerk, "_") == []
        assert self.find(as_clerk, "\0") != []

    def test_state(self, as_clerk: Client, facility: Facility) -> None:
        cast.bring(facility.cases.get(decedent_name="Abel Marsh"), "returned")
        assert self.find(as_clerk, "", "open") == ["Łukasz Ábel"]
        assert self.find(as_clerk, "", "closed") == ["Abel Marsh"]
        assert self.find(as_clerk, "", "returned") == ["Abel Marsh"]
        assert self.find(as_clerk, "", "expected") == ["Łukasz Ábel"]
        assert len(self.find(as_clerk, "", "no such")) == 2

    @pytest.mark.parametrize("text", ["", "person", "Sender"])
    def test_pages_show_everybody_once(self, facility: Facility, text: str) -> None:
        many_cases(facility, 60)
        asked, seen = search.Search(facility, text), []
        while True:
            page = search.find(asked)
            seen += [case.pk for case in page.cases]
            if not page.has_more:
                break
            asked = search.Search(facility, text, "", page.everywhere, seen[-1])
        assert len(seen) == len(set(seen)) == (62 if text == "" else 60)

    def test_export_is_safe_and_whole(self, as_clerk: Client, facility: Facility) -> None:
        cast.make_case(facility, sender="=HYPERLINK(1)")
        response = as_clerk.get(reverse("cases:export"))
        sent = b"".join(response.streaming_content).decode("utf-8-sig")  # type: ignore[attr-defined]
        rows = list(csv.DictReader(io.StringIO(sent)))
        assert len(rows) == 3
        assert rows[0]["sender"] == "'=HYPERLINK(1)"
        assert rows[2]["announced at"] == "2024-03-04T09:00-07:00"

    @pytest.mark.parametrize("start", list("=+-@\t\r"))
    def test_cells_are_no_formulas(self, start: str) -> None:
        assert safe_cell(f"{start}1") == f"'{start}1"

    def test_lists_use_their_indexes(self, facility: Facility) -> None:
        if connection.vendor != "sqlite":
            asked = search.matching(search.Search(facility, "abel"))
            assert "name_folded" in str(asked.query)
            return
        plans = {
            "case_newest": search.matching(search.Search(facility)),
            "case_name": search.matching(search.Search(facility, "abel")),
            "case_open": search.matching(search.Search(facility, state="tagged")),
        }
        for index, query in plans.items():
            assert index in query.explain()


class TestScan:
    def go(self, client: Client, text: str) -> str:
        response = client.get(reverse("cases:scan"), {"q": text}, follow=True)
        return str(response.redirect_chain[-1][0] + " " + response.content.decode())

    def test_number_label_and_disc_lead_to_the_case(self, as_clerk: Client, case: Case) -> None:
        cast.bring(case, "tagged")
        address = reverse("cases:case", args=[case.number])
        for text in (
            case.number,
            case.number.lower(),
            f"CASE/{case.number}/1",
            f"DISC/{case.disc.number}",
            case.disc.number,
        ):
            assert self.go(as_clerk, text).startswith(address)

    def test_slip_is_told_as_a_slip(self, as_clerk: Client, case: Case) -> None:
        wrong = case.number[:-1] + ("A" if case.number[-1] != "A" else "B")
        assert "Check the number" in self.go(as_clerk, wrong)
        assert "Check the number" in self.go(as_clerk, f"CASE/{wrong}")

    def test_unknown_number_and_name(self, as_clerk: Client, case: Case) -> None:
        assert "No case and no disc" in self.go(as_clerk, "DISC/9999")
        assert "Ada Example" in self.go(as_clerk, "ada")
        assert "Nobody was found" in self.go(as_clerk, "zebulon")

    def test_other_facilitys_number_leads_nowhere(
        self, as_clerk: Client, other_facility: Facility
    ) -> None:
        other = cast.make_case(other_facility)
        assert "No case and no disc" in self.go(as_clerk, other.number)


class TestMachine:
    def test_person_inside_next_action_and_gates(self, as_operator: Client, case: Case) -> None:
        cast.bring(case, "in_retort")
        page = text_of(as_operator, reverse("machine", args=["retort-1"]))
        assert "Ada Example" in page
        assert reverse("cases:step", args=[case.number, "burner_off"]) in page
        assert "End of visible flame confirmed" in page
        assert "1,616" in page
        assert "880 °C" in page.replace("\xa0", " ")
        assert "Old reading" in page

    def test_empty_retort_offers_the_first_who_is_ready(
        self, as_operator: Client, facility: Facility
    ) -> None:
        held, ready = (cast.bring(cast.make_case(facility), "tagged") for _ in range(2))
        acts.open_hold(held, cast.signature(cast.member(facility, "M1")), "t", "wait")
        page = text_of(as_operator, reverse("machine", args=["retort-1"]))
        action = reverse("cases:step", args=[ready.number, "charge"]) + "?retort=retort-1"
        assert f'id="next-action" href="{action}"' in page
        assert "On hold: a manager" in page

    def test_news_are_the_live_part_only(self, as_operator: Client, facility: Facility) -> None:
        response = as_operator.get(
            reverse("machine", args=["retort-1"]), headers={"HX-Request": "true"}
        )
        assert b"<form" not in response.content
        assert b"<html" not in response.content
        assert "HX-Request" in response.headers["Vary"]

    def test_reading_is_stored_once(self, as_operator: Client, retort: Retort) -> None:
        address = reverse("cases:reading", args=[retort.place.code])
        sent = {"primary": "1200", "secondary": "1640 °F", "at": "2026-01-05T08:30"}
        for _ in range(2):
            assert as_operator.post(address, sent).status_code == 302
        stored = Reading.objects.get()
        assert stored.secondary_c == Decimal("893.33")
        assert stored.at == datetime(2026, 1, 5, 15, 30, tzinfo=UTC)

    @pytest.mark.parametrize(
        "sent",
        [
            {"primary": "hot", "secondary": "1640"},
            {"primary": "1", "secondary": "2", "at": "2999-01-01T00:00"},
        ],
    )
    def test_reading_that_cannot_be_is_shown_again(
        self, as_operator: Client, retort: Retort, sent: dict[str, str]
    ) -> None:
        response = as_operator.post(reverse("cases:reading", args=[retort.place.code]), sent)
        assert response.status_code == 422
        assert f'value="{sent["primary"]}"' in response.content.decode()
        assert not Reading.objects.exists()

    def test_reading_typed_after_the_session_ended_is_kept(
        self, client: Client, operator: StaffMember
    ) -> None:
        address = reverse("cases:reading", args=["retort-1"])
        client.post(address, {"primary": "1234.5", "secondary": "1640"})
        sent = {"username": "QVO1", "password": cast.PASSWORD, "next": address}
        page = client.post(reverse("login"), sent, follow=True).content.decode()
        assert 'value="1234.5"' in page


class TestPlaces:
    def test_who_is_where_and_what_is_free(self, as_clerk: Client, case: Case) -> None:
        cast.bring(case, "in_care")
        page = text_of(as_clerk, reverse("places"))
        assert "Ada Example" in page
        assert "2 of 3 free" in page


class TestTrail:
    def test_acts_refusals_and_sealed_values(self, as_clerk: Client, case: Case) -> None:
        with pytest.raises(StepRefused):
            cast.do("receive", case, band_reads="Someone Else")
        cast.bring(case, "in_care")
        page = text_of(as_clerk, reverse("cases:trail", args=[case.number]))
        assert "Receive into care" in page
        assert "trail-refused" in page
        assert "Clara Clerk" in page
        assert "Cyril Clerk" in page
        assert "179.7 lb (81.5 kg)" in page.replace("\xa0", " ")
        assert "sealed" in page

    def test_correction_shows_both_values_and_its_entry(self, as_clerk: Client, case: Case) -> None:
        clerk = cast.signature(cast.member(case.facility, "C1"))
        entry = corrections.correct(case, clerk, "t", "sender", "Right Home", "misheard")
        page = text_of(as_clerk, reverse("cases:trail", args=[case.number]))
        assert "Example Funeral Home" in page
        assert "Right Home" in page
        assert 'Corrects sender in <a href="#entry-0">entry 0</a>' in page
        assert f'<a href="#entry-{entry.sequence}">entry {entry.sequence}</a>' in page

    def test_late_entry_is_marked(self, as_clerk: Client, case: Case) -> None:
        with clock.pinned(case.stage_since + timedelta(hours=2)):
            cast.take(
                "receive",
                case,
                cast.facts_for(
                    "receive", case, happened_at=case.stage_since + timedelta(minutes=30)
                ),
                **cast.signers("receive", case),
                token="late",
            )
        assert "Recorded late" in text_of(as_clerk, reverse("cases:trail", args=[case.number]))


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
        assert sign(facility, "QVNEW", "481516").member.roles == {Role.OPERATOR}
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
        assert not CustodyEntry.objects.filter(act="staff.add").exists()

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
            sign(expired_operator.facility, "QVO3", "271828")
        assert self.act(as_manager, "activate") == 302
        member = sign(expired_operator.facility, "QVO3", "271828").member
        assert member.certificate_number == "CERT-9"
        assert member.check_password(phrase)
        acts_done = CustodyEntry.objects.order_by("sequence").values_list("act", flat=True)
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
        assert CustodyEntry.objects.get(act="staff.change_own_pin").signed_by == clerk


# Queries of a page whatever the number of rows; 2 of them are the session and the member with the
# facility that every page reads.
PAGES: dict[str, Callable[[], str]] = {
    "today": lambda: reverse("today"),
    "list": lambda: reverse("cases:list"),
    "found": lambda: reverse("cases:list") + "?q=person",
    "open": lambda: reverse("cases:list") + "?state=open",
    "machines": lambda: reverse("machines"),
    "machine": lambda: reverse("machine", args=["retort-2"]),
    "places": lambda: reverse("places"),
    "house": lambda: reverse("house"),
}


QUERIES = {
    "today": 8,  # holds, groups, retorts, runs, readings, free places
    "list": 3,
    "found": 4,  # is it a disc's number?
    "open": 3,
    "machines": 5,  # retorts, runs, readings
    "machine": 10,  # and the tagged persons, their holds, the retort's gates, its last readings
    "places": 3,
    "house": 4,  # staff and retorts
}


@pytest.mark.parametrize("name", PAGES)
def test_queries_do_not_grow(client: Client, facility: Facility, name: str) -> None:
    client.force_login(cast.member(facility, "M1"))
    many_cases(facility, 1)
    cast.bring(cast.make_case(facility), "tagged")
    cast.bring(cast.make_case(facility), "in_retort")
    address = PAGES[name]()
    client.get(address)
    with CaptureQueriesContext(connection) as few:
        assert client.get(address).status_code == 200
    many_cases(facility, 200, first=1)
    for _ in range(3):
        cast.bring(cast.make_case(facility), "tagged")
    with CaptureQueriesContext(connection) as many:
        assert client.get(address).status_code == 200
    assert len(many) == len(few), "\n".join(query["sql"] for query in many.captured_queries)
    assert len(many) == QUERIES[name]
