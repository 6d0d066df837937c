"""Lines of readings, one by one: the road that says of everything why it was refused. Pure."""

import re
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from retort_log.logger_files.channels import outside, unit_of
from retort_log.logger_files.mapping import COUNTED_IN, Column, Mapping
from retort_log.logger_files.numbers import read_counted, read_number
from retort_log.logger_files.refusals import Refusals
from retort_log.logger_files.source import MAX_LINE_BYTES, Source
from retort_log.logger_files.stamps import Format, compiled, read_stamp

AROUND = ' \t\r"'
_WITH_UNIT = re.compile(r"([+-]?[0-9.,]*[0-9.,]) ?([^0-9.,+-].{0,12})")


@dataclass
class Rows:
    """Lines that have a time, as they stand: in the order of the file, not yet in UTC.

    `ms` is in UTC where the mapping's times are, and else what the clock on the wall showed.
    """

    lines: NDArray[np.int64]
    ms: NDArray[np.int64]
    values: NDArray[np.float64]
    headers_again: list[int] = field(default_factory=list)


class Plan:
    """A mapping made ready: formats compiled, signs of a fault as words and as numbers."""

    def __init__(self, mapping: Mapping) -> None:
        self.mapping = mapping
        self.formats: tuple[Format, ...] = tuple(compiled(text) for text in mapping.time.formats)
        self.factor = COUNTED_IN.get(mapping.time.unit, 0) if not self.formats else 0
        self.start = mapping.time.start or 0 if mapping.time.kind == "elapsed" else 0
        self.error_words = {text.strip().casefold() for text in mapping.error_values}
        numbers = (read_number(text.strip(), ".") for text in mapping.error_values)
        self.error_numbers = sorted({number for number in numbers if number is not None})

    @property
    def is_utc(self) -> bool:
        """True where the times of the file are in UTC once they are read."""
        kind = self.mapping.time.kind
        return kind in ("elapsed", "epoch") or any(form.has_zone for form in self.formats)


def split_line(text: str, delimiter: str) -> list[str] | None:
    """The cells of a line; None where a quotation mark stays open.

    A delimiter inside quotation marks belongs to the cell.
    """
    if '"' not in text:
        return text.split(delimiter)
    if text.count('"') % 2:
        return None
    cells, parts = [""], text.split('"')
    for number, part in enumerate(parts):
        quoted = number % 2
        first, *more = [part] if quoted else part.split(delimiter)
        cells[-1] += f'"{first}"' if quoted else first
        cells += more
    return cells


def clean(cell: str) -> str:
    """The cell without spaces and quotation marks around it."""
    return cell.strip(AROUND)


def read_time(cells: list[str], plan: Plan) -> int | None:
    """The time of a line in ms, or None where it cannot be read."""
    time = plan.mapping.time
    texts = [clean(cells[place]) for place in time.columns]
    if plan.factor:
        counted = read_counted(texts[0], plan.mapping.decimal, plan.factor)
        return None if counted is None else counted + plan.start
    parts = [read_stamp(text, form) for text, form in zip(texts, plan.formats, strict=True)]
    known = [part for part in parts if part is not None]
    return sum(known) + plan.start if len(known) == len(parts) else None


def read_cell(cell: str, column: Column, plan: Plan) -> tuple[float, str | None]:
    """The value of a cell, or NaN and the code of its refusal."""
    text = clean(cell)
    if not text:
        return np.nan, "blank"
    if text.casefold() in plan.error_words:
        return np.nan, "error_value"
    value = read_number(text, plan.mapping.decimal)
    if value is None:
        match = _WITH_UNIT.fullmatch(text)
        unit = unit_of(match[2]) if match else None
        if match is None or unit is None:
            return np.nan, "not_a_number"
        if unit != column.unit:
            return np.nan, "other_unit"
        value = read_number(match[1], plan.mapping.decimal)
        if value is None:
            return np.nan, "not_a_number"
    if value in plan.error_numbers:
        return np.nan, "error_value"
    code = outside(value, column.unit)
    return (value, None) if code is None else (np.nan, code)


class LineReader:
    """Reads single lines of a source and gathers the refusals."""

    def __init__(self, source: Source, plan: Plan, refusals: Refusals) -> None:
        self.source, self.plan, self.refusals = source, plan, refusals
        self.headers_again: list[int] = []

    def read(self, line: int) -> tuple[int, list[float]] | None:
        """The time and the values of a line; None where it is empty or refused as a whole."""
        text = self.source.line(line)
        cells = split_line(text, self.plan.mapping.delimiter)
        if cells is not None and not any(clean(cell) for cell in cells):
            return None
        code = self._fault(line, text, cells)
        if code is None and cells is not None:
            ms = read_time(cells, self.plan)
            if ms is not None:
                return ms, self._values(line, cells)
            timed = any(clean(cells[place]) for place in self.plan.mapping.time.columns)
            code = "unreadable_time" if timed else "no_time"
        if cells is not None and self._is_header(cells):
            self.headers_again.append(line)
        else:
            self.refusals.add(line, str(code), text)
        return None

    def _fault(self, line: int, text: str, cells: list[str] | None) -> str | None:
        """What is wrong with the line as a whole."""
        width = self.plan.mapping.width
        if "\0" in text:
            return "nul_bytes"
        if self.source.length(line) > MAX_LINE_BYTES:
            return "too_long"
        if cells is None:
            return "quote"
        spare = len(cells) == width + 1 and not clean(cells[-1])
        return None if len(cells) == width or spare else "wrong_columns"

    def _is_header(self, cells: list[str]) -> bool:
        header = self.plan.mapping.header
        return bool(header) and tuple(clean(cell) for cell in cells) == header

    def _values(self, line: int, cells: list[str]) -> list[float]:
        values = []
        for column in self.plan.mapping.columns:
            value, code = read_cell(cells[column.index], column, self.plan)
            if code:
                self.refusals.add(line, code, cells[column.index], column.channel)
            values.append(value)
        return values


def read_carefully(source: Source, plan: Plan, refusals: Refusals) -> Rows:
    """Read all lines of readings one by one."""
    reader = LineReader(source, plan, refusals)
    numbers = range(plan.mapping.first_line, source.count + 1)
    read = [(line, row) for line in numbers if (row := reader.read(line)) is not None]
    return Rows(
        np.array([line for line, _ in read], np.int64),
        np.array([ms for _, (ms, _) in read], np.int64),
        np.array([row for _, (_, row) in read], np.float64).reshape(
            len(read), len(plan.mapping.columns)
        ),
        reader.headers_again,
    )
