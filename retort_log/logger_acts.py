"""Taking a logger's file in: what of it is stored, what was there already, what is refused.

The file itself is kept whole. Readings that another recorder wrote of the same time are not
taken twice: which of the two counts is a person's question, and the one stored first stays.
"""

import hashlib
import secrets
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
from django.conf import settings
from numpy.typing import NDArray

from chain_of_custody import file_store, trail
from crematory import clock
from crematory.models import StaffMember
from retort_log import blocks, recorded
from retort_log.acts import READERS, where
from retort_log.blocks import Series
from retort_log.logger_files import FileRefused, Mapping, MappingError, Parsed, read
from retort_log.logger_units import kept_unit, unsuited
from retort_log.models import Logger, LoggerFile, ReadingBlock, Retort
from retort_log.refusals import MachineRefused, refusals_recorded

REFUSALS_KEPT = 200
NAME_LENGTH = 200
LOGGER_NAME_LENGTH = 60
# Why lines are refused beside what is stored already.
STANDS = "Another value of this very time is stored already. It stays."
BY_ANOTHER = "Another recorder wrote of this time already. What is stored stays."


class LoggerRefused(MachineRefused):
    """The file cannot be taken."""


@dataclass(frozen=True)
class Sent:
    """A file as it was sent, and how it is to be read."""

    name: str
    raw: bytes
    mapping: Mapping


@dataclass(frozen=True)
class Sorted:
    """What of a file is new, how much was there already, and which lines are refused why."""

    new: Series | None
    already_there: int
    refused: tuple[tuple[int, str], ...]


def path_of(stored_name: str) -> Path:
    """Return where a kept file lies."""
    return Path(settings.UPLOADS_DIR) / "loggers" / stored_name[:2] / stored_name


def sort_out(retort: Retort, parsed: Parsed, logger: Logger | None = None) -> Sorted:
    """Say what of a parsed file is new beside what recorders wrote already.

    Line refusals of the reading itself come first; in the order of the lines. Raises
    LoggerRefused for values that cannot be kept.
    """
    refused = [(one.line, one.reason) for one in parsed.refusals]
    if not len(parsed.times_ms):
        return Sorted(None, 0, tuple(refused))
    series = _series(parsed)
    first, last = (recorded.from_ms(int(parsed.times_ms[i])) for i in (0, -1))
    same, clash = _beside(series, recorded.parts(retort, first, last))
    other = _by_others(series.times_ms, retort, logger, first, last) & ~same
    for rows, words in (
        (clash, STANDS),
        (other & ~clash, BY_ANOTHER),
    ):
        refused += [(int(line), words) for line in parsed.lines[rows]]
    keep = ~(same | clash | other)
    new = Series(series.channels, series.times_ms[keep], series.steps[keep]) if keep.any() else None
    return Sorted(new, int(same.sum()), tuple(sorted(refused)))


def take_file(logger: Logger, member: StaffMember, sent: Sent) -> LoggerFile:
    """Store a logger's file. A second sending of the same file is answered with the first.

    Raises LoggerRefused, and FileRefused or MappingError where it cannot be read at all.
    """
    with refusals_recorded(logger.retort.facility, "take_log", member, where(logger.retort)):
        return _take(logger, member, sent)


def take_from(retort: Retort, name: str, member: StaffMember, sent: Sent) -> LoggerFile:
    """Store the file of a logger by its name, which is new where the retort has none of it.

    A logger of which nothing could be taken is not kept. Raises as `take_file`, and
    LoggerRefused for a name that is none.
    """
    name = " ".join(name.split())
    if not name or len(name) > LOGGER_NAME_LENGTH:
        raise LoggerRefused("log_name", f"Name the logger, in at most {LOGGER_NAME_LENGTH} signs.")
    logger, is_new = Logger.objects.get_or_create(retort=retort, name=name)
    try:
        return take_file(logger, member, sent)
    except (LoggerRefused, FileRefused, MappingError):
        if is_new:
            Logger.objects.filter(pk=logger.pk, files__isnull=True).delete()
        raise


