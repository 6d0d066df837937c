"""`manage.py verify_trail`: recompute everything from the rows."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from chain_of_custody import triggers
from chain_of_custody.verify import verify
from crematory.models import Facility


class Command(BaseCommand):
    help = "Recompute every facility's trail and name the first entry that does not hold."

    def handle(self, *args: Any, **options: Any) -> None:
        failed = False
        if absent := triggers.missing():
            failed = True
            self.stderr.write(f"The database lacks the triggers {', '.join(absent)}.")
        for facility in Facility.objects.order_by("pk"):
            report = verify(facility)
            if report.first is None:
                self.stdout.write(
                    f"{facility.log_origin}: {report.size} entries hold, root {report.root}"
                )
                continue
            failed = True
            where = "the log" if report.first.sequence is None else f"entry {report.first.sequence}"
            self.stderr.write(
                f"{facility.log_origin}: {where} does not hold: {report.first.text} "
                f"({len(report.findings)} findings in {report.size} entries)"
            )
        if failed:
            raise CommandError("The trail does not hold.")
