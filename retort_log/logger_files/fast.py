"""Lines of readings, all at once, as far as they are regular. Pure.

What is taken here is what `careful` gives for the same line; every line and every cell that is
in any way odd is handed to it.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from retort_log.logger_files.careful import LineReader, Plan, Rows, read_cell
from retort_log.logger_files.channels import bounds
from retort_log.logger_files.mapping import Mapping
from retort_log.logger_files.numbers import Bools, Ints, read_numbers, to_milliseconds
from retort_log.logger_files.refusals import Refusals
from retort_log.logger_files.source import MAX_LINE_BYTES, Source
from retort_log.logger_files.stamp_words import read_stamps

_NEWLINE, _QUOTE = 10, 34
# By measurement: smaller stretches cost more calls, all at once leaves the processor's cache.
_BYTES = 1_048_576
_HINT = 16 * 1024 * 1024
# Before a cell, as many bytes are looked at as its longest text has, and up to a whole word.
_FRONT = 64
_NOTHING = (np.zeros(0, np.int64), np.zeros(0, np.int64))


@dataclass(frozen=True)
class _Cells:
    """Where the cells of regular lines end: a row for each line, `before` its first cell."""

    lines: Ints
    before: Ints
    ends: Ints

    def column(self, index: int) -> tuple[Ints, Ints]:
        """Start and end of one column's cells."""
        return (self.ends[:, index - 1] if index else self.before) + 1, self.ends[:, index]

    def only(self, rows: Bools) -> "_Cells":
        """Some of the rows."""
        return _Cells(self.lines[rows], self.before[rows], self.ends[rows])


def read_fast(source: Source, plan: Plan, refusals: Refusals) -> Rows:
    """Read all lines of readings; the odd ones one by one."""
    _keep_memory()
    odd, line, start = _lead(source, plan.mapping.first_line)
    parts = [Rows(*_NOTHING, np.empty((0, len(plan.mapping.columns))))]
    for begin, stop in _stretches(source, start):
        cells, others = _regular(source, plan.mapping, begin, stop, line)
        line += len(cells.lines) + len(others)
        part, untimed = _read_part(source, plan, cells, refusals)
        parts.append(part)
        odd += [others, untimed]
    rows = Rows(
        np.concatenate([part.lines for part in parts]),
        np.concatenate([part.ms for part in parts]),
        np.concatenate([part.values for part in parts]),
    )
    return _with_odd(source, plan, rows, np.sort(np.concatenate(odd)), refusals)


def _keep_memory() -> None:
    """Have the C library not hand back to the system what every step frees and the next needs.

    The GNU library takes the size of what was freed last as a hint; nothing is written into it.
    By measurement a third of the time on Linux; elsewhere it does nothing.
    """
    np.empty(_HINT, np.uint8)


def _lead(source: Source, line: int) -> tuple[list[Ints], int, int]:
    """The lines too near to the front to be read with the bytes before them; what comes next."""
    first = line
    while (start := source.start(line)) < min(_FRONT, len(source.data)):
        line += 1
    return [np.arange(first, line)], line, start


def _stretches(source: Source, start: int) -> Iterator[tuple[int, int]]:
    """Start and end of stretches of whole lines, of about _BYTES each."""
    end = len(source.data)
    while start < end:
        stop = source.data.rfind(b"\n", start, start + _BYTES) + 1
        stop = stop or source.data.find(b"\n", start) + 1
        yield start, stop
        start = stop


def _read_part(source: Source, plan: Plan, cells: _Cells, refusals: Refusals) -> tuple[Rows, Ints]:
    """The rows of some lines, and the lines whose time was not taken."""
    ms, timed = _times(source, plan, cells)
    untimed = cells.lines[~timed]
    if len(untimed):
        cells, ms = cells.only(timed), ms[timed]
    return Rows(cells.lines, ms, _values(source, plan, cells, refusals)), untimed


def _regular(
    source: Source, mapping: Mapping, start: int, stop: int, first_line: int
) -> tuple[_Cells, Ints]:
    """The lines of a stretch with the right number of cells, and the numbers of all others."""
    part = source.buffer[start:stop]
    newline = part == _NEWLINE
    count = int(np.count_nonzero(newline))
    marks = np.flatnonzero((part == ord(mapping.delimiter)) | newline)
    marks += start
    if b'"' in source.data:
        marks = _outside_quotes(source, marks)
    table = _whole_table(source, marks, count, mapping.width)
    if table is None:
        ends = np.flatnonzero(source.buffer[marks] == _NEWLINE)
        lines, cells = _loose(marks, ends, mapping.width, start, first_line)
    else:
        lines = np.arange(first_line, first_line + len(table))
        cells = _Cells(lines, np.concatenate(([start - 1], table[:-1, -1])), table)
    good = _sound(source, cells)
    if good.all() and len(lines) == len(cells.lines):
        return cells, lines[:0]
    return cells.only(good), np.setdiff1d(lines, cells.lines[good])


