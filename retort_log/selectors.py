"""Reading the machines' rows: runs, and readings as they stand after every correction."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet, Subquery

from retort_log.models import Reading, ReadingCorrection, Retort, Run


@dataclass(frozen=True)
class Standing:
    """A reading as it stands: with the values of its newest correction, where there is one."""

    reading: Reading
    corrections: tuple[ReadingCorrection, ...]

    @property
    def pk(self) -> int:
        """The key of the reading."""
        return int(self.reading.pk)

    @property
    def at(self) -> datetime:
        """When it was read; a correction does not change it."""
        return self.reading.at

    @property
    def newest(self) -> ReadingCorrection | None:
        """The correction that counts."""
        return self.corrections[-1] if self.corrections else None

    @property
    def primary_c(self) -> Decimal:
        """The primary chamber, in °C."""
        return self.newest.primary_c if self.newest else self.reading.primary_c

    @property
    def secondary_c(self) -> Decimal:
        """The secondary chamber, in °C."""
        return self.newest.secondary_c if self.newest else self.reading.secondary_c

    @property
    def is_withdrawn(self) -> bool:
        """True where it counts as not there."""
        return self.newest is not None and self.newest.is_withdrawn


def open_run(retort: Retort) -> Run | None:
    """Return the run that has not ended in this retort, or None."""
    return _open_run(retort.pk).first()


def standing(readings: Iterable[Reading]) -> list[Standing]:
    """Return these readings as they stand, in their order: one query for all corrections."""
    rows = list(readings)
    found: dict[int, list[ReadingCorrection]] = {}
    for correction in _corrections(*(row.pk for row in rows)) if rows else ():
        found.setdefault(correction.reading_id, []).append(correction)
    return [Standing(row, tuple(found.get(row.pk, ()))) for row in rows]


def that_count(readings: "QuerySet[Reading]") -> "QuerySet[Reading]":
    """Leave out the readings that were withdrawn."""
    newer = ReadingCorrection.objects.filter(
        reading=OuterRef("reading"), ordinal__gt=OuterRef("ordinal")
    )
    withdrawn = ReadingCorrection.objects.filter(reading=OuterRef("pk"), is_withdrawn=True)
    return readings.exclude(Exists(withdrawn.filter(~Exists(newer))))


def newest_of_each(now: datetime) -> Subquery:
    """Return, for an annotation of retorts, the key of each one's newest reading that counts."""
    rows = that_count(Reading.objects.filter(retort=OuterRef("pk"), at__lte=now))
    return Subquery(rows.order_by("-at").values("pk")[:1])


def newest_reading(retort: Retort, now: datetime) -> Standing | None:
    """Return the newest reading that counts and is not later than `now`, as it stands.

    A page may have read it before; an act never has.
    """
    if "newest_read" in vars(retort):
        found: Standing | None = vars(retort)["newest_read"]
        return found
    return next(iter(standing(_newest(retort.pk, now))), None)


def neighbours(retort: Retort, at: datetime, apart_from: Reading | None = None) -> list[Standing]:
    """Return the readings that count just before and just after this time."""
    rows = that_count(Reading.objects.filter(retort=retort))
    if apart_from:
        rows = rows.exclude(pk=apart_from.pk)
    before = rows.filter(at__lte=at).order_by("-at")[:1]
    after = rows.filter(at__gt=at).order_by("at")[:1]
    return standing([*before, *after])


def _open_run(retort: int) -> QuerySet[Any]:
    return Run.objects.filter(retort=retort, ended_at__isnull=True).select_related(
        "case", "retort__permit"
    )


def _corrections(*readings: int) -> QuerySet[Any]:
    return (
        ReadingCorrection.objects.filter(reading__in=readings)
        .select_related("corrected_by")
        .order_by("ordinal")
    )


def _newest(retort: int, now: datetime) -> QuerySet[Any]:
    return that_count(Reading.objects.filter(retort=retort, at__lte=now)).order_by("-at")[:1]
