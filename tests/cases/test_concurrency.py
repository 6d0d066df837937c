"""Two people at once, on both engines, with real transactions and threads.

The control shows that the lock is what keeps them apart.
"""

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction

from cases import taking
from cases.errors import ActRefused
from cases.models import Case
from cases.taking import take
from chain_of_custody import trail
from chain_of_custody.models import CustodyEntry, Placement
from chain_of_custody.verify import verify
from crematory import clock
from crematory.models import Facility, StaffMember
from tests import cast

pytestmark = pytest.mark.django_db(transaction=True)
TIMES = 3


def together(*acts: Callable[[], Any]) -> list[Any]:
    """Run the acts at the same moment, each in its own thread; return results or exceptions."""
    gate = threading.Barrier(len(acts))
    results: list[Any] = [None] * len(acts)

    def run(index: int, act: Callable[[], Any]) -> None:
        try:
            gate.wait(10)
            results[index] = act()
        except Exception as error:
            results[index] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=pair) for pair in enumerate(acts)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    return results


def attempt(verb: str, case: Case, token: str, **changes: Any) -> Callable[[], CustodyEntry]:
    """Return one person's submission of a step, signed beforehand."""
    at = cast.time_of(verb, case)
    with clock.pinned(at):
        signed = cast.signers(verb, case)
        facts = cast.facts_for(verb, case, **changes)

    def act() -> CustodyEntry:
        with clock.pinned(at):  # the pin belongs to the thread
            return take(verb, case, facts, **signed, token=token)

    return act


def done(case: Case) -> int:
    """Return how many steps of the case are done."""
    return CustodyEntry.objects.filter(case=case).exclude(stage_to="").count()


def test_two_people_take_the_same_step_at_once(facility: Facility) -> None:
    for _ in range(TIMES):
        case = cast.make_case(facility)
        place = cast.free_place(case, "bay")
        results = together(*(attempt("receive", case, cast.token(), place=place) for _ in range(2)))
        entries = [r for r in results if isinstance(r, CustodyEntry)]
        refused = [r for r in results if isinstance(r, ActRefused)]
        assert (len(entries), len(refused)) == (1, 1), results
        assert refused[0].code == "stage"
        assert "Already done" in refused[0].text
        assert done(case) == 1
    assert verify(facility).holds


def test_a_double_submission_is_one_entry(facility: Facility) -> None:
    for _ in range(TIMES):
        case = cast.make_case(facility)
        token = cast.token()
        place = cast.free_place(case, "bay")
        results = together(*(attempt("receive", case, token, place=place) for _ in range(2)))
        assert all(isinstance(r, CustodyEntry) for r in results), results
        assert len({r.pk for r in results}) == 1
        assert done(case) == 1


def test_two_persons_for_the_last_free_bay(facility: Facility) -> None:
    for _ in range(2):
        cast.bring(cast.make_case(facility), "in_care")
    first, second = cast.make_case(facility), cast.make_case(facility)
    last = cast.free_place(first, "bay")
    results = together(
        *(attempt("receive", case, cast.token(), place=last) for case in (first, second))
    )
    refused = [r for r in results if isinstance(r, ActRefused)]
    assert [r.codes for r in refused] == [["free_bay"]], results
    assert Placement.objects.filter(place=last, until=None).count() == 1
    assert done(first) + done(second) == 1
    assert verify(facility).holds


def test_two_persons_for_one_retort(facility: Facility) -> None:
    cases = [cast.bring(cast.make_case(facility, at=cast.START), "tagged") for _ in range(2)]
    with clock.pinned(cast.time_of("charge", cases[0])):
        retort = cast.free_retort(cases[0])
        cast.read(retort, cast.HOT)
        for case in cases:
            cast.make_label(case)
    results = together(*(attempt("charge", c, cast.token(), retort=retort) for c in cases))
    refused = [r for r in results if isinstance(r, ActRefused)]
    assert [r.codes for r in refused] == [["retort_free"]], results
    assert sorted(done(case) for case in cases) == [4, 5]


