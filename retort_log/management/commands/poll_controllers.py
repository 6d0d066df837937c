"""Asks the controllers that are switched on, and keeps what they answer, until it is stopped."""

import signal
import threading
from datetime import timedelta
from types import FrameType
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from crematory import clock
from retort_log.polling import Polling


class Command(BaseCommand):
    """Run it beside the site, once; it ends cleanly when it is asked to."""

    help = (
        "Asks the controllers of the retorts that are switched on over Modbus TCP, and stores "
        "what they answer. A lost connection is tried again; a gap is never filled."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        """Take a time after which it ends by itself."""
        parser.add_argument("--seconds", type=float, help="end after so many seconds")

    def handle(self, *args: Any, seconds: float | None = None, **options: Any) -> None:
        """Ask until stopped."""
        stop = threading.Event()

        def end(number: int, frame: FrameType | None) -> None:
            stop.set()

        if threading.current_thread() is threading.main_thread():
            signal.signal(signal.SIGTERM, end)
            signal.signal(signal.SIGINT, end)
        until = clock.now() + timedelta(seconds=seconds) if seconds is not None else None
        self.stdout.write("Asking the controllers that are switched on. Ctrl+C ends it.")
        Polling().run(stop, until)
        self.stdout.write("Ended.")
