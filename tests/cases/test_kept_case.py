"""The kept page of a case: each role its own, time shows anew, and every kind of act at once."""

import time
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.test import Client

from cases import acts, corrections, hold_acts, house_rules, waits
from cases.models import Case
from chain_of_custody.models import Place
from crematory import clock
from crematory.models import Facility
from crematory.signatures import Signature
from tests import cast
from tests.cases.pages import browser, text_of, url

pytestmark = pytest.mark.django_db


@pytest.fixture
def in_care(facility: Facility) -> Case:
    return cast.bring(cast.make_case(facility), "in_care")


def _page(client: Client, case: Case) -> str:
    """The page below the bar, in which the member's own name stands."""
    text = text_of(client, url("case", case))
    return text[text.index("<main") :]


def _later() -> datetime:
    """The beginning of a minute after all that was done."""
    return (clock.now() + timedelta(minutes=2)).replace(second=5, microsecond=0)


def test_each_role_sees_its_own(in_care: Case) -> None:
    clients = {key: browser(cast.member(in_care.facility, key)) for key in ("C1", "O1", "M1")}
    with clock.pinned(_later()):
        for _ in range(2):  # the second time all of them are kept
            pages = {key: _page(client, in_care) for key, client in clients.items()}
            assert {key for key, page in pages.items() if "data-drop" in page} == {"C1", "M1"}
            ways = {key for key, page in pages.items() if "List personal things</a>" in page}
            assert ways == {"C1", "O1"}
            assert "File a paper (front office or manager only)" in pages["O1"]
            assert "Answer (front office only)" in pages["M1"]
            assert "Answer (front office only)" not in pages["C1"]


def test_who_lifts_a_hold_is_offered_it_and_nobody_else(in_care: Case) -> None:
    _hold(in_care)
    clerk, manager = (browser(cast.member(in_care.facility, key)) for key in ("C1", "M1"))
    with clock.pinned(_later()):
        for _ in range(2):
            assert "A manager lifts this hold." in _page(clerk, in_care)
            assert "Lift the hold</a>" not in _page(clerk, in_care)
            assert "Lift the hold</a>" in _page(manager, in_care)


def test_a_wait_is_told_anew_each_minute_and_not_after_its_end(facility: Facility) -> None:
    # The clock is turned to the end of the wait, half a minute past the full one.
    died = (cast.START - timedelta(hours=5)).replace(second=30, microsecond=0)
    case = cast.bring(cast.make_case(facility, died_at=died), "in_care")
    end = waits.wait_end(case).at
    assert end is not None
    client = browser(cast.member(facility, "C1"))

    def told(at: datetime) -> str:
        with clock.pinned(at):
            return _page(client, case)

    assert "in 3 min." in told(end - timedelta(minutes=2, seconds=20))
    assert "in 2 min." in told(end - timedelta(minutes=1, seconds=20))
    almost = end - timedelta(milliseconds=300)
    assert "in 1 min." in told(almost)
    assert '<strong class="gate-name">Waiting period' in told(almost)
    time.sleep(0.3)  # within the same minute
    assert '<strong class="gate-name">Waiting period' not in told(end + timedelta(milliseconds=1))


def _signed(case: Case, key: str) -> Signature:
    return cast.signature(cast.member(case.facility, key))


def _hold(case: Case) -> None:
    hold_acts.open_hold(case, _signed(case, "O1"), cast.token(), "Ring missing")


def _lift(case: Case) -> None:
    _hold(case)
    lifting = hold_acts.Lifting(on="cleared", reason="Ring found")
    hold_acts.lift_hold(case.holds.get(), _signed(case, "M1"), cast.token(), lifting)


def _correct(case: Case) -> None:
    manager = _signed(case, "M1")
    corrections.correct(case, manager, cast.token(), "decedent_name", "Adah Example", "misspelt")


def _correct_and_compare(case: Case) -> None:
    _correct(case)
    cast.compare_band(case)


def _file(case: Case) -> None:
    acts.file_document(
        case, cast.member(case.facility, "C1"), cast.token(), kind="other", reference="R-77",
        issued_by="Registrar", issued_on=clock.now().date(),
    )  # fmt: skip


def _says(case: Case) -> None:
    cast.says(case, cast.member(case.facility, "C1"), "Nora New", "objects")


def _name(case: Case) -> None:
    clerk = cast.member(case.facility, "C1")
    acts.name_recipient(case, clerk, cast.token(), name="Rita Receiver", relationship="niece")


def _answer(case: Case) -> None:
    acts.answer_device(
        case, cast.member(case.facility, "C1"), cast.token(), device="pacemaker", answer="no",
        informant="son",
    )  # fmt: skip


def _settle(case: Case) -> None:
    clerk = cast.member(case.facility, "C1")
    acts.settle(case, clerk, cast.token(), is_death_reportable=True)


def _move(case: Case) -> None:
    to = cast.free_place(case, Place.Kind.BAY)
    Place.objects.filter(pk=to.pk).update(name="The far bay")
    to.refresh_from_db()
    acts.move_person(case, _signed(case, "O1"), cast.token(), to)


def _ask_more(case: Case) -> None:
    house_rules.add(_signed(case, "M1"), cast.token(), "wait.hours", 300)


def _step(case: Case) -> None:
    cast.do("authorize", case)


# An act, and what the page then shows and did not show before.
SHOWN: list[tuple[Callable[[Case], Any], str]] = [
    (_hold, "Ring missing"),
    (_lift, "Holds that were lifted"),
    (_correct, "Compare the identity band"),
    (_correct_and_compare, "Adah Example"),
    (_file, "R-77"),
    (_says, "Nora New"),
    (_name, "Rita Receiver"),
    (_answer, "Pacemaker: <strong>No</strong>"),
    (_settle, "<dt>Reportable death</dt><dd>yes</dd>"),
    (cast.list_ring, "wedding ring"),
    (cast.make_label, "</span></a>, by hand, "),
    (_move, "The far bay"),
    (_ask_more, "with what this house asks beyond it"),
    (_step, "Authorized</span>"),
]


@pytest.mark.parametrize(("act", "shown"), SHOWN)
def test_an_act_shows_at_once(in_care: Case, act: Callable[[Case], Any], shown: str) -> None:
    client = browser(cast.member(in_care.facility, "C1"))
    before = [_page(client, in_care) for _ in range(2)]
    assert not [page for page in before if shown in page]
    act(in_care)
    assert shown in _page(client, in_care)
