"""Parts of pages that are kept: any act shows at once, and nothing of a request is kept."""

import re
import time
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from decimal import Decimal

import pytest
from django.core.cache import caches
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from cases import acts, corrections, hold_acts, staffing
from cases.errors import StepRefused
from cases.models import Case
from crematory import clock
from crematory.models import Facility
from retort_log.acts import record_reading
from retort_log.doubts import FRESH
from retort_log.fitness import state_fitness
from retort_log.models import Controller, LiveSample
from retort_log.recorded import to_ms
from tests import cast
from tests.cases.pages import text_of

pytestmark = pytest.mark.django_db
TODAY, LIST, PLACES = "today", "cases:list", "places"
RETORT = "machine"
OF_THE_CASE = ("cases:case", "cases:trail")


@pytest.fixture
def still(facility: Facility) -> Iterator[datetime]:
    """A minute that does not pass, after all that the test's case has done."""
    at = (cast.START + timedelta(days=30)).replace(second=10, microsecond=0)
    with clock.pinned(at):
        yield at


def address(page: str, case: Case) -> str:
    arguments = {RETORT: ["retort-1"]} | {key: [case.number] for key in OF_THE_CASE}
    return reverse(page, args=arguments.get(page, []))


def _hold(case: Case) -> None:
    hold_acts.open_hold(case, cast.signature(cast.member(case.facility, "O1")), "h", "Ring missing")


def _lift(case: Case) -> None:
    _hold(case)
    manager = cast.signature(cast.member(case.facility, "M1"))
    hold_acts.lift_hold(
        case.holds.get(), manager, "l", hold_acts.Lifting(on="cleared", reason="Ring found")
    )


def _correct(case: Case) -> None:
    manager = cast.signature(cast.member(case.facility, "M1"))
    corrections.correct(case, manager, "c", "decedent_name", "Adah Example", "misspelt")


def _file(case: Case) -> None:
    clerk = cast.member(case.facility, "C1")
    acts.file_document(
        case, clerk, "d", kind="death_record", reference="R-77", issued_by="Registrar",
        issued_on=cast.START.date(),
    )  # fmt: skip


def _announce(case: Case) -> None:
    clerk = cast.member(case.facility, "C1")
    died = clock.now() - timedelta(days=1)
    acts.announce(case.facility, clerk, "a", decedent_name="Bea New", died_at=died, sender="Home")


def _read(case: Case) -> None:
    retort = case.facility.retorts.all()[0]
    operator = cast.member(case.facility, "O1")
    record_reading(retort, operator, Decimal("611.0"), Decimal("880.0"))


def _unfit(case: Case) -> None:
    manager = cast.signature(cast.member(case.facility, "M1"))
    state_fitness(case.facility.retorts.all()[0], manager, is_fit=False, reason="door seal worn")


def _deactivate(case: Case) -> None:
    manager = cast.signature(cast.member(case.facility, "M1"))
    staffing.deactivate(manager, cast.member(case.facility, "O1"))


def _receive(case: Case) -> None:
    cast.take("receive", case, cast.facts_for("receive", case), **cast.signers("receive", case),
              token="r")  # fmt: skip


def _refused(case: Case) -> None:
    with pytest.raises(StepRefused):
        cast.take(
            "receive",
            case,
            cast.facts_for("receive", case, band_reads="Someone Else"),
            **cast.signers("receive", case),
            token="r",
        )


# An act, a page, and what that page then shows and did not show before.
SHOWN: list[tuple[Callable[[Case], None], str, str]] = [
    (_announce, TODAY, "Bea New"),
    (_announce, LIST, "Bea New"),
    (_hold, TODAY, "Ring missing"),
    (_lift, "cases:trail", "Ring found"),
    (_correct, TODAY, "Adah Example"),
    (_correct, LIST, "Adah Example"),
    (_correct, "cases:trail", "Adah Example"),
    (_file, "cases:case", "R-77"),
    (_file, "cases:trail", "R-77"),
    (_read, TODAY, "1,616"),
    (_read, "machines", "1,616"),
    (_read, RETORT, '<td class="num">1,616'),
    (_unfit, TODAY, "Out of use"),
    (_unfit, "machines", "Out of use"),
    (_unfit, "house", "door seal worn"),
    (_deactivate, "house", "not active"),
    (_receive, PLACES, "Ada Example"),
    (_receive, "cases:case", "witness Cyril Clerk"),
    (_refused, "cases:trail", "not met: Identity band"),
]


@pytest.mark.usefixtures("still")
@pytest.mark.parametrize(("act", "page", "shown"), SHOWN)
def test_an_act_shows_at_once(
    as_clerk: Client, case: Case, act: Callable[[Case], None], page: str, shown: str
) -> None:
    assert shown not in text_of(as_clerk, address(page, case))
    assert shown not in text_of(as_clerk, address(page, case))
    act(case)
    assert shown in text_of(as_clerk, address(page, case))


@pytest.mark.parametrize("page", [TODAY, LIST, PLACES])
def test_the_same_minute_is_answered_from_what_is_kept(
    as_clerk: Client, case: Case, still: datetime, page: str
) -> None:
    cast.bring(case, "in_care")
    first = as_clerk.get(address(page, case)).content
    with CaptureQueriesContext(connection) as queries:
        again = as_clerk.get(address(page, case)).content
    assert len(queries) == 2  # the session; the member with facility and log
    assert _main(again) == _main(first)
    later = still + timedelta(minutes=1)
    with clock.pinned(later), CaptureQueriesContext(connection) as queries:
        as_clerk.get(address(page, case))
    assert len(queries) > 2


