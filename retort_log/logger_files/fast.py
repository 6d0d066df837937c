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
# Parts that stay in the processor's cache; by measurement half as long as all at once.
_ROWS, _BYTES = 16_384, 131_072


@dataclass(frozen=True)
class _Cells:
    """Where the cells of regular lines end: a row for each line, `before` its first cell."""

    lines: Ints
    before: Ints
    ends: Ints

    def column(self, index: int) -> tuple[Ints, Ints]:
        """Start and end of one column's cells."""
        return (self.ends[:, index - 1] if index else self.before) + 1, self.ends[:, index]

    def parts(self) -> "Iterator[_Cells]":
        """All rows, a part at a time; at least one part."""
        for at in range(0, max(len(self.lines), 1), _ROWS):
            rows = slice(at, at + _ROWS)
            yield _Cells(self.lines[rows], self.before[rows], self.ends[rows])

    def only(self, rows: Bools) -> "_Cells":
        """Some of the rows."""
        return _Cells(self.lines[rows], self.before[rows], self.ends[rows])


def read_fast(source: Source, plan: Plan, refusals: Refusals) -> Rows:
    """Read all lines of readings; the odd ones one by one."""
    cells, odd = _regular(source, plan)
    parts = [_read_part(source, plan, part, refusals) for part in cells.parts()]
    rows = Rows(
        np.concatenate([part.lines for part, _ in parts]),
        np.concatenate([part.ms for part, _ in parts]),
        np.concatenate([part.values for part, _ in parts]),
    )
    odd = np.sort(np.concatenate((odd, *(untimed for _, untimed in parts))))
    return _with_odd(source, plan, rows, odd, refusals)


def _read_part(source: Source, plan: Plan, cells: _Cells, refusals: Refusals) -> tuple[Rows, Ints]:
    """The rows of some lines, and the lines whose time was not taken."""
    ms, timed = _times(source, plan, cells)
    untimed = cells.lines[~timed]
    if len(untimed):
        cells, ms = cells.only(timed), ms[timed]
    return Rows(cells.lines, ms, _values(source, plan, cells, refusals)), untimed


def _regular(source: Source, plan: Plan) -> tuple[_Cells, Ints]:
    """The lines with the right number of cells, and the numbers of all other lines."""
    first_line, width = plan.mapping.first_line, plan.mapping.width
    begin = source.start(first_line)
    marks = _marks(source.buffer, begin, ord(plan.mapping.delimiter))
    if b'"' in source.padded:
        marks = _outside_quotes(source, marks)
    is_end = source.buffer[marks] == _NEWLINE
    table = _whole_table(marks, is_end, width)
    if table is None:
        return _loose(source, marks, np.flatnonzero(is_end), plan.mapping)
    before = np.concatenate(([begin - 1], table[:-1, -1]))
    cells = _Cells(np.arange(first_line, first_line + len(table)), before, table)
    good = _sound(source, cells)
    if good.all():
        return cells, cells.lines[:0]
    return cells.only(good), cells.lines[~good]


def _marks(buffer: NDArray[np.uint8], begin: int, delimiter: int) -> Ints:
    """Where cells end."""
    found = [np.zeros(0, np.int64)]
    for at in range(begin, len(buffer), _BYTES):
        part = buffer[at : at + _BYTES]
        found.append(np.flatnonzero((part == delimiter) | (part == _NEWLINE)) + at)
    return np.concatenate(found)


def _whole_table(marks: Ints, is_end: Bools, width: int) -> Ints | None:
    """The ends of cells as a table, if every line has the right number of cells."""
    if len(marks) % width or not len(marks):
        return None
    ends = is_end.reshape(-1, width)
    regular = ends[:, -1].all() and np.count_nonzero(is_end) == len(ends)
    return marks.reshape(-1, width) if regular else None


def _loose(source: Source, marks: Ints, ends: Ints, mapping: Mapping) -> tuple[_Cells, Ints]:
    """The same where lines differ in their number of cells."""
    if not len(ends):
        nothing = marks[:0]
        return _Cells(nothing, nothing, nothing.reshape(0, mapping.width)), nothing
    counts = np.diff(ends, prepend=-1)
    lines = np.arange(mapping.first_line, mapping.first_line + len(ends))
    good = counts == mapping.width
    at = ends[good] - mapping.width + 1
    begin = source.start(mapping.first_line)
    before = np.concatenate(([begin - 1], marks[ends[:-1]]))[good]
    cells = _Cells(lines[good], before, marks[at[:, None] + np.arange(mapping.width)])
    sound = _sound(source, cells)
    return cells.only(sound), np.setdiff1d(lines, cells.lines[sound])


def _sound(source: Source, cells: _Cells) -> Bools:
    """Lines that are not too long and not spoilt."""
    good = cells.ends[:, -1] - cells.before <= MAX_LINE_BYTES
    if b"\0" in source.padded or b'"' in source.padded:
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
    if b"\0" in source.padded:
        spoilt[_line_of(source, np.flatnonzero(source.buffer == 0))] = True
    if b'"' in source.padded:
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
