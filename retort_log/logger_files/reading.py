"""Read a logger's file by a mapping: what it holds, and what was refused and why. Pure.

Nothing is filled in, smoothed or guessed. A cell that cannot be read leaves its place empty and
the rest of its line in force; a time that cannot be relied on refuses its line.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from crematory import clock
from retort_log.logger_files.careful import Plan, Rows, clean, read_carefully, split_line
from retort_log.logger_files.fast import read_fast
from retort_log.logger_files.mapping import Mapping
from retort_log.logger_files.order import (
    Gap,
    Note,
    back_steps,
    doubles,
    gaps,
    runs_backwards,
    usual_step,
)
from retort_log.logger_files.refusals import FileRefused, Refusal, Refusals
from retort_log.logger_files.source import Source, open_source
from retort_log.logger_files.zones import to_utc

# A logger's clock may be a little ahead; a choice of this design.
AHEAD = timedelta(minutes=5)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_OLDEST_MS = 631_152_000_000  # 1990-01-01; data loggers with files are younger
_DAY_MS = 86_400_000
_MS = timedelta(milliseconds=1)

Road = Literal["fast", "careful"]


@dataclass(frozen=True)
class Parsed:
    """What a file holds.

    `times_ms` are ms since 1970 UTC, strictly increasing; `values` has a row for each and a
    column for each channel, in the unit of `units`, NaN for no value; `lines` says from which
    line of the file (from 1) each row comes. `step_ms` is the usual time between rows. With
    `asks_repeated_hour` the file can be read anew with the mapping's `repeated_hour` answered.
    """

    channels: tuple[str, ...]
    units: tuple[str, ...]
    times_ms: NDArray[np.int64]
    values: NDArray[np.float64]
    lines: NDArray[np.int64]
    refusals: tuple[Refusal, ...]
    notes: tuple[Note, ...]
    gaps: tuple[Gap, ...]
    step_ms: int | None
    duplicates: int
    asks_repeated_hour: bool

    @property
    def longest_gap(self) -> Gap | None:
        """The longest time without readings, if there is any gap."""
        return max(self.gaps, key=lambda gap: gap.length_ms, default=None)


def read(raw: bytes, mapping: Mapping, *, now: datetime | None = None) -> Parsed:
    """Read a file. Raises FileRefused where it cannot be read as a whole.

    `now` (aware) is the moment after which readings lie in the future.
    """
    return read_source(open_source(raw), mapping, now=now)


def read_source(
    source: Source, mapping: Mapping, *, now: datetime | None = None, road: Road = "fast"
) -> Parsed:
    """Read an opened file; by the careful road every line is read on its own, to the same end."""
    _check_header(source, mapping)
    plan, refusals = Plan(mapping), Refusals()
    rows = (read_fast if road == "fast" else read_carefully)(source, plan, refusals)
    return _Finish(source, plan, refusals, now or clock.now()).parsed(rows)


def _check_header(source: Source, mapping: Mapping) -> None:
    """A remembered description must not read another list's columns as its own."""
    if mapping.header_line is None or not mapping.header:
        return
    if source.start(mapping.header_line) >= len(source.data):
        raise FileRefused("other_file")
    cells = split_line(source.line(mapping.header_line), mapping.delimiter) or []
    if tuple(clean(cell) for cell in cells) != mapping.header:
        raise FileRefused("other_file")


class _Finish:
    """From rows in the file's order and clock to rows in UTC and in order."""

    def __init__(self, source: Source, plan: Plan, refusals: Refusals, now: datetime) -> None:
        self.source, self.plan, self.refusals = source, plan, refusals
        self.latest = (now + AHEAD - _EPOCH) // _MS
        self.asks = False

    def parsed(self, rows: Rows) -> Parsed:
        """Settle everything about the time."""
        mapping = self.plan.mapping
        notes = [Note("header_again", line, line) for line in rows.headers_again]
        rows = self._in_utc(rows)
        notes += back_steps(rows)
        rows, repeats = self._sorted(rows)
        if len(repeats):
            notes.append(Note("duplicate", int(repeats.min()), int(repeats.max()), len(repeats)))
        step = usual_step(rows.ms)
        return Parsed(
            channels=mapping.channels,
            units=tuple(column.unit for column in mapping.columns),
            times_ms=rows.ms,
            values=rows.values,
            lines=rows.lines,
            refusals=self.refusals.in_order(mapping.channels),
            notes=tuple(sorted(notes, key=lambda note: (note.line, note.code))),
            gaps=gaps(rows.ms, step),
            step_ms=step,
            duplicates=len(repeats),
            asks_repeated_hour=self.asks,
        )

    def _in_utc(self, rows: Rows) -> Rows:
        # A day more than any zone is ahead or behind; the exact limit follows in UTC.
        slack = 0 if self.plan.is_utc else _DAY_MS
        rows = self._without(rows, rows.ms < _OLDEST_MS - slack, "too_old")
        rows = self._without(rows, rows.ms > self.latest + slack, "future")
        if self.plan.is_utc:
            return rows
        mapping = self.plan.mapping
        moments = to_utc(rows.ms, mapping.time.zone, mapping.repeated_hour, runs_backwards(rows.ms))
        self.asks = bool(moments.unsettled.any())
        rows = Rows(rows.lines, moments.ms, rows.values)
        self._refuse(rows, moments.skipped, "skipped_hour")
        self._refuse(rows, moments.unsettled, "repeated_hour")
        rows = _taken(rows, ~(moments.skipped | moments.unsettled))
        rows = self._without(rows, rows.ms < _OLDEST_MS, "too_old")
        return self._without(rows, rows.ms > self.latest, "future")

    def _without(self, rows: Rows, refused: NDArray[np.bool_], code: str) -> Rows:
        if not refused.any():
            return rows
        self._refuse(rows, refused, code)
        return _taken(rows, ~refused)

    def _refuse(self, rows: Rows, refused: NDArray[np.bool_], code: str) -> None:
        for line in rows.lines[refused].tolist():
            self.refusals.add(line, code, self.source.line(line))

    def _sorted(self, rows: Rows) -> tuple[Rows, NDArray[np.int64]]:
        """The rows by time, each once, and the lines of those that repeat one."""
        if (rows.ms[1:] > rows.ms[:-1]).all():
            return rows, rows.lines[:0]
        rows = _taken(rows, np.argsort(rows.ms, kind="stable"))
        found = doubles(rows.ms, rows.values)
        self._refuse(rows, found.conflicts, "conflict")
        return _taken(rows, found.kept), rows.lines[found.repeats]


def _taken(rows: Rows, which: NDArray[np.bool_] | NDArray[np.int64]) -> Rows:
    if which.dtype == np.bool_ and which.all():
        return rows
    return Rows(rows.lines[which], rows.ms[which], rows.values[which])
