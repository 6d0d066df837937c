"""The loop that asks all controllers of a house which are switched on, each in its own rhythm.

Asking goes on in threads, writing in this one: a controller that does not answer holds up no
other one, and nothing is written by two hands.
"""

import logging
import threading
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from django.db import DatabaseError

from crematory import clock
from retort_log import live
from retort_log.modbus.asking import Asker, NoAnswer
from retort_log.modbus.registers import ChannelError, channels_of
from retort_log.models import Controller

logger = logging.getLogger(__name__)

MOST_AT_ONCE = 8
# How often it is looked up whether a controller was switched on, off or set up otherwise.
LOOK_AGAIN = timedelta(seconds=10)
# How often answers are packed; a block is an hour of them.
PACK_EVERY = timedelta(minutes=1)
TICK_S = 0.05

Answer = tuple[datetime, dict[str, int | None]]


@dataclass
class _Asked:
    """A controller that is being asked: its connection, and when it is asked next."""

    controller: Controller
    asker: Asker
    next_at: datetime
    packed_at: datetime
    waiting: "Future[Answer] | None" = field(default=None)


class Polling:
    """Asks until it is told to stop. `made` makes the connection; tests bring their own."""

    def __init__(self, made: Callable[..., Any] = Asker) -> None:
        self._made = made
        self._asked: dict[int, _Asked] = {}
        self._looked_at: datetime | None = None

    def run(self, stop: threading.Event, until: datetime | None = None) -> None:
        """Ask, until `stop` is set or `until` has come; then end all connections."""
        with ThreadPoolExecutor(MOST_AT_ONCE) as pool:
            try:
                while not stop.wait(TICK_S) and (until is None or clock.now() < until):
                    self.step(pool)
            finally:
                self.close()

    def close(self) -> None:
        """End all connections; the next step opens them again."""
        for asked in self._asked.values():
            asked.asker.close()
        self._asked, self._looked_at = {}, None

    def step(self, pool: ThreadPoolExecutor) -> None:
        """Look whom to ask, ask who is due, and keep what was answered."""
        now = clock.now()
        try:
            if self._looked_at is None or now - self._looked_at >= LOOK_AGAIN:
                self._look(now)
            for asked in self._asked.values():
                self._take(asked)
                if asked.waiting is None and now >= asked.next_at:
                    asked.waiting = pool.submit(_ask, asked.asker)
                    asked.next_at = now + timedelta(seconds=asked.controller.every_s)
                if now - asked.packed_at >= PACK_EVERY:
                    live.pack_ripe(asked.controller, now)
                    asked.packed_at = now
        except DatabaseError:  # a restart of the database is no reason to stop asking
            logger.exception("Answers of a controller could not be stored.")

    def _look(self, now: datetime) -> None:
        on = Controller.objects.filter(is_on=True).select_related("retort__facility")
        rows = {row.pk: row for row in on}
        for pk in [pk for pk, asked in self._asked.items() if _changed(asked, rows.get(pk))]:
            self._asked.pop(pk).asker.close()
        for pk, row in rows.items():
            if pk not in self._asked:
                self._begin(row, now)
        self._looked_at = now

    def _begin(self, row: Controller, now: datetime) -> None:
        try:
            channels = channels_of(row.channels)
            asker = self._made(row.host, row.port, row.device_id, channels)
        except ChannelError as error:
            live.keep_silence(row, now, str(error))
            return
        self._asked[row.pk] = _Asked(row, asker, now, now)

    def _take(self, asked: _Asked) -> None:
        if asked.waiting is None or not asked.waiting.done():
            return
        answer, asked.waiting = asked.waiting, None
        try:
            at, tenths = answer.result()
        except NoAnswer as silence:
            live.keep_silence(asked.controller, clock.now(), str(silence))
        else:
            live.keep_answer(asked.controller, at, tenths)


def _ask(asker: Any) -> Answer:
    tenths = asker.ask()
    return clock.now(), tenths


def _changed(asked: _Asked, row: Controller | None) -> bool:
    told = ("host", "port", "device_id", "every_s", "channels")
    return row is None or any(getattr(row, f) != getattr(asked.controller, f) for f in told)
