"""Where the time stands and how it is written, by a sample. Pure.

Day and month are told apart only by a number above 12. Where none is seen, all orders are given
back, for a person to choose.
"""

import re
from collections import Counter
from dataclasses import dataclass
from itertools import pairwise

from retort_log.logger_files.channels import heading_unit, unit_of
from retort_log.logger_files.mapping import COUNTED_IN, TimeKind
from retort_log.logger_files.numbers import read_number
from retort_log.logger_files.shape import Shape
from retort_log.logger_files.stamps import compiled, read_stamp

_DATE = (
    r"(?:(?P<Y>[0-9]{4})(?P<s1>[-/.])(?P<m>[0-9]{1,2})(?P=s1)(?P<d>[0-9]{1,2})"
    r"|(?P<a>[0-9]{1,2})(?P<s2>[-/.])(?P<b>[0-9]{1,2})(?P=s2)(?P<y>[0-9]{4}|[0-9]{2})"
    r"|(?P<dd>[0-9]{1,2})(?P<s3>[-/ ])(?P<mon>[A-Za-z]{3})(?P=s3)(?P<yy>[0-9]{4}|[0-9]{2})"
    r"|(?P<c>(?:19|20)[0-9]{6}))"
)
_CLOCK = (
    r"(?:(?P<H>[0-9]{1,2}):[0-9]{2}(?P<S>:[0-9]{2})?(?P<f>[.,][0-9]{1,9})?"
    r"(?P<ps> ?)(?P<p>[AaPp]\.? ?[Mm]\.?)?(?P<zs> ?)(?P<z>[Zz]|[+-][0-9]{2}:?[0-9]{2})?"
    r"|(?P<ch>[0-9]{6}))"
)
_STAMP = re.compile(rf"{_DATE}(?P<sep>T| {{1,2}}|, ?|_| - ){_CLOCK}")
_DATE_ONLY, _CLOCK_ONLY = re.compile(_DATE), re.compile(_CLOCK)
_PASSED = re.compile(r"(?P<E>[0-9]{1,4}):[0-9]{2}(?P<S>:[0-9]{2})?(?P<f>[.,][0-9]{1,9})?")
_TIMELY = re.compile(r"time|hora\b|tiempo|elapsed|epoch|stamp|\bsec|\bmin\b|\bt\b|segundos", re.I)
# A count of seconds (or ms) since 1970 that lies between 2001 and 2065.
_EPOCHS = {"s": (1e9, 3e9), "ms": (1e12, 3e12)}
# In place of a date with an open order: its separator and how many digits its year has.
_OPEN = re.compile(r"\{(.)([24])\}")
# Orders of a date by its name in questions.
ORDERS = {"mdy": "%m{0}%d{0}%Y", "dmy": "%d{0}%m{0}%Y", "ymd": "%y{0}%m{0}%d"}


@dataclass(frozen=True)
class TimeGuess:
    """Where the time may stand; several `formats` by order of the date, if that is not certain.

    `formats` has for each order the formats of the columns; the order is "" where there is but
    one. `unit` is that of a counted time, "" where it is not known. `example` is what stands in
    these columns of one line.
    """

    kind: TimeKind
    columns: tuple[int, ...]
    formats: dict[str, tuple[str, ...]]
    unit: str
    example: tuple[str, ...]

    @property
    def has_zone(self) -> bool:
        """True where the times say how far they are from UTC, or count from a known moment."""
        texts = "".join(text for formats in self.formats.values() for text in formats)
        return self.kind in ("epoch", "elapsed") or "%z" in texts


def guess_times(shape: Shape) -> list[TimeGuess]:
    """All that may be the time of the readings, the likeliest first."""
    columns = {index: shape.column(index) for index in range(min(shape.width, 6))}
    stamps = [
        TimeGuess("stamp", (index,), found, "", (texts[0],))
        for index, texts in columns.items()
        if (found := _formats(texts, _STAMP))
    ]
    return stamps or _in_two(columns) or _counted(shape) or _passed(columns)


def _in_two(columns: dict[int, list[str]]) -> list[TimeGuess]:
    """A date in one column and the time of day in another."""
    dates = {
        index: found for index, texts in columns.items() if (found := _formats(texts, _DATE_ONLY))
    }
    clocks = {
        index: found[""]
        for index, texts in columns.items()
        if (found := _formats(texts, _CLOCK_ONLY))
    }
    return [
        TimeGuess(
            "date_and_time",
            (date, at),
            {order: (*formats, *clocks[at]) for order, formats in dates[date].items()},
            "",
            (columns[date][0], columns[at][0]),
        )
        for date, at in sorted((d, c) for d in dates for c in clocks if d != c)
    ]