def test_a_reading_grows_old_within_the_minute(
    as_clerk: Client, case: Case, still: datetime
) -> None:
    _read(case)
    almost = still + FRESH - timedelta(milliseconds=300)
    with clock.pinned(almost):
        assert "Old reading" not in text_of(as_clerk, reverse("machines"))
    time.sleep(0.3)
    with clock.pinned(almost + timedelta(milliseconds=301)):
        assert "Old reading" in text_of(as_clerk, reverse("machines"))


def _main(content: bytes) -> bytes:
    """The page below the bar, but for the token of its form: that one is new each time."""
    return re.sub(rb'value="[A-Za-z0-9]{64}"', b"", content[content.index(b"<main") :])


def test_nothing_of_the_request_is_kept(as_clerk: Client, case: Case) -> None:
    sent: set[str] = set()
    for page in (TODAY, LIST, PLACES, RETORT, *OF_THE_CASE):
        sent |= _tokens(text_of(as_clerk, address(page, case)))
    kept = _everything_kept()
    assert "Ada Example" in kept
    assert not [token for token in sent if token in kept]
    for word in ("Clara Clerk</span>", "bar-person", "csrftoken"):
        assert word not in kept


def _everything_kept() -> str:
    return "".join(caches["parts"].get(key.split(":", 2)[2]) for key in _keys())


def _tokens(page: str) -> set[str]:
    """Every token of a page: of the forms, and those of one sending."""
    return set(re.findall(r'name="(?:csrfmiddlewaretoken|token)" value="([^"]+)"', page))


@pytest.mark.usefixtures("still")
def test_each_answer_fills_the_gaps_with_tokens_of_its_own(as_clerk: Client, case: Case) -> None:
    cast.bring(case, "in_care")
    first, again = (text_of(as_clerk, address("cases:case", case)) for _ in range(2))
    assert _main(first.encode()) != first.encode()
    once = [re.findall(r'name="token" value="([^"]+)"', page) for page in (first, again)]
    assert len(once[0]) == len(once[1]) == 5  # drop; label, by hand, receipt, trail
    plain = [token.removesuffix("-hand") for tokens in once for token in tokens]
    assert len(set(plain)) == 10
    assert all(len(token) == 32 for token in plain)
    for page in (first, again):
        assert "csrf-" not in page
        assert "once-" not in page


@pytest.mark.usefixtures("still")
def test_a_button_of_a_kept_page_works_for_whom_it_was_shown(case: Case) -> None:
    """Two members are shown the same kept page; each prints with the tokens of their own."""
    cast.bring(case, "in_care")
    page, printing = (
        address("cases:case", case),
        reverse("cases:print", args=[case.number, "label"]),
    )
    for key in ("C1", "C2"):
        client = Client(enforce_csrf_checks=True)
        client.force_login(cast.member(case.facility, key))
        text_of(client, page)
        shown = text_of(client, page)
        form = shown[shown.index(f'action="{printing}"') :]
        named = dict(re.findall(r'name="(csrfmiddlewaretoken|token)" value="([^"]+)"', form[:600]))
        before = case.papers.count()
        assert client.post(printing, named).status_code == 302
        assert case.papers.count() == before + 1
        assert client.post(printing, named).status_code == 302  # the same token: the same paper
        assert case.papers.count() == before + 1


def _keys() -> list[str]:
    return list(getattr(caches["parts"], "_cache"))  # noqa: B009 - the backend has no listing


def test_without_an_entry_nothing_is_kept(as_clerk: Client) -> None:
    as_clerk.get(reverse(TODAY))
    assert not _keys()


@pytest.mark.usefixtures("still")
def test_each_facility_and_role_has_its_own(
    as_clerk: Client, case: Case, other_facility: Facility
) -> None:
    cast.make_case(other_facility, decedent_name="Nobody Here")
    assert "Nobody Here" not in text_of(as_clerk, reverse(TODAY))
    before = len(_keys())
    client = Client()
    client.force_login(cast.member(other_facility, "C1"))
    assert "Nobody Here" in text_of(client, reverse(TODAY))
    client.force_login(cast.member(case.facility, "M1"))
    client.get(reverse(TODAY))
    assert len(_keys()) == before + 2


@pytest.mark.usefixtures("still")
def test_what_a_controller_writes_shows_at_once(as_operator: Client, case: Case) -> None:
    """No act tells of it: where there is a controller the page is kept for no time at all."""
    cast.bring(case, "in_retort")
    retort = case.run.retort
    Controller.objects.create(retort=retort, host="controller.example", channels=[])
    pages = (reverse("machine", args=[retort.place.code]), address("cases:case", case))
    for page in pages:
        assert "A gap of" in text_of(as_operator, page)
    at = case.run.charged_at
    while at < clock.now():
        at += timedelta(minutes=10)
        LiveSample.objects.create(
            retort=retort, at_ms=to_ms(min(at, clock.now())), tenths={"secondary degC": 9000}
        )
    for page in pages:
        assert "A gap of" not in text_of(as_operator, page)
