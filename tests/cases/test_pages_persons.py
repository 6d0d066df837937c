"""Persons in care: the list, its export, and what a scan leads to."""

import csv
import html
import io
import re
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.urls import reverse

from cases import corrections, former_names, hold_acts, search
from cases.former_names import once_named
from cases.models import Case
from cases.views.persons import safe_cell
from chain_of_custody.models import Log
from crematory.models import Facility, StaffMember
from tests import cast
from tests.cases.pages import look_for, many_cases, text_of

pytestmark = pytest.mark.django_db


def names_on(page: Any) -> list[str]:
    """Return the names that a list shows, in its order."""
    return re.findall(r"<bdi>(.*?)</bdi>", page.content.decode())


def links(page: Any) -> dict[str, str]:
    """Return the addresses of a page's links by their words."""
    found = re.findall(r'<a [^>]*href="([^"]*)"[^>]*>([^<]*)</a>', page.content.decode())
    return {words: html.unescape(address) for address, words in found}


def exported(client: Client, address: str) -> int:
    """Return how many persons an export names."""
    sent = b"".join(client.get(address).streaming_content)  # type: ignore[attr-defined]
    return len(sent.decode().splitlines()) - 1


class TestPersons:
    def find(self, client: Client, text: str, state: str = "all") -> list[str]:
        return names_on(client.get(look_for(client, text, state)))

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

    def test_those_in_care_unless_somebody_else_is_asked_for(
        self, as_clerk: Client, facility: Facility
    ) -> None:
        cast.bring(facility.cases.get(decedent_name="Abel Marsh"), "returned")
        page = as_clerk.get(reverse("cases:list"))
        assert names_on(page) == ["Łukasz Ábel"]
        assert '<option value="all">everybody</option>' in page.content.decode()
        assert len(names_on(as_clerk.get(reverse("cases:list"), {"state": "all"}))) == 2
        nobody = as_clerk.get(look_for(as_clerk, "abel m", "open"))
        assert names_on(nobody) == []
        everybody = links(nobody)["Look among everybody, the closed cases too"]
        assert names_on(as_clerk.get(reverse("cases:list") + everybody)) == ["Abel Marsh"]

    def test_state(self, as_clerk: Client, facility: Facility) -> None:
        cast.bring(facility.cases.get(decedent_name="Abel Marsh"), "returned")
        assert self.find(as_clerk, "", "open") == ["Łukasz Ábel"]
        assert self.find(as_clerk, "", "closed") == ["Abel Marsh"]
        assert self.find(as_clerk, "", "returned") == ["Abel Marsh"]
        assert self.find(as_clerk, "", "expected") == ["Łukasz Ábel"]
        assert self.find(as_clerk, "", "no such") == ["Łukasz Ábel"]

    @pytest.mark.parametrize("text", ["", "person", "Sender"])
    def test_pages_show_everybody_once(self, facility: Facility, text: str) -> None:
        many_cases(facility, 60)
        asked, seen = search.Search(facility, text), []
        while True:
            page = search.find(asked)
            seen += [case.pk for case in page.cases]
            if not page.has_more:
                break
            asked = search.Search(facility, text, "all", page.everywhere, seen[-1])
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
        assert "case_open" in search.matching(search.Search(facility, state="open")).explain()
        assert "case_name" in search.matching(search.Search(facility, "abel", "open")).explain()


