"""The clock of the site and its pin."""

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from crematory import clock

NOON = datetime(2026, 3, 3, 12, 0, tzinfo=UTC)


def test_now_is_aware_and_in_utc() -> None:
    assert clock.now().utcoffset() == timedelta(0)
    assert abs(clock.now() - datetime.now(UTC)) < timedelta(seconds=10)


def test_pins_nest_and_are_taken_out_again() -> None:
    with clock.pinned(NOON):
        with clock.pinned(NOON + timedelta(hours=1)):
            assert clock.now() == NOON + timedelta(hours=1)
        assert clock.now() == NOON
    assert clock.now() > NOON


def fail_while_pinned() -> None:
    with clock.pinned(NOON):
        raise LookupError


def test_a_pin_is_taken_out_after_an_error() -> None:
    with pytest.raises(LookupError):
        fail_while_pinned()
    assert clock.now() > NOON


def test_a_pin_in_another_zone_is_answered_in_utc() -> None:
    with clock.pinned(datetime(2026, 3, 3, 5, 0, tzinfo=ZoneInfo("America/Phoenix"))):
        assert clock.now() == NOON
        assert clock.now().tzinfo is UTC


def test_a_pin_without_a_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="with its zone"), clock.pinned(datetime(2026, 3, 3)):
        pass


def test_another_thread_keeps_the_real_time() -> None:
    with clock.pinned(NOON), ThreadPoolExecutor(1) as pool:
        assert pool.submit(clock.now).result() > NOON
