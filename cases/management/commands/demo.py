"""`manage.py demo`: the site with invented people, on this machine only."""

import shutil
import signal
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import connection

from cases import house_file, law
from cases.demo.build import HOUSE, build
from cases.demo.live import Live, live_retort
from cases.demo.under import under
from cases.demo.walk import walk
from chain_of_custody.typesetter import PressUnavailable
from crematory import clock, demo_environment
from crematory.models import Facility

HOST = "127.0.0.1"
LARGEST_SENDING = 256 * 1024 * 1024  # bytes that the server takes off the line, as in the README


class Command(BaseCommand):
    """Builds the demonstration's database when it is absent, and serves the site."""

    help = "Show the site with invented people; needs no settings."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--fresh", action="store_true", help="make the database new")
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--no-serve", action="store_true", help="build, and end")
        parser.add_argument(
            "--walk",
            type=Path,
            metavar="FOLDER",
            help="take one new case the whole way, leave its papers in FOLDER, verify, and end",
        )

        parser.add_argument(
            "--under",
            metavar="CODE",
            help="the invented house under the law of CODE, with one person whom it refuses",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if not demo_environment.prepared:
            raise CommandError("Start the demonstration as `python manage.py demo`.")
        if options["walk"]:
            self._remove_database()
            call_command("migrate", verbosity=0)
            self._walk(options["walk"])
            return
        if options["fresh"] or options["under"]:
            self._remove_database()
            for folder in (settings.UPLOADS_DIR, settings.DRAWN_DIR):
                shutil.rmtree(folder, ignore_errors=True)
        call_command("migrate", verbosity=0)
        if options["under"]:
            self._under(options["under"])
        elif not Facility.objects.exists():
            self.stdout.write("Building the last ten days of an invented house …")
            build(clock.now())
        self._print_logins()
        if not options["no_serve"]:
            self._serve(options["port"])

    def _under(self, code: str) -> None:
        """Build the house under another law, and say what that law refuses."""
        if code not in law.codes():
            raise CommandError(f"There are rules for: {', '.join(law.codes())}.")
        shown = under(code, clock.now())
        self.stdout.write(f"{shown.case.decedent_name}, case {shown.case.number}, under {code}:")
        for verdict in shown.refused:
            self.stdout.write(f"  refused: {verdict.reason}\n    {verdict.citation}")

    def _remove_database(self) -> None:
        connection.close()
        path = Path(settings.DATABASES["default"]["NAME"])
        for suffix in ("", "-wal", "-shm"):
            path.with_name(path.name + suffix).unlink(missing_ok=True)

    def _walk(self, folder: Path) -> None:
        before = set(folder.glob("*.pdf"))
        try:
            report = walk(folder, clock.now(), self.stdout.write)
        except PressUnavailable as error:
            raise CommandError(f"Papers cannot be printed here: {error}") from error
        if report.first is not None:
            raise CommandError(f"The trail does not hold: {report.first.text}")
        self.stdout.write(f"The trail holds: {report.size} entries, root {report.root}")
        printed = set(folder.glob("*.pdf")) - before
        self.stdout.write(f"New papers in {folder}: {len(printed)}")

    def _print_logins(self) -> None:
        self.stdout.write(f"{'code':6}{'password':22}{'PIN':10}role")
        for member in house_file.read(HOUSE).staff:
            roles = ", ".join(member.roles).replace("_", " ")
            self.stdout.write(f"{member.staff_code:6}{member.password:22}{member.pin:10}{roles}")
        newest = Facility.objects.get().entries.order_by("-sequence")[0].recorded_at
        self.stdout.write(
            f"Last recorded {newest:%Y-%m-%d %H:%M} UTC. "
            "`--fresh` builds everything anew, up to now."
        )

    def _serve(self, port: int) -> None:
        from waitress import serve

        from crematory.wsgi import application

        retort = live_retort(Facility.objects.get())
        # What asks it to end ends the live retort as well.
        signal.signal(signal.SIGTERM, signal.default_int_handler)
        try:
            with Live(retort):
                self.stdout.write(
                    f"{retort.name} is live: a simulated controller, many times faster than a "
                    "machine, does what is recorded on the retort's page."
                )
                self.stdout.write(f"Open http://{HOST}:{port}/   (Ctrl+C ends)")
                self.stdout.flush()  # what is read through a pipe must see it before it ends
                serve(application, host=HOST, port=port, max_request_body_size=LARGEST_SENDING)
        except OSError as error:
            raise CommandError(f"Port {port}: {error.strerror}. Choose another: --port") from error