def _whole_table(source: Source, marks: Ints, count: int, width: int) -> Ints | None:
    """The ends of cells as a table, if every one of `count` lines has the right number."""
    if len(marks) != count * width:
        return None
    table = marks.reshape(-1, width)
    return table if (source.buffer[table[:, -1]] == _NEWLINE).all() else None


def _loose(marks: Ints, ends: Ints, width: int, start: int, first_line: int) -> tuple[Ints, _Cells]:
    """All lines, and the cells of the regular ones, where lines differ in their cells."""
    lines = np.arange(first_line, first_line + len(ends))
    good = np.diff(ends, prepend=-1) == width
    before = np.concatenate(([start - 1], marks[ends[:-1]]))[good]
    at = (ends[good] - width + 1)[:, None] + np.arange(width)
    return lines, _Cells(lines[good], before, marks[at])


def _sound(source: Source, cells: _Cells) -> Bools:
    """Lines that are not too long and not spoilt."""
    good = cells.ends[:, -1] - cells.before <= MAX_LINE_BYTES
    if b"\0" in source.data or b'"' in source.data:
        good &= ~_spoilt(source, cells.lines)
    return good


def _line_of(source: Source, places: Ints) -> Ints:
    """The line, from 1, in which each place lies."""
    return np.searchsorted(source.newlines, places) + 1


def _outside_quotes(source: Source, marks: Ints) -> Ints:
    """The marks without those inside quotation marks, which are counted anew on each line."""
    quotes = np.flatnonzero(source.buffer == _QUOTE)
    starts = np.concatenate(([0], source.newlines))[_line_of(source, marks) - 1]
    before = np.searchsorted(quotes, marks) - np.searchsorted(quotes, starts)
    return marks[(before % 2 == 0) | (source.buffer[marks] == _NEWLINE)]


def _spoilt(source: Source, lines: Ints) -> Bools:
    """Lines with empty bytes or with a quotation mark that stays open."""
    spoilt = np.zeros(source.count + 2, np.bool_)
    if b"\0" in source.data:
        spoilt[_line_of(source, np.flatnonzero(source.buffer == 0))] = True
    if b'"' in source.data:
        quotes = _line_of(source, np.flatnonzero(source.buffer == _QUOTE))
        spoilt |= np.bincount(quotes, minlength=len(spoilt)) % 2 == 1
    return spoilt[lines]


def _times(source: Source, plan: Plan, cells: _Cells) -> tuple[Ints, Bools]:
    """The time of each row, and which of them were taken."""
    places = [cells.column(index) for index in plan.mapping.time.columns]
    if plan.factor:
        numbers = read_numbers(source.buffer, *places[0], plan.mapping.decimal)
        ms, taken = to_milliseconds(numbers, plan.factor)
        return ms + plan.start, taken
    parts = [
        read_stamps(source.buffer, start, end, form)
        for (start, end), form in zip(places, plan.formats, strict=True)
    ]
    ms, taken = parts[0]
    for more, also in parts[1:]:
        ms, taken = ms + more, taken & also
    return ms + plan.start, taken


def _values(source: Source, plan: Plan, cells: _Cells, refusals: Refusals) -> NDArray[np.float64]:
    """The values of each row; every cell that is not plainly one is asked about singly."""
    values = np.empty((len(cells.lines), len(plan.mapping.columns)))
    for number, column in enumerate(plan.mapping.columns):
        start, end = cells.column(column.index)
        read = read_numbers(source.buffer, start, end, plan.mapping.decimal)
        value = read.floats()
        for row in np.flatnonzero(~_plain(value, bounds(column.unit), plan.error_numbers)):
            text = source.decode(int(start[row]), int(end[row]))
            value[row], code = read_cell(text, column, plan)
            if code:
                refusals.add(int(cells.lines[row]), code, text, column.channel)
        values[:, number] = value
    return values


def _plain(value: NDArray[np.float64], limits: tuple[float, float], signs: list[float]) -> Bools:
    """Values within the limits that are no sign of a fault."""
    low, high = limits
    plain = (value >= low) & (value <= high)
    if len(value) == 0 or not plain.any():
        return plain
    least, most = np.min(value, where=plain, initial=high), np.max(value, where=plain, initial=low)
    for sign in signs:
        if least <= sign <= most:
            plain &= value != sign
    return plain


def _with_odd(source: Source, plan: Plan, rows: Rows, odd: Ints, refusals: Refusals) -> Rows:
    """The rows together with those of the odd lines, in the order of the file."""
    reader = LineReader(source, plan, refusals)
    read = [(line, row) for line in odd.tolist() if (row := reader.read(line)) is not None]
    rows.headers_again = reader.headers_again
    if not read:
        return rows
    lines = np.concatenate((rows.lines, [line for line, _ in read]))
    order = np.argsort(lines, kind="stable")
    ms = np.concatenate((rows.ms, np.array([ms for _, (ms, _) in read], np.int64)))
    values = np.concatenate((rows.values, np.array([row for _, (_, row) in read])))
    return Rows(lines[order], ms[order], values[order], rows.headers_again)