def _passed(columns: dict[int, list[str]]) -> list[TimeGuess]:
    """Hours and minutes without any date."""
    found = []
    for index, texts in columns.items():
        matches = [match for text in texts if (match := _PASSED.fullmatch(text))]
        if texts and 2 * len(matches) > len(texts):
            seconds = ":%S" if any(match["S"] for match in matches) else ""
            text = f"%E:%M{seconds}{'%f' if seconds else ''}"
            found.append(TimeGuess("elapsed", (index,), {"": (text,)}, "", (texts[0],)))
    return found


def _counted(shape: Shape) -> list[TimeGuess]:
    """Seconds since 1970, or since the readings began."""
    found = []
    for index in range(min(shape.width, 6)):
        texts = shape.column(index)
        numbers = [
            n for text in texts if (n := read_number(text.replace(",", "."), ".")) is not None
        ]
        if not texts or 2 * len(numbers) <= len(texts):
            continue
        for unit, (low, high) in _EPOCHS.items():
            if all(low <= number <= high for number in numbers):
                return [TimeGuess("epoch", (index,), {}, unit, (texts[0],))]
        unit = _counting_unit(shape, index)
        falls = sum(one > two for one, two in pairwise(numbers))
        if 10 * falls <= len(numbers) and (unit or _TIMELY.search(shape.heading(index))):
            found.append(TimeGuess("elapsed", (index,), {}, unit, (texts[0],)))
    return found[:1]


def _counting_unit(shape: Shape, index: int) -> str:
    below = unit_of(shape.units[index]) if index < len(shape.units) else None
    unit = below or heading_unit(shape.heading(index)) or unit_of(shape.heading(index))
    return unit if unit in COUNTED_IN else ""


def _formats(texts: list[str], pattern: re.Pattern[str]) -> dict[str, tuple[str, ...]]:
    """The formats of most of the texts by order of the date; nothing if most are no times."""
    matches = [match for text in texts if (match := pattern.fullmatch(text))]
    if not texts or 2 * len(matches) <= len(texts):
        return {}
    fractions = any(match.groupdict().get("f") for match in matches)
    kinds = Counter(_format(match, fractions) for match in matches)
    text = kinds.most_common(1)[0][0]
    if not _OPEN.search(text):
        return {"": (text,)}
    alike = [match for match in matches if _format(match, fractions) == text]
    return _orders(text, alike)


def _orders(text: str, matches: list[re.Match[str]]) -> dict[str, tuple[str, ...]]:
    """The orders by which all dates are dates."""
    found: dict[str, tuple[str, ...]] = {}
    before, between, digits, after = _OPEN.split(text)
    for order, pattern in ORDERS.items():
        if order == "ymd" and digits == "4":
            continue
        date = pattern.format(between).replace("%Y", "%Y" if digits == "4" else "%y")
        full = before + date + after
        if all(read_stamp(match[0], compiled(full)) is not None for match in matches):
            found[order] = (full,)
    return {"": next(iter(found.values()))} if len(found) == 1 else found


def _format(match: re.Match[str], fractions: bool) -> str:
    """The format of one text, with a mark for _OPEN in place of a date with an open order."""
    found = match.groupdict()
    clock = _clock_format(found, fractions) if "H" in found else ""
    return _date_format(found) + (found.get("sep") or "") + clock


def _date_format(found: dict[str, str | None]) -> str:
    if found.get("Y"):
        return "%Y{0}%m{0}%d".format(found["s1"])
    if found.get("a"):
        return f"{{{found['s2']}{len(found['y'] or '')}}}"
    if found.get("mon"):
        year = "%Y" if len(found["yy"] or "") == 4 else "%y"
        return f"%d{found['s3']}%b{found['s3']}{year}"
    return "%Y%m%d" if found.get("c") else ""


def _clock_format(found: dict[str, str | None], fractions: bool) -> str:
    if found.get("ch"):
        return "%H%M%S"
    text = "%I" if found["p"] else "%H"
    text += ":%M" + (":%S" if found["S"] else "") + ("%f" if fractions else "")
    text += f"{found['ps']}%p" if found["p"] else ""
    return text + (f"{found['ps'] if not found['p'] else ''}{found['zs']}%z" if found["z"] else "")


def example_of(guess: TimeGuess, order: str) -> int | None:
    """The time of the example by one order, in ms since 1970 as the clock showed it."""
    forms = [compiled(text) for text in guess.formats[order]]
    read = [read_stamp(text, form) for text, form in zip(guess.example, forms, strict=True)]
    return None if None in read else sum(part for part in read if part is not None)