def test_two_announcements_get_two_numbers(facility: Facility) -> None:
    results = together(*(lambda: cast.make_case(facility, at=cast.START) for _ in range(4)))
    assert len({case.number for case in results}) == 4
    assert facility.entries.filter(act="announce").count() == 4
    assert verify(facility).first is None


@contextmanager
def without_the_lock(monkeypatch: pytest.MonkeyPatch) -> Iterator[threading.Barrier]:
    """Let both read the case before either writes: what the lock prevents."""
    both_have_read = threading.Barrier(2)

    def unlocked(case: Case) -> Case:
        found = Case.objects.select_related("facility").get(pk=case.pk)
        both_have_read.wait(2)
        return found

    with monkeypatch.context() as patch:
        patch.setattr(taking, "lock", unlocked)
        yield both_have_read


def test_without_the_lock_the_loser_meets_the_database(
    facility: Facility, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The control, on PostgreSQL: no refusal in words, but the constraints hold all the same.

    SQLite takes its lock at the start of the transaction, so two can never have read.
    """
    case = cast.make_case(facility)
    place = cast.free_place(case, "bay")
    acts = [attempt("receive", case, cast.token(), place=place) for _ in range(2)]
    with without_the_lock(monkeypatch):
        results = together(*acts)
    if connection.vendor == "sqlite":
        assert all(isinstance(r, threading.BrokenBarrierError) for r in results), results
        assert done(case) == 0
        return
    assert [isinstance(r, CustodyEntry) for r in results].count(True) == 1, results
    assert [isinstance(r, DatabaseError) for r in results].count(True) == 1, results
    assert done(case) == 1


def test_who_waits_for_the_lock_comes_later(facility: Facility, clerk: StaffMember) -> None:
    """With the real clock: what a step waited for is recorded before it, and bears an earlier time.

    The step tries while another act holds the case, and states no time of its own.
    """
    case = cast.bring(cast.make_case(facility), "in_care")
    cast.prepare("authorize", case)
    facts, signed = cast.facts_for("authorize", case), cast.signers("authorize", case)
    holds_it, recorded = threading.Event(), []

    def first() -> None:
        with transaction.atomic():
            taking.lock(case)
            holds_it.set()
            time.sleep(0.3)
            recorded.append(clock.now())

    def second() -> CustodyEntry:
        holds_it.wait(10)
        return take("authorize", case, facts, **signed, token=cast.token())

    _, entry = together(first, second)
    assert isinstance(entry, CustodyEntry), entry
    assert entry.happened_at > recorded[0]


def test_an_entry_outside_a_transaction_is_refused(facility: Facility) -> None:
    from chain_of_custody import trail

    act = trail.Act(facility, "note", happened_at=cast.START, recorded_at=cast.START)
    with pytest.raises(RuntimeError, match="in the transaction"):
        trail.append(act)
    with transaction.atomic():
        trail.append(act)
    assert verify(facility).size == 1


def test_a_refusal_and_a_step_of_one_case_do_not_wait_for_each_other(
    facility: Facility, clerk: StaffMember
) -> None:
    """A refusal locks the log and names the case; a step locks the case and then the log."""
    case = cast.make_case(facility)
    has_case, has_log = threading.Event(), threading.Event()

    def step() -> str:
        with transaction.atomic():
            locked = taking.lock_case(case)
            has_case.set()
            has_log.wait(0 if connection.vendor == "sqlite" else 10)
            trail.lock_log(locked.facility)
        return "done"

    def refused() -> str:
        has_case.wait(10)
        with transaction.atomic():
            trail.lock_log(facility)
            has_log.set()
            taking.record_refusal(case, "receive", ActRefused("stage", ""), clerk)
        return "done"

    assert together(step, refused) == ["done", "done"]
