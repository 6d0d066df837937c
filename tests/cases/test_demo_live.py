"""The demonstration's live retort: what is recorded moves the machine, and its answers are kept."""

import threading
import time
from collections.abc import Callable

import pytest

from cases.demo.live import Live, live_retort
from crematory import clock
from crematory.models import Facility, StaffMember
from retort_log import events, recorded
from retort_log.models import Controller, LiveSample
from retort_log.run_life import Phase

TIRED_S = 60.0


def until(done: Callable[[], bool]) -> None:
    """Wait until it is done; a machine that is too slow fails the test in the end."""
    end = time.monotonic() + TIRED_S
    while not done():
        assert time.monotonic() < end, "nothing came"
        time.sleep(0.2)


@pytest.mark.django_db(transaction=True)
def test_the_machine_follows_what_is_recorded_and_ends_with_the_server(
    facility: Facility, operator: StaffMember
) -> None:
    retort = live_retort(facility)
    before = set(threading.enumerate())
    with Live(retort) as live:
        until(lambda: LiveSample.objects.filter(retort=retort).exists())
        cold = recorded.newest(retort, "secondary", clock.now())
        assert cold is not None
        events.record_event(retort, events.Stated("preheat_begun", clock.now()), operator)
        until(lambda: live.phase == Phase.PREHEATING)

        def is_warmer() -> bool:
            newest = recorded.newest(retort, "secondary", clock.now())
            return newest is not None and newest.celsius > cold.celsius + 20

        until(is_warmer)
        assert Controller.objects.get().is_on
    assert not Controller.objects.get().is_on
    assert set(threading.enumerate()) <= before


def test_the_live_retort_is_the_last_by_name(facility: Facility) -> None:
    assert live_retort(facility).name == "Retort 2"
