"""`manage.py verify_trail`: recompute everything from the rows, and read every kept file again."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from chain_of_custody import kept_files, triggers
from chain_of_custody.verify import Finding, root_at, verify
from crematory.models import Facility

SHOWN = 20  # files that are named one by one


class Command(BaseCommand):
    help = (
        "Recompute every facility's trail and name the first entry that does not hold; read every "
        "kept file again and name what is missing or changed."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--no-files", action="store_true", help="leave the kept files out: it is quicker"
        )
        parser.add_argument(
            "--size", type=int, help="with --root: the size of the trail on a printed paper"
        )
        parser.add_argument("--root", help="the root hash that stands on that paper")

    def handle(self, *args: Any, **options: Any) -> None:
        if (options["size"] is None) != (options["root"] is None):
            raise CommandError("Give --size and --root together, as they stand on the paper.")
        if options["root"] is not None:
            self._compare(options["size"], options["root"].strip().lower())
            return
        failed = False
        if absent := triggers.missing():
            failed = True
            self.stderr.write(f"The database lacks the triggers {', '.join(absent)}.")
        for facility in Facility.objects.order_by("pk"):
            failed |= self._trail_fails(facility)
            if not options["no_files"]:
                failed |= self._files_fail(facility)
        if not options["no_files"]:
            self._name_strays()
        if failed:
            raise CommandError("The trail does not hold.")

    def _trail_fails(self, facility: Facility) -> bool:
        report = verify(facility)
        if report.first is None:
            self.stdout.write(
                f"{facility.log_origin}: {report.size} entries hold, root {report.root}"
            )
            return False
        self.stderr.write(
            f"{facility.log_origin}: {_where(report.first)} does not hold: {report.first.text} "
            f"({len(report.findings)} findings in {report.size} entries)"
        )
        return True

    def _files_fail(self, facility: Facility) -> bool:
        report = kept_files.check(facility)
        if not report.findings:
            self.stdout.write(
                f"{facility.log_origin}: {report.count} kept files are those of the trail"
            )
            return False
        for finding in report.findings[:SHOWN]:
            self.stderr.write(f"{facility.log_origin}: {_where(finding)}: {finding.text}")
        self.stderr.write(
            f"{facility.log_origin}: {len(report.findings)} findings in {report.count} kept files"
        )
        return True

    def _name_strays(self) -> None:
        """A file without a row is no fault of the trail; it is named so that it is cleared."""
        if found := kept_files.strays():
            self.stdout.write(
                f"{len(found)} files have no row, as a power cut may leave them; "
                "`manage.py clear_strays` names them and removes those older than a day"
            )

    def _compare(self, size: int, root: str) -> None:
        facilities = list(Facility.objects.order_by("pk"))
        for facility in facilities:
            if root_at(facility, size) == root:
                self.stdout.write(
                    f"{facility.log_origin}: the first {size} entries have this root; nothing was "
                    "changed in them since that paper was printed"
                )
                return
        for facility in facilities:
            self.stderr.write(
                f"{facility.log_origin}: the root at {size} is "
                f"{root_at(facility, size) or 'not there: the trail is shorter'}"
            )
        raise CommandError("The trail is not the one of that paper, or was changed since.")


def _where(finding: Finding) -> str:
    return "the log" if finding.sequence is None else f"entry {finding.sequence}"