def _take(logger: Logger, member: StaffMember, sent: Sent) -> LoggerFile:
    retort = logger.retort
    if member.facility_id != retort.facility_id or not member.roles & READERS:
        raise LoggerRefused("reading_role", "Readings are entered by an operator of this house.")
    for column in sent.mapping.columns:
        if words := unsuited(column.channel, column.unit):
            raise LoggerRefused("log_unit", words)
    sha256 = hashlib.sha256(sent.raw).hexdigest()
    Retort.objects.select_for_update(no_key=True).get(pk=retort.pk)
    if again := LoggerFile.objects.filter(logger=logger, sha256=sha256).first():
        return again
    now = clock.now()
    parsed = read(sent.raw, sent.mapping, now=now)
    found = sort_out(retort, parsed, logger)
    if found.new is None:
        raise LoggerRefused(*_why_nothing(found))
    stored_name = secrets.token_urlsafe(32)
    file_store.write(path_of(stored_name), sent.raw)
    first, last = (recorded.from_ms(int(found.new.times_ms[i])) for i in (0, -1))
    file = LoggerFile.objects.create(
        logger=logger,
        original_name=sent.name[-NAME_LENGTH:],
        stored_name=stored_name,
        size=len(sent.raw),
        sha256=sha256,
        mapping=sent.mapping.to_json(),
        starts_at=first,
        ends_at=last,
        taken=len(found.new.times_ms),
        already_there=found.already_there,
        refused=len(found.refused),
        refusals=[list(one) for one in found.refused[:REFUSALS_KEPT]],
        kept_at=now,
        kept_by=member,
    )
    store(retort, found.new, now, file=file)
    Logger.objects.filter(pk=logger.pk).update(mapping=sent.mapping.to_json())
    _append(file, blocks.series_sha256([found.new]))
    return file


def store(retort: Retort, series: Series, now: datetime, **source: object) -> list[ReadingBlock]:
    """Cut a series into blocks and store them; `source` is file=… or controller=…."""
    rows = [
        ReadingBlock(
            retort=retort,
            starts_at=recorded.from_ms(packed.started_at),
            ends_at=recorded.from_ms(packed.ended_at),
            count=packed.count,
            channels=[[c.name, c.unit, c.per_unit] for c in series.channels],
            body=packed.body,
            sha256=packed.sha256,
            stored_at=now,
            **source,
        )
        for packed in blocks.cut(series)
    ]
    return list(ReadingBlock.objects.bulk_create(rows))


def _why_nothing(found: Sorted) -> tuple[str, str]:
    if found.already_there:
        return "log_known", "All readings of this file are stored already. Nothing was added."
    line, words = found.refused[0] if found.refused else (0, "It holds no reading.")
    return "log_empty", f"Nothing of this file can be taken. Line {line}: {words}"


def _series(parsed: Parsed) -> Series:
    units = [kept_unit(unit) for unit in parsed.units]
    try:
        return blocks.series_of(parsed.channels, units, parsed.times_ms, parsed.values)
    except blocks.BlockError as error:
        raise LoggerRefused(
            "log_values", f"The readings cannot be kept. {error} Export a shorter time, or less."
        ) from error


def _beside(series: Series, there: Iterable[Series]) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return which rows are stored already with the same values, and which with others."""
    same = np.zeros(len(series.times_ms), np.bool_)
    clash = same.copy()
    ours = series.values()
    for stored in there:
        _, mine, theirs = np.intersect1d(
            series.times_ms, stored.times_ms, assume_unique=True, return_indices=True
        )
        if not len(mine):
            continue
        equal = _equal_values(series, ours[mine], stored, stored.values()[theirs])
        same[mine[equal]] = True
        clash[mine[~equal]] = True
    return same, clash & ~same


def _equal_values(
    one: Series, ours: NDArray[np.float64], other: Series, theirs: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Return which rows say the same though their channels are kept otherwise."""
    units = {c.name: (i, c.unit) for i, c in enumerate(other.channels)}
    if {c.name: c.unit for c in one.channels} != {name: u for name, (_, u) in units.items()}:
        return np.zeros(len(ours), np.bool_)
    order = [units[c.name][0] for c in one.channels]
    close = np.isclose(ours, theirs[:, order], rtol=0, atol=1e-9, equal_nan=True)
    return np.asarray(close.all(axis=1), np.bool_)


def _by_others(
    times_ms: NDArray[np.int64],
    retort: Retort,
    logger: Logger | None,
    first: datetime,
    last: datetime,
) -> NDArray[np.bool_]:
    """Return which times lie within what another recorder wrote."""
    rows = ReadingBlock.objects.filter(retort=retort, ends_at__gte=first, starts_at__lte=last)
    if logger:
        rows = rows.exclude(file__logger=logger)
    within = np.zeros(len(times_ms), np.bool_)
    for start, end in rows.values_list("starts_at", "ends_at"):
        within |= (times_ms >= recorded.to_ms(start)) & (times_ms <= recorded.to_ms(end))
    return within


def _append(file: LoggerFile, series_sha256: str) -> None:
    retort = file.logger.retort
    trail.append(
        trail.Act(
            facility=retort.facility,
            name="take_log",
            happened_at=file.kept_at,
            recorded_at=file.kept_at,
            signed_by=file.kept_by,
            signature="session",
            facts={
                "retort": retort.place.code,
                "logger": file.logger.name,
                "file_sha256": file.sha256,
                "bytes": file.size,
                "series_sha256": series_sha256,
                "from": file.starts_at,
                "until": file.ends_at,
                "taken": file.taken,
                "already_there": file.already_there,
                "refused": file.refused,
            },
        )
    )
