"""How a file is laid out: delimiter, preamble, headings, row of units, first line. Pure."""

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from retort_log.logger_files.careful import clean, split_line
from retort_log.logger_files.channels import unit_of
from retort_log.logger_files.mapping import ERROR_VALUES
from retort_log.logger_files.refusals import FileRefused
from retort_log.logger_files.source import MAX_COLUMNS, Source

HEAD_LINES = 40
SPREAD_LINES = 24
# Where two marks part the lines equally well, the comma is the decimal mark.
_BY_PREFERENCE = ("\t", ";", "|", ",")
_NUMBER = re.compile(
    r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?(?: ?[°%]?[A-Za-z]?)"
)
_TIME = re.compile(
    r"[0-9]{1,4}[-/.:][0-9A-Za-z]{1,3}[-/.:][0-9].*|[0-9]{1,2}:[0-9]{2}.*|[0-9]{8}T?.*"
)
_WHOLE = re.compile(r"[+-]?[0-9]+")
_SIGNS = {sign.casefold() for sign in ERROR_VALUES}


@dataclass(frozen=True)
class Shape:
    """The layout of a file; lines count from 1.

    `header` and `units` are the cells of their lines, empty where there is none; `rows` the
    cells of lines of readings from the head of the file and from all over it.
    """

    delimiter: str
    width: int
    first_line: int
    header_line: int | None
    header: tuple[str, ...]
    units_line: int | None
    units: tuple[str, ...]
    preamble: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]

    def heading(self, index: int) -> str:
        """The heading of a column, or nothing."""
        return self.header[index] if index < len(self.header) else ""

    def column(self, index: int) -> list[str]:
        """What stands in a column, in the sample."""
        return [row[index] for row in self.rows]


def shape_of(source: Source) -> Shape:
    """Find the layout. Raises FileRefused where there are no columns or no readings."""
    head, spread = _sample(source)
    delimiter, width = _delimiter(head, spread)
    table = [_cells(text, delimiter) for text in head]
    first = next((n for n, cells in enumerate(table) if _is_reading(cells, width)), None)
    if first is None:
        raise FileRefused("header_only" if len(head) < HEAD_LINES else "no_readings")
    _refuse_commas_twice(table, first, delimiter)
    header, units = _headings(table[:first], width)
    used = {n for n in (header, units) if n is not None}
    rows = [*table[first:], *(_cells(text, delimiter) for text in spread)]
    return Shape(
        delimiter=delimiter,
        width=width,
        first_line=first + 1,
        header_line=None if header is None else header + 1,
        header=() if header is None else tuple(table[header]),
        units_line=None if units is None else units + 1,
        units=() if units is None else tuple(table[units]),
        preamble=tuple(
            text for n, text in enumerate(head[:first]) if n not in used and text.strip()
        ),
        rows=tuple(tuple(cells) for cells in rows if _is_reading(cells, width)),
    )


def _sample(source: Source) -> tuple[list[str], list[str]]:
    """The first lines, and lines from all over the rest."""
    end, at = len(source.data), source.origin
    head: list[str] = []
    while at < end and len(head) < HEAD_LINES:
        stop = source.data.find(b"\n", at)
        head.append(source.decode(at, min(stop, at + 16_384)))
        at = stop + 1
    spread = []
    for part in range(SPREAD_LINES if at < end else 0):
        start = source.data.find(b"\n", at + (end - at) * part // SPREAD_LINES) + 1
        stop = source.data.find(b"\n", start)
        if 0 < start < stop:
            spread.append(source.decode(start, min(stop, start + 16_384)))
    return head, spread


def _cells(text: str, delimiter: str) -> list[str]:
    return [clean(cell) for cell in split_line(text, delimiter) or []]


def _delimiter(head: list[str], spread: list[str]) -> tuple[str, int]:
    """The mark that parts most lines into equally many cells, and how many those are."""
    best = ("", 0, 0)
    for delimiter in _BY_PREFERENCE:
        widths = Counter(_width(text, delimiter) for text in [*head, *spread])
        several = {width: lines for width, lines in widths.items() if width > 1}
        # Headings alone are as good as nothing where another mark parts the readings.
        width, lines = max(several.items(), key=lambda pair: (pair[1], pair[0]), default=(0, 0))
        if lines > best[2]:
            best = (delimiter, width, lines)
    if not best[0]:
        raise FileRefused("no_columns")
    if best[1] > MAX_COLUMNS:
        raise FileRefused("too_many_columns", limit=MAX_COLUMNS)
    return best[0], best[1]


def _width(text: str, delimiter: str) -> int:
    if '"' in text:
        return len(split_line(text, delimiter) or [])
    return text.count(delimiter) + 1


def _is_reading(cells: list[str], width: int) -> bool:
    """True for a line with a number or a time, of which at least half reads as a reading."""
    if len(cells) != width:
        return False
    counted = others = 0
    for cell in cells:
        if _NUMBER.fullmatch(cell) or _TIME.fullmatch(cell):
            counted += 1
        elif not cell or cell.casefold() in _SIGNS:
            others += 1
    return counted > 0 and 2 * (counted + others) >= width


def _headings(above: list[list[str]], width: int) -> tuple[int | None, int | None]:
    """The line of the headings and that of the units, of the lines above the readings."""
    fitting = [n for n, cells in enumerate(above) if _may_be_header(cells, width)]
    if not fitting:
        return None, None
    last = fitting[-1]
    if len(fitting) > 1 and _are_units(above[last]):
        return fitting[-2], last
    return last, None


def _may_be_header(cells: list[str], width: int) -> bool:
    return abs(len(cells) - width) <= 1 and sum(1 for cell in cells if cell) * 2 >= width


def _are_units(cells: Iterable[str]) -> bool:
    named = [cell for cell in cells if cell]
    return sum(unit_of(cell) is not None for cell in named) * 2 >= len(named)


def _refuse_commas_twice(table: list[list[str]], first: int, delimiter: str) -> None:
    """Refuse decimal commas between commas: each heading but the time's has two cells below."""
    cells = table[first]
    if delimiter != "," or first == 0:
        return
    headings = len(table[first - 1])
    doubled = headings > 1 and len(cells) == 2 * headings - 1
    if doubled and all(_WHOLE.fullmatch(cell) for cell in cells[1:]):
        raise FileRefused("commas_twice")
