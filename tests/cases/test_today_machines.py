"""Today tells of the retorts what the pages at the machine tell: phase, and recorders too."""

from datetime import timedelta

import pytest
from django.test import Client

from cases import overview
from cases.models import Case
from crematory import clock
from crematory.models import StaffMember
from retort_log import live
from retort_log.events import Stated, record_event
from retort_log.models import Controller, Retort
from tests import cast

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)


@pytest.fixture
def page(clerk: StaffMember) -> Client:
    client = Client()
    client.force_login(clerk)
    return client


def shown(page: Client) -> str:
    return page.get("/").content.decode()


def test_an_interrupted_run_is_called_so(page: Client, case: Case, operator: StaffMember) -> None:
    cast.bring(case, "in_retort")
    at = case.run.charged_at + 5 * MINUTE
    with clock.pinned(at):
        assert "Burning" in shown(page)
        stated = Stated("interrupted", at, note="power lost")
        record_event(case.run.retort, stated, cast.signature(operator))
        assert "Interrupted" in shown(page)
    with clock.pinned(at + timedelta(days=3)):  # an old event of a run that is still open counts
        assert "Interrupted" in shown(page)


def test_a_reading_of_a_controller_is_shown_and_is_not_overdue(page: Client, case: Case) -> None:
    cast.bring(case, "in_retort")
    at = case.run.charged_at + 20 * MINUTE
    with clock.pinned(at):
        controller = Controller.objects.create(retort=case.run.retort, host="127.0.0.1", is_on=True)
        assert "Reading overdue" in shown(page)
        live.keep_answer(controller, at, {"secondary degC": 9001})
        text = shown(page)
        assert "Reading overdue" not in text
        assert "900" in text
        # Its next answer stands in no trail, and is shown all the same.
        live.keep_answer(controller, at + timedelta(seconds=1), {"secondary degC": 8005})
    with clock.pinned(at + timedelta(seconds=2)):
        assert "1,472.9" in shown(page)


def test_where_there_is_nothing_more_nothing_more_is_asked(retort: Retort) -> None:
    found = overview.machines_as_they_are(retort.facility, clock.now())
    assert all(machine.life is None for machine in found)
    assert overview.next_change(found, clock.now()) is None