class TestNoNameInAnAddress:
    """What is looked for is sent by POST and kept in the session, under a key of its own."""

    @pytest.fixture(autouse=True)
    def people(self, facility: Facility) -> None:
        many_cases(facility, 60)
        cast.make_case(facility, decedent_name="Ada Quill", sender="Person Brothers")

    def test_the_boxes_send_by_post(self, as_clerk: Client) -> None:
        page = text_of(as_clerk, reverse("cases:list"))
        forms = re.findall(r"<form[^>]*>", page)
        searching = [form for form in forms if 'role="search"' in form]
        assert len(searching) == 2
        assert all('method="post"' in form for form in searching)

    @pytest.mark.parametrize("address", ["cases:list", "cases:scan"])
    def test_a_text_in_the_address_is_not_looked_for(self, as_clerk: Client, address: str) -> None:
        page = as_clerk.get(reverse(address), {"q": "quill"}, follow=True)
        assert "quill" not in page.content.decode()
        assert len(names_on(page)) == 25

    @pytest.mark.parametrize("name", ["cases:list", "cases:scan"])
    def test_every_address_on_the_way_is_free_of_it(self, as_clerk: Client, name: str) -> None:
        answer = as_clerk.post(reverse(name), {"q": "Person", "state": "all"})
        addresses, seen = [answer.headers["Location"]], []
        while True:
            page = as_clerk.get(addresses[-1])
            seen += names_on(page)
            if "The next 25" not in links(page):
                break
            addresses.append(reverse("cases:list") + links(page)["The next 25"])
        assert len(set(seen)) == 60
        assert len(addresses) == 3
        addresses += links(page).values()
        assert "search=" in links(page)["To the beginning"]
        assert not any("person" in a.replace("/persons/", "").lower() for a in addresses)

    def test_reload_and_the_page_before_still_find_the_same(self, as_clerk: Client) -> None:
        first, second = look_for(as_clerk, "ada"), look_for(as_clerk, "person 00007")
        for _ in range(2):
            assert names_on(as_clerk.get(first)) == ["Ada Quill"]
            assert names_on(as_clerk.get(second)) == ["Person 00007"]
        assert look_for(as_clerk, "ada") == first

    def test_looked_for_everywhere_and_exported(self, as_clerk: Client) -> None:
        page = as_clerk.get(look_for(as_clerk, "person"))
        found = links(page).items()
        everywhere = next(a for words, a in found if words.startswith("Look in the middle"))
        whole = as_clerk.get(reverse("cases:list") + everywhere)
        assert exported(as_clerk, links(whole)["This list as CSV"]) == 61
        assert exported(as_clerk, links(page)["This list as CSV"]) == 60

    def test_what_is_no_longer_kept_is_said_and_not_exported(self, as_clerk: Client) -> None:
        address = look_for(as_clerk, "ada")
        for number in range(20):
            look_for(as_clerk, f"other {number}")
        assert "no longer kept" in text_of(as_clerk, address)
        export = reverse("cases:export") + "?" + address.partition("?")[2]
        assert as_clerk.get(export).headers["Location"] == address

    def test_another_member_does_not_see_it(self, as_clerk: Client, operator: StaffMember) -> None:
        address = look_for(as_clerk, "ada")
        other = Client()
        other.force_login(operator)
        assert "ada" not in text_of(other, address)

    def test_a_search_sent_after_the_session_ended_is_kept(
        self, client: Client, clerk: StaffMember
    ) -> None:
        for name in ("cases:list", "cases:scan"):
            client.logout()
            asked_in = client.post(reverse(name), {"q": "ada", "state": "all"})
            assert "ada" not in asked_in.headers["Location"]
            sent = {"username": "QVC1", "password": cast.PASSWORD, "next": reverse(name)}
            assert names_on(client.post(reverse("login"), sent, follow=True)) == ["Ada Quill"]


class TestScan:
    def go(self, client: Client, text: str) -> str:
        response = client.post(reverse("cases:scan"), {"q": text}, follow=True)
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
        assert "No case, disc or paper" in self.go(as_clerk, "DISC/9999")
        assert "Ada Example" in self.go(as_clerk, "ada")
        assert "Nobody was found" in self.go(as_clerk, "zebulon")

    def test_other_facilitys_number_leads_nowhere(
        self, as_clerk: Client, other_facility: Facility
    ) -> None:
        other = cast.make_case(other_facility)
        assert "No case, disc or paper" in self.go(as_clerk, other.number)


class TestFormerNames:
    @pytest.fixture
    def renamed(self, facility: Facility, manager: StaffMember) -> Case:
        case = cast.make_case(facility, decedent_name="Bartholomew Oak")
        corrections.correct(
            case, cast.signature(manager), cast.token(), "decedent_name", "Ada Oake", "misheard"
        )
        return case

    def test_a_person_is_found_by_the_name_before_a_correction(
        self, as_clerk: Client, renamed: Case
    ) -> None:
        page = as_clerk.get(look_for(as_clerk, "barthol")).content.decode()
        assert "<bdi>Ada Oake</bdi>" in page
        assert "before a correction: <bdi>Bartholomew Oak</bdi>" in page
        assert renamed.number in page
        now = as_clerk.get(look_for(as_clerk, "ada")).content.decode()
        assert "before a correction: <bdi>" not in now

    def test_what_is_corrected_later_is_found_too_and_another_house_is_not(
        self, as_clerk: Client, renamed: Case, manager: StaffMember, other_facility: Facility
    ) -> None:
        assert list(once_named(renamed.facility, "OAK")) == [renamed.pk]
        again = Case.objects.get(pk=renamed.pk)
        corrections.correct(
            again, cast.signature(manager), cast.token(), "decedent_name", "Ida Oake", "misread"
        )
        assert once_named(renamed.facility, "ada") == {renamed.pk: "Ada Oake"}
        assert once_named(other_facility, "oak") == {}

    def test_a_trail_that_is_another_one_is_read_anew(self, renamed: Case) -> None:
        assert once_named(renamed.facility, "barthol")
        log = Log.objects.get(facility=renamed.facility)
        former_names._read[renamed.facility_id] = former_names._Read(
            log.size, "0" * 64, [("somebody else", "Somebody Else", renamed.pk)]
        )
        assert once_named(renamed.facility, "somebody") == {}
        assert once_named(renamed.facility, "barthol")


class TestHolds:
    def test_the_list_and_the_places_mark_who_is_on_hold(
        self, as_clerk: Client, clerk: StaffMember, case: Case
    ) -> None:
        cast.bring(case, "in_care")
        pages = (reverse("cases:list"), reverse("places"))
        for page in pages:
            assert "On hold" not in text_of(as_clerk, page)
        hold_acts.open_hold(case, cast.signature(clerk), cast.token(), "He asks us to wait")
        for page in pages:
            assert text_of(as_clerk, page).count("On hold") == 1
