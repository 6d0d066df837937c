"""`manage.py clear_strays`: files that no row names, reported, and removed once they are old."""

from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from chain_of_custody import waiting_files
from chain_of_custody.kept_files import SOURCES, Stray, strays
from chain_of_custody.models import Paper, Upload

# With more than these, and more than there are rows, it is not a power cut: it is another
# database than the one to which the folders belong.
FEW = 20


class Command(BaseCommand):
    help = (
        "Name the kept files that no row names, as a power cut may leave them, and remove those "
        "older than a day; and files that waited longer for somebody's word."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--keep", action="store_true", help="name them, and remove nothing")

    def handle(self, *args: Any, **options: Any) -> None:
        found = strays()
        old = [stray for stray in found if stray.is_old]
        rows = Upload.objects.count() + Paper.objects.count()
        rows += sum(len(source.names()) for source in SOURCES)
        if len(old) > max(FEW, rows):
            raise CommandError(
                f"{len(old)} files have no row, and there are only {rows} rows: {settings.VAR_DIR} "
                "belongs to another database. Nothing was removed."
            )
        for stray in found:
            removed = stray.is_old and not options["keep"] and self._remove(stray)
            hours = int(stray.age // 3600)
            self.stdout.write(
                f"{stray.path}: {stray.size} bytes, {hours} h old, no row names it; "
                f"{'removed' if removed else 'kept'}"
            )
        if not options["keep"] and (waited := waiting_files.clear_old()):
            self.stdout.write(f"{waited} files that waited for more than a day removed.")
        self.stdout.write(f"{len(found)} files without a row, {len(old)} of them older than a day.")

    def _remove(self, stray: Stray) -> bool:
        try:
            stray.path.unlink(missing_ok=True)
        except OSError as error:
            self.stderr.write(f"{stray.path}: {error.strerror}")
            return False
        return True
