"""The page of a run: who sees what, what is found, and a manager's answers."""

import json
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from cases.models import Case
from chain_of_custody.models import CustodyEntry
from crematory import clock
from crematory.models import StaffMember
from crematory.units import NBSP
from retort_log import settling
from retort_log.corrections import RightValues, correct_reading
from retort_log.models import FindingSettled, PermitToOperate, Reading, Run
from tests import cast
from tests.cases.pages import browser, signed, text_of, url
from tests.retort_log.test_recorded import keep, series

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)
MINIMUM = {"value": "1600", "unit": "degF", "citation": "Permit, condition 4", "mark": "house"}
REASON = "Thermocouple checked; the door was open for the repositioning."


@pytest.fixture(autouse=True)
def minimum(case: Case) -> None:
    """The permit states a least temperature of the secondary chamber."""
    terms = {"code": "p", "title": "Permit of the county", "secondary_minimum": MINIMUM}
    PermitToOperate.objects.filter(facility=case.facility).update(terms=terms)


@pytest.fixture
def dipped(case: Case) -> Case:
    """A person recovered from a run whose secondary chamber fell below its minimum once."""
    cast.bring(case, "in_retort")
    with clock.pinned(case.run.charged_at + 20 * MINUTE):
        cast.read(case.run.retort, (Decimal("650"), Decimal("850")))
    return cast.bring(case, "recovered")


def plain(text: str) -> str:
    return text.replace(NBSP, " ").replace("&nbsp;", " ")


def open_digest(case: Case) -> str:
    (one,) = settling.open_of(Run.objects.get(case=case), case.stage_since)
    return one.digest


def settle_address(case: Case) -> str:
    return url("settle-finding", case, open_digest(case))


def answer(who: StaffMember, **changes: Any) -> dict[str, Any]:
    return {"reason": REASON, "token": cast.token(), **signed(who), **changes}


@pytest.mark.parametrize("key", [cast.CLERK, cast.OPERATOR, cast.MANAGER])
def test_everybody_sees_the_run_and_only_a_manager_settles(dipped: Case, key: str) -> None:
    client = browser(cast.member(dipped.facility, key))
    page = plain(text_of(client, url("run", dipped)))
    for words in (
        "Ada Example", "the run in Retort 1", "Recovered", "Breach",
        "Secondary chamber below its minimum", "Permit, condition 4", "1,600 °F",
        "Check with the authority.", "Olive Operator (QVO1); witness Oscar Operator (QVO2)",
        "One finding waits for a manager's answer.", "lowest secondary", "1,562.0 °F",
    ):  # fmt: skip
        assert words in page
    may = key == cast.MANAGER
    assert (settle_address(dipped) in page) is may
    assert ("Who may settle this: manager." in page) is not may
    assert client.get(settle_address(dipped)).status_code == (200 if may else 403)
    assert client.post(settle_address(dipped), answer(cast.member(dipped.facility, key)))
    assert FindingSettled.objects.exists() is may


def test_another_house_and_nobody_charged(
    dipped: Case, other_operator: StaffMember, facility: Any, clerk: StaffMember
) -> None:
    stranger, digest = browser(other_operator), open_digest(dipped)
    for name in ("run", "run-chart", "run-picture"):
        assert stranger.get(url(name, dipped)).status_code == 404
    manager = cast.member(other_operator.facility, cast.MANAGER)
    assert browser(manager).get(url("settle-finding", dipped, digest)).status_code == 404
    waiting = cast.make_case(facility)
    assert browser(clerk).get(url("run", waiting)).status_code == 404


def test_settled_once_with_its_reason(dipped: Case, as_manager: Client) -> None:
    manager = cast.member(dipped.facility, cast.MANAGER)
    address, sent = settle_address(dipped), answer(manager)
    for _ in range(2):
        response = as_manager.post(address, sent)
        assert (response.status_code, response.headers["Location"]) == (302, url("run", dipped))
    row = FindingSettled.objects.get()
    assert (row.reason, row.settled_by) == (REASON, manager)
    page = text_of(as_manager, url("run", dipped))
    assert REASON in page
    assert "by Mabel Manager" in page
    assert "waits for a manager" not in page
    assert as_manager.get(address).headers["Location"] == url("run", dipped)
    cast.do("process", dipped)


