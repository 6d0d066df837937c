"""Persons in care: the list, its export, and what a scan leads to."""

import csv
import io
import re

import pytest
from django.db import connection
from django.test import Client
from django.urls import reverse

from cases import search
from cases.models import Case
from cases.views.persons import safe_cell
from crematory.models import Facility
from tests import cast
from tests.cases.pages import many_cases

pytestmark = pytest.mark.django_db


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
