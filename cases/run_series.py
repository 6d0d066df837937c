"""The readings of a run as they were sealed at burner off, and what came to them since."""

from collections.abc import Iterable
from dataclasses import dataclass

from chain_of_custody import trail
from chain_of_custody.models import CustodyEntry
from crematory.templatetags.crematory import when
from retort_log import recorded
from retort_log.models import LoggerFile, ReadingCorrection, Run


@dataclass(frozen=True)
class Series:
    """The readings as they were sealed at burner off, and as they are now."""

    sealed_sha256: str
    sealed_count: int | None
    sha256: str
    count: int
    changes: tuple[str, ...]

    @property
    def counted(self) -> str:
        """How many readings there are now, in words."""
        return f"{self.count:,} reading{'' if self.count == 1 else 's'}"

    @property
    def was_counted(self) -> str:
        """How many there were at burner off, in words; empty where that was not recorded."""
        return "" if self.sealed_count is None else f"{self.sealed_count:,}"

    @property
    def has_changed(self) -> bool:
        """True where readings of the burning came in, or were corrected, after burner off."""
        return bool(self.sealed_sha256) and self.sealed_sha256 != self.sha256


def series_of(run: Run, entry: CustodyEntry | None) -> Series | None:
    """Compare the readings of the burning with what was sealed at burner off; None before it."""
    if run.burner_off_at is None:
        return None
    sha256, count = recorded.digest(run.retort, run.charged_at, run.burner_off_at)
    sealed = trail.facts_of(entry).get("series_count") if entry else None
    changes = tuple(_changes(run)) if run.series_sha256 not in ("", sha256) else ()
    return Series(run.series_sha256, sealed, sha256, count, changes)


def _changes(run: Run) -> Iterable[str]:
    """Say what came to the readings of the burning after burner off. Two queries."""
    assert run.burner_off_at is not None
    files = LoggerFile.objects.filter(
        logger__retort=run.retort_id,
        kept_at__gte=run.burner_off_at,
        starts_at__lte=run.burner_off_at,
        ends_at__gte=run.charged_at,
    ).select_related("logger", "kept_by")
    for file in files:
        yield (
            f"The file “{file.original_name}” of {file.logger.name} was taken in "
            f"{when(file.kept_at)} by {file.kept_by.printed_name}."
        )
    corrected = ReadingCorrection.objects.filter(
        retort=run.retort_id,
        corrected_at__gte=run.burner_off_at,
        reading__at__range=(run.charged_at, run.burner_off_at),
    ).select_related("reading", "corrected_by")
    for row in corrected:
        done = "withdrawn" if row.is_withdrawn else "corrected"
        yield (
            f"The reading of {when(row.reading.at)} was {done} {when(row.corrected_at)} by "
            f"{row.corrected_by.printed_name}."
        )