def test_the_case_leads_to_its_run_where_findings_wait(dipped: Case, as_clerk: Client) -> None:
    page = text_of(as_clerk, url("case", dipped))
    link = f'href="{url("run", dipped)}">The run: chart and findings</a>'
    assert page.count(link) == 2  # beside the run, and at the gate that waits


@pytest.mark.parametrize(
    ("change", "status", "words"),
    [
        ({"reason": "  "}, 422, "Nothing was changed"),
        ({"reason": "x" * 1001}, 422, "at most 1000"),
        ({"signer_pin": "999000"}, 403, "not"),
        ({"signer_code": "QVO1", "signer_pin": cast.PINS["O1"]}, 403, "A manager of this facility"),
    ],
)
def test_a_refusal_keeps_what_was_typed(
    dipped: Case, as_manager: Client, change: dict[str, str], status: int, words: str
) -> None:
    sent = answer(cast.member(dipped.facility, cast.MANAGER), **change)
    response = as_manager.post(settle_address(dipped), sent)
    page = response.content.decode()
    assert response.status_code == status
    assert words in page
    assert sent["reason"].strip() in page
    assert not FindingSettled.objects.exists()
    refused = CustodyEntry.objects.filter(act="settle_finding", outcome="refused")
    assert refused.count() == (1 if status == 403 else 0)


def test_what_was_typed_outlives_the_session(client: Client, dipped: Case) -> None:
    manager = cast.member(dipped.facility, cast.MANAGER)
    address = settle_address(dipped)
    client.post(address, answer(manager))
    sent = {"username": manager.staff_code, "password": cast.PASSWORD, "next": address}
    page = client.post(reverse("login"), sent, follow=True).content.decode()
    assert REASON in page
    assert "Kept, not recorded yet" in page
    assert cast.pin_of(manager) not in page


def test_what_is_found_no_more_is_refused_and_what_was_typed_stays(
    dipped: Case, as_manager: Client
) -> None:
    manager, address = cast.member(dipped.facility, cast.MANAGER), settle_address(dipped)
    reading = Reading.objects.get(secondary_c=Decimal("850"))
    with clock.pinned(dipped.stage_since):
        right = RightValues(Decimal("650"), Decimal("880"), is_confirmed=True)
        correct_reading(reading, cast.signature(manager), "typed wrongly", right)
    response = as_manager.post(address, answer(manager))
    assert response.status_code == 409
    page = response.content.decode()
    assert "no longer what the record shows" in page
    assert REASON in page
    # And the page of the run says what came to the readings since burner off.
    page = text_of(as_manager, url("run", dipped))
    assert "Since burner off, readings of the burning came in or were put right" in page
    assert "was corrected" in page


def test_a_gap_is_shown_with_its_times_and_settled_while_the_run_goes_on(
    case: Case, as_manager: Client
) -> None:
    cast.bring(case, "in_retort")
    at = case.run.charged_at
    for minutes in (10, 40):
        with clock.pinned(at + minutes * MINUTE):
            cast.read(case.run.retort, cast.HOT)
    with clock.pinned(at + 41 * MINUTE):
        page = plain(text_of(as_manager, url("run", case)))
        assert "Gap in the record" in page
        assert "a gap of 30 min at the longest: 11:40–12:10" in page
        assert "Burning" in page
        told = json.loads(as_manager.get(url("run-chart", case)).content)
    assert None in told["columns"][0]
    assert [mark["words"] for mark in told["marks"]] == ["Charge"]


