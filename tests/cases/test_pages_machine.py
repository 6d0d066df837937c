"""At the machine: who is inside, what comes next, and readings."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from cases import hold_acts
from cases.models import Case
from crematory import clock
from crematory.models import Facility, StaffMember
from retort_log.models import Reading, Retort
from tests import cast
from tests.cases.pages import text_of

pytestmark = pytest.mark.django_db


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

    def test_empty_retort_lists_all_who_wait_and_chooses_nobody(
        self, as_operator: Client, facility: Facility
    ) -> None:
        held, unlabelled, ready = (cast.bring(cast.make_case(facility), "tagged") for _ in range(3))
        cast.make_label(held)
        cast.make_label(ready)
        hold_acts.open_hold(held, cast.signature(cast.member(facility, "M1")), "t", "wait")
        page = text_of(as_operator, reverse("machine", args=["retort-1"]))
        for case in (held, unlabelled, ready):
            charge = reverse("cases:step", args=[case.number, "charge"])
            assert page.count(f'href="{charge}?retort=retort-1"') == 1
        assert 'id="next-action"' not in page
        assert page.index('id="candidates"') < page.index('class="gates"')
        assert "On hold: a manager" in page
        assert "No label was printed for this person" in page
        assert page.count("Not yet") == 2, unlabelled

    def test_a_step_that_is_refused_has_no_solid_button(
        self, as_operator: Client, case: Case
    ) -> None:
        cast.bring(case, "cooling")
        machine = reverse("machine", args=["retort-1"])
        with clock.pinned(cast.time_of("recover", case)):
            hot = text_of(as_operator, machine)
            cast.prepare("recover", case)
            cold = text_of(as_operator, machine)
        address = reverse("cases:step", args=[case.number, "recover"]) + "?retort=retort-1"
        link = f'action-big" id="next-action" href="{address}">Recover'
        assert f"btn-quiet {link}: not yet</a>" in hot
        assert f"btn-primary {link}</a>" in cold

    @pytest.mark.parametrize("name", ["machine", "machines", "today"])
    def test_the_next_reading_is_said_while_somebody_burns(
        self, as_operator: Client, case: Case, name: str
    ) -> None:
        cast.bring(case, "in_retort")
        address = reverse(name, args=["retort-1"] if name == "machine" else [])
        charged = case.run.charged_at
        local = timezone.localtime(charged + timedelta(minutes=15), case.facility.zone)
        with clock.pinned(charged + timedelta(minutes=6)):
            page = text_of(as_operator, address)
        assert f"Next reading due by <strong>{local:%H:%M} MST</strong>" in page
        assert "in 9 min" in page
        with clock.pinned(charged + timedelta(minutes=17)):
            page = text_of(as_operator, address)
        assert "Reading overdue" in page
        assert f"It was due by {local:%H:%M} MST" in page
        with clock.pinned(charged + timedelta(minutes=18)):
            cast.read(case.run.retort, cast.HOT)
            assert "in 15 min" in text_of(as_operator, address)
        cast.bring(case, "cooling")
        assert "Next reading" not in text_of(as_operator, address)

    def test_a_gap_never_contradicts_its_limit(self, as_operator: Client, case: Case) -> None:
        cast.bring(case, "in_retort")
        with clock.pinned(case.run.charged_at + timedelta(minutes=15, seconds=20)):
            page = text_of(as_operator, reverse("machine", args=["retort-1"]))
        assert "A gap of 16 min in the readings; at most 15 min" in page

    def test_a_reading_is_one_line_of_the_log(self, as_operator: Client, case: Case) -> None:
        cast.bring(case, "in_retort")
        page = text_of(as_operator, reverse("machine", args=["retort-1"]))
        log = page[page.index("<tbody>") :]
        assert "<br>" not in log

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
        assert "Kept, not recorded yet" in page
        assert page.count("autofocus") == 1
