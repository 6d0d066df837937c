"""A controller is asked over loopback: kept answers, lost connections, no invented values."""

import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import call_command

from crematory import clock
from retort_log import live, recorded
from retort_log.modbus.simulator import CHANNELS, Simulator
from retort_log.models import Controller, ControllerState, LiveSample, ReadingBlock, Retort
from retort_log.polling import Polling
from retort_log.run_life import Phase
from tests import cast

pytestmark = pytest.mark.django_db
AT = cast.START
TIRED = timedelta(seconds=30)


@pytest.fixture
def simulator() -> Iterator[Simulator]:
    made = Simulator(lambda: Phase.PREHEATING)
    made.start()
    yield made
    made.close()


def controller_at(retort: Retort, port: int, channels: list[dict[str, object]]) -> Controller:
    return Controller.objects.create(
        retort=retort, host="127.0.0.1", port=port, channels=channels, is_on=True
    )


@pytest.fixture
def polling() -> Iterator[Polling]:
    made = Polling()
    yield made
    made.close()


def poll(polling: Polling, done: Callable[[], bool]) -> None:
    """Ask until it is done; a machine that is too slow fails the test in the end."""
    late = clock.now() + TIRED
    with ThreadPoolExecutor(2) as pool:
        while not done():
            assert clock.now() < late, "nothing came"
            polling.step(pool)


def test_answers_are_kept_and_a_silence_is_a_gap(
    retort: Retort, simulator: Simulator, polling: Polling
) -> None:
    controller = controller_at(retort, simulator.port, CHANNELS)
    poll(polling, lambda: LiveSample.objects.count() >= 2)
    state = ControllerState.objects.get(controller=controller)
    assert (state.trouble, set(state.values)) == ("", {"primary degC", "secondary degC"})
    port = simulator.port
    simulator.close()
    poll(polling, lambda: ControllerState.objects.exclude(trouble="").exists())
    lost = LiveSample.objects.count()
    silent = ControllerState.objects.get(controller=controller)
    assert silent.answered_at is not None
    assert silent.answered_at < silent.asked_at
    again = Simulator(lambda: Phase.PREHEATING, port=port)
    again.start()
    try:
        poll(polling, lambda: LiveSample.objects.count() > lost)
    finally:
        again.close()
    assert ControllerState.objects.get(controller=controller).trouble == ""
    times = list(LiveSample.objects.values_list("at_ms", flat=True))
    assert times == sorted(set(times))


def test_what_the_controller_refuses_is_said(
    retort: Retort, simulator: Simulator, polling: Polling
) -> None:
    wrong = [{**CHANNELS[0], "register": 900}]
    controller = controller_at(retort, simulator.port, wrong)
    poll(polling, lambda: ControllerState.objects.filter(controller=controller).exists())
    assert "register" in ControllerState.objects.get().trouble
    assert not LiveSample.objects.exists()


def test_channels_that_make_no_sense_are_said_and_nothing_is_asked(
    retort: Retort, polling: Polling
) -> None:
    controller_at(retort, 502, [{"name": "soul"}])
    poll(polling, ControllerState.objects.exists)
    assert "channel" in ControllerState.objects.get().trouble.lower()


def test_a_controller_that_is_switched_off_is_not_asked(
    retort: Retort, simulator: Simulator
) -> None:
    controller_at(retort, simulator.port, CHANNELS)
    Controller.objects.update(is_on=False)
    call_command("poll_controllers", seconds=0.3, stdout=StringIO())
    assert not ControllerState.objects.exists()


def test_the_loop_ends_when_it_is_told_to() -> None:
    stop = threading.Event()
    stop.set()
    Polling().run(stop)


def keep(controller: Controller, count: int, step: timedelta = timedelta(seconds=1)) -> None:
    rows = [
        LiveSample(
            retort=controller.retort,
            at_ms=recorded.to_ms(AT + n * step),
            tenths={"primary degC": 6000 + n, "secondary degC": None if n == 3 else 8800},
        )
        for n in range(count)
    ]
    LiveSample.objects.bulk_create(rows)


def test_packing_changes_nothing_of_what_was_kept(retort: Retort) -> None:
    controller = controller_at(retort, 502, CHANNELS)
    keep(controller, 40)
    ends = AT, AT + timedelta(minutes=5)
    before = recorded.digest(retort, *ends), recorded.times(retort, *ends)
    assert live.pack_ripe(controller, AT + timedelta(minutes=5)) == 0  # not yet an hour
    assert live.pack_ripe(controller, AT + timedelta(hours=2)) == 40
    assert (recorded.digest(retort, *ends), recorded.times(retort, *ends)) == before
    assert not LiveSample.objects.exists()
    block = ReadingBlock.objects.get()
    assert (block.count, block.controller) == (40, controller)


def test_a_full_block_is_packed_at_once(retort: Retort) -> None:
    controller = controller_at(retort, 502, CHANNELS)
    keep(controller, 3_600, timedelta(milliseconds=100))
    assert live.pack_ripe(controller, AT + timedelta(minutes=6)) == 3_600


def test_the_same_moment_is_kept_once(retort: Retort) -> None:
    controller = controller_at(retort, 502, CHANNELS)
    live.keep_answer(controller, AT, {"primary degC": 6000})
    live.keep_answer(controller, AT, {"primary degC": 6000})
    assert LiveSample.objects.count() == 1


def test_silence_is_known_after_half_a_minute(retort: Retort) -> None:
    controller = controller_at(retort, 502, CHANNELS)
    assert live.is_silent(None, AT)
    live.keep_answer(controller, AT, {"primary degC": 6000})
    live.keep_silence(controller, AT + timedelta(seconds=10), "lost")
    state = ControllerState.objects.get()
    assert not live.is_silent(state, AT + timedelta(seconds=30))
    assert live.is_silent(state, AT + timedelta(seconds=31))
