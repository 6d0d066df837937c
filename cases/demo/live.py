"""The live retort of the demonstration: a simulated controller, and the loop that asks it."""

import logging
import threading
from collections.abc import Callable
from types import TracebackType
from typing import Self

from django.db import DatabaseError, connection

from crematory import clock
from crematory.models import Facility
from retort_log import events
from retort_log.modbus.simulator import CHANNELS, DEVICE, HOST, Simulator
from retort_log.models import Controller, Retort
from retort_log.polling import Polling
from retort_log.run_life import Phase

logger = logging.getLogger(__name__)

LOOK_EVERY_S = 0.5
END_WITHIN_S = 10


def live_retort(facility: Facility) -> Retort:
    """Return the retort that is live: the last by name, which the demonstration leaves empty."""
    return Retort.objects.filter(facility=facility).order_by("-name")[0]


class Live:
    """While it is entered, a retort has a controller, and its answers are kept.

    The simulated machine does what the database says that its retort does. Entering raises
    OSError where the machine cannot serve on loopback.
    """

    def __init__(self, retort: Retort) -> None:
        self.retort, self.phase = retort, Phase.CLEAR
        self._stop = threading.Event()
        self._machine = Simulator(lambda: self.phase)
        # The machine itself serves without waiting, so that it cannot ask the database.
        self._threads = [
            threading.Thread(target=self._run, args=(work,), name=name, daemon=True)
            for name, work in (("phase of the retort", self._follow), ("polling", self._poll))
        ]

    def __enter__(self) -> Self:
        self._look()
        self._machine.start()
        told = {"host": HOST, "port": self._machine.port, "device_id": DEVICE}
        Controller.objects.update_or_create(
            retort=self.retort,
            defaults={**told, "every_s": 1, "channels": CHANNELS, "is_on": True},
        )
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._stop.set()
        for thread in self._threads:
            thread.join(END_WITHIN_S)
        self._machine.close()
        Controller.objects.filter(retort=self.retort).update(is_on=False)

    def _look(self) -> None:
        self.phase = events.now_at(self.retort, clock.now()).phase

    def _follow(self) -> None:
        while not self._stop.wait(LOOK_EVERY_S):
            try:
                self._look()
            except DatabaseError:  # somebody else writes: the machine goes on as it was
                logger.exception("The phase of the live retort could not be read.")

    def _poll(self) -> None:
        Polling().run(self._stop)

    def _run(self, work: Callable[[], None]) -> None:
        try:
            work()
        finally:
            connection.close()