def test_the_chart_is_json_in_the_facilitys_unit_and_zone(
    dipped: Case, as_operator: Client
) -> None:
    response = as_operator.get(url("run-chart", dipped))
    assert response.headers["Content-Type"] == "application/json"
    told = json.loads(response.content, parse_constant=pytest.fail)  # NaN is no JSON
    assert (told["unit"], told["zone"]) == ("°F", "America/Denver")
    assert [channel["name"] for channel in told["channels"]] == ["secondary", "primary"]
    words = [plain(limit["words"]) for limit in told["limits"]]
    assert words == [
        "primary, to be swept: at most 194 °F",
        "secondary, at the charge and while burning: at least 1,600 °F",
    ]
    assert 1562 in told["columns"][0]
    assert [mark["words"] for mark in told["marks"]] == ["Charge", "Burner off", "Recover"]
    assert told["is_over"]
    picture = as_operator.get(url("run-picture", dipped))
    assert picture.headers["Content-Type"] == "image/svg+xml"
    assert b"polyline" in picture.content


def test_warned_before_a_limit_is_crossed_here_and_at_the_machine(
    case: Case, as_operator: Client
) -> None:
    cast.bring(case, "in_retort")
    retort, at = case.run.retort, case.run.charged_at
    member = cast.member(case.facility, cast.OPERATOR)
    falling = [(650.0, 1680.0 - 4 * n) for n in range(16)]
    keep(retort, member, series(at, falling))
    with clock.pinned(at + 15 * MINUTE):
        for address in (url("run", case), reverse("machine", args=["retort-1"])):
            page = plain(text_of(as_operator, address))
            assert "Not crossed yet: The secondary chamber is about to go below" in page
            assert "1,620 °F" in page
        news = as_operator.get(url("run", case), headers={"HX-Request": "true"}).content.decode()
    assert "Not crossed yet" in news
    assert "<html" not in news


def test_the_sweep_is_foretold_with_its_interval_and_honest_words(
    case: Case, as_operator: Client
) -> None:
    cast.bring(case, "cooling")
    off = case.run.burner_off_at
    assert off is not None
    member = cast.member(case.facility, cast.OPERATOR)
    fall = [(20 + 880 * 0.985**n, 900.0) for n in range(60)]
    keep(case.run.retort, member, series(off, fall))
    with clock.pinned(off + 60 * MINUTE):
        page = plain(text_of(as_operator, url("run", case)))
    assert "A safe sweep is expected" in page
    assert "not before" in page
    assert "a room at 68 °F (assumed)" in page
    assert "only a reading says that the chamber is cool" in page
    with clock.pinned(off + 2 * MINUTE):
        page = plain(text_of(as_operator, url("run", case)))
    assert "No time can be given" in page or "cannot be foreseen" in page


def test_a_loggers_file_that_came_after_burner_off_is_told(case: Case, as_operator: Client) -> None:
    cast.bring(case, "cooling")
    page = text_of(as_operator, url("run", case))
    assert "those of which the trail holds the SHA-256" in page
    member = cast.member(case.facility, cast.OPERATOR)
    keep(case.run.retort, member, series(case.run.charged_at + MINUTE, [(640, 1640)] * 46))
    page = text_of(as_operator, url("run", case))
    assert "Since burner off, readings of the burning came in" in page
    assert "The file “log.csv” of logger was taken in" in page


def test_queries_do_not_grow_with_forty_thousand_readings(case: Case, as_manager: Client) -> None:
    cast.bring(case, "in_retort")
    run = case.run
    for minutes in range(0, 60, 10):
        with clock.pinned(run.charged_at + minutes * MINUTE):
            cast.read(run.retort, cast.HOT)
    end = run.charged_at + timedelta(hours=12)
    counts = []
    for samples in (60, 40_000):
        member = cast.member(case.facility, cast.OPERATOR)
        values = [(650.0, 1650.0 + n % 7) for n in range(samples)]
        start = run.charged_at + (timedelta() if samples == 60 else timedelta(minutes=5))
        keep(run.retort, member, series(start, values, timedelta(seconds=1)))
        with clock.pinned(end), CaptureQueriesContext(connection) as asked:
            assert as_manager.get(url("run", case)).status_code == 200
        with clock.pinned(end), CaptureQueriesContext(connection) as for_chart:
            assert as_manager.get(url("run-chart", case)).status_code == 200
        counts.append((len(asked), len(for_chart)))
    assert counts[0] == counts[1]
    assert counts[0] == (26, 11)
