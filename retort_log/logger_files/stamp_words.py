"""Times as they are written, many at once, eight characters at a step. Pure.

What is taken here is what `stamps.read_stamp` gives for the same text; the rest is left to it.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from itertools import product

import numpy as np

from retort_log.logger_files.numbers import (
    NOT_A_DIGIT,
    NOT_NOUGHT,
    Bools,
    Bytes,
    Ints,
    Words,
    trimmed,
    words_of,
)
from retort_log.logger_files.stamps import DAY_MS, MONTHS, Format

LONGEST = 40
_WIDTHS: dict[str, tuple[int, ...]] = {
    **dict.fromkeys("yMS", (2,)),
    "Y": (4,),
    "b": (3,),
    "f": (0, 2, 3, 4, 7),
    "p": (2,),
    "z": (1, 5, 6),
    "E": (1, 2, 3, 4),
}
_DAYS_IN_MONTH = np.array([0, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31, 0])
_DAYS_BEFORE_MONTH = np.array([0, *np.cumsum(_DAYS_IN_MONTH[:13])])
_NO_MONTH = 13


@dataclass(frozen=True)
class Layout:
    """A format with all widths settled: where each mark stands, and what must stand between."""

    width: int
    marks: tuple[tuple[str, int, int], ...]  # mark, place, width
    literals: tuple[tuple[int, int], ...]  # place, byte
    digits: tuple[int, ...]


def read_stamps(buffer: Bytes, start: Ints, end: Ints, form: Format) -> tuple[Ints, Bools]:
    """Read the texts between `start` and `end`; says which of them were taken."""
    result, taken = _read_plain(buffer, end, end - start, form)
    if not taken.all():
        at = np.flatnonzero(~taken)
        begin, finish = trimmed(buffer, start[at], end[at])
        result[at], taken[at] = _read_plain(buffer, finish, finish - begin, form)
    return result, taken


def _read_plain(buffer: Bytes, end: Ints, width: Ints, form: Format) -> tuple[Ints, Bools]:
    """Read texts without spaces around them."""
    result, taken = np.zeros(len(end), np.int64), np.zeros(len(end), np.bool_)
    for layout in _layouts(form):
        here = ~taken & (width == layout.width)
        if here.all():
            result, taken = _read(buffer, end, layout)
        elif here.any():
            at = np.flatnonzero(here)
            result[at], taken[at] = _read(buffer, end[at], layout)
        if taken.all():
            break
    return result, taken


@cache
def _layouts(form: Format) -> tuple[Layout, ...]:
    choices = [_choices(form, at) for at in range(len(form.pieces))]
    found = (_layout(form, widths) for widths in product(*choices))
    return tuple(layout for layout in found if 0 < layout.width <= LONGEST)


def _choices(form: Format, at: int) -> tuple[int, ...]:
    is_mark, text = form.pieces[at]
    if not is_mark:
        return (len(text.encode()),)
    if text in _WIDTHS:
        return _WIDTHS[text]
    return (2,) if form.is_fixed(at) else (2, 1)


def _layout(form: Format, widths: tuple[int, ...]) -> Layout:
    marks, literals, digits, place = [], [], [], 0
    for (is_mark, text), width in zip(form.pieces, widths, strict=True):
        if not is_mark:
            literals += list(enumerate(text.encode(), place))
        elif width:
            marks.append((text, place, width))
            digits += list(_digits(text, place, width))
        place += width
    return Layout(place, tuple(marks), tuple(literals), tuple(digits))


def _digits(mark: str, place: int, width: int) -> Iterator[int]:
    if mark == "f":
        yield from range(place + 1, place + width)
    elif mark == "z":
        yield from (place + n for n in {1: (), 5: (1, 2, 3, 4), 6: (1, 2, 4, 5)}[width])
    elif mark not in "bp":
        yield from range(place, place + width)


class _Characters:
    """The characters of texts of one width, by their place from the left.

    Digits are kept as their values, literal text as nought; other characters as they stand.
    """

    def __init__(self, buffer: Bytes, end: Ints, layout: Layout) -> None:
        words = words_of(buffer)
        self.width, self.marks = layout.width, layout.marks
        self.digits = _digit_masks(layout)
        self.good = np.ones(len(end), np.bool_)
        self.words: list[Words] = []
        self._pairs: dict[int, Words] = {}
        for n, (flip, over, top) in enumerate(_checks(layout)):
            word = words[end - 8 * (n + 1)] ^ np.uint64(flip)
            self.words.append(word)
            if top:
                wrong = word + np.uint64(over)
                wrong |= word
                wrong &= np.uint64(top)
                self.good &= wrong == 0

    def byte(self, place: int, mask: int = 255) -> Ints:
        """The byte of a character, or the value of a digit."""
        n, shift = _where(self.width, place)
        return ((self.words[n] >> np.uint64(shift)) & np.uint64(mask)).view(np.int64)

    def number(self, place: int, width: int) -> Ints:
        """The value of some digits."""
        n, shift = _where(self.width, place)
        if width == 2 and shift < 56:
            if n not in self._pairs:
                # What is no digit would carry over into its neighbour.
                digits = self.words[n] & np.uint64(self.digits[n])
                self._pairs[n] = digits * np.uint64(10) + (digits >> np.uint64(8))
            return ((self._pairs[n] >> np.uint64(shift)) & np.uint64(255)).view(np.int64)
        value = self.byte(place)
        for following in range(place + 1, place + width):
            value = value * 10 + self.byte(following)
        return value

    def is_same(self, marks: str) -> bool:
        """True where what stands at these marks is the same in all texts."""
        masks = [0] * len(self.words)
        for mark, place, width in self.marks:
            for at in range(place, place + width if mark in marks else place):
                n, shift = _where(self.width, at)
                masks[n] |= 255 << shift
        return all(
            not (((word ^ word[0]) & np.uint64(mask)).any())
            for word, mask in zip(self.words, masks, strict=True)
            if mask
        )

    def one(self) -> "_Characters":
        """The first text alone."""
        first = object.__new__(_Characters)
        first.width, first.marks, first._pairs = self.width, self.marks, {}
        first.digits = self.digits
        first.words, first.good = [word[:1] for word in self.words], self.good[:1]
        return first


def _where(width: int, place: int) -> tuple[int, int]:
    """The word, counted from the end, and how far to shift it, for a character."""
    behind = width - 1 - place
    return behind // 8, 8 * (7 - behind % 8)


@cache
def _digit_masks(layout: Layout) -> tuple[int, ...]:
    """For each word the bytes that are digits."""
    masks = [0] * -(-layout.width // 8)
    for place in layout.digits:
        n, shift = _where(layout.width, place)
        masks[n] |= 255 << shift
    return tuple(masks)


@cache
def _checks(layout: Layout) -> tuple[tuple[int, int, int], ...]:
    """For each word: what to flip, what to add, and which top bits must then not be set."""
    words = [[0, 0, 0] for _ in range(-(-layout.width // 8))]
    kept = [(place, byte, NOT_NOUGHT) for place, byte in layout.literals]
    kept += [(place, 0x30, NOT_A_DIGIT) for place in layout.digits]
    for place, byte, over in kept:
        n, shift = _where(layout.width, place)
        for slot, value in enumerate((byte, over, 0x80)):
            words[n][slot] |= value << shift
    return tuple((flip, over, top) for flip, over, top in words)


def _read(buffer: Bytes, end: Ints, layout: Layout) -> tuple[Ints, Bools]:
    text = _Characters(buffer, end, layout)
    found = {mark: (place, width) for mark, place, width in layout.marks}
    value = {mark: text.number(*found[mark]) for mark in found if mark in "HIMSE"}
    result = np.zeros(len(end), np.int64) + _date(text, found) + _clock(text, found, value)
    if "z" in found:
        result = result - _offset(text, *found["z"])
    return result, text.good


_Found = dict[str, tuple[int, int]]


def _date(text: _Characters, found: _Found) -> Ints | int:
    """Milliseconds from 1970 to the midnight before. Most often the day is the same in all."""
    if "Y" not in found and "y" not in found:
        return 0
    if len(text.good) == 0 or not text.is_same("Yymdb"):
        return _days(text, found) * DAY_MS
    first = text.one()
    first.good = np.ones(1, np.bool_)
    days = int(_days(first, found)[0])
    if not first.good[0]:
        text.good[:] = False
    return days * DAY_MS


def _days(text: _Characters, found: _Found) -> Ints:
    """Days since 1970, by the Gregorian calendar."""
    value = {mark: text.number(*found[mark]) for mark in found if mark in "Yymd"}
    year = value["Y"] if "Y" in value else value["y"] + 2000
    month = _month(text, found["b"][0]) if "b" in found else value.get("m", np.ones_like(year))
    day = value.get("d", np.ones_like(year))
    month = np.minimum(month, _NO_MONTH)
    leap = ((year % 4 == 0) & (year % 100 != 0)) | (year % 400 == 0)
    text.good &= (day >= 1) & (day <= _DAYS_IN_MONTH[month] + (leap & (month == 2))) & (year >= 1)
    before = year - 1
    years = before * 365 + before // 4 - before // 100 + before // 400 - 719_162
    return years + _DAYS_BEFORE_MONTH[month] + (leap & (month > 2)) + day - 1


def _month(text: _Characters, place: int) -> Ints:
    name = sum((text.byte(place + n) | 32) << (8 * n) for n in range(3))
    month = np.zeros(len(text.good), np.int64)
    for word, number in MONTHS.items():
        month[name == int.from_bytes(word.encode(), "little")] = number
    return month


def _clock(text: _Characters, found: _Found, value: dict[str, Ints]) -> Ints | int:
    """Milliseconds since midnight, as the clock showed it."""
    hour: Ints | int = value.get("H", value.get("E", 0))
    if "H" in value:
        text.good &= value["H"] < 24
    if "I" in value:
        text.good &= (value["I"] >= 1) & (value["I"] <= 12)
        hour = value["I"] % 12 + (_is_afternoon(text, found) if "p" in found else 0)
    seconds = hour * 3600
    for mark, factor in (("M", 60), ("S", 1)):
        if mark in value:
            text.good &= value[mark] < 60
            seconds = seconds + value[mark] * factor
    return seconds * 1000 + _fraction(text, found)


def _is_afternoon(text: _Characters, found: _Found) -> Ints:
    place = found["p"][0]
    first, second = text.byte(place) | 32, text.byte(place + 1) | 32
    text.good &= ((first == ord("a")) | (first == ord("p"))) & (second == ord("m"))
    return (first == ord("p")) * np.int64(12)


def _fraction(text: _Characters, found: _Found) -> Ints | int:
    """Milliseconds, rounded to the nearest."""
    if "f" not in found:
        return 0
    place, width = found["f"]
    mark = text.byte(place)
    text.good &= (mark == ord(".")) | (mark == ord(","))
    scale = 10 ** (width - 1)
    return (2000 * text.number(place + 1, width - 1) + scale) // (2 * scale)


def _offset(text: _Characters, place: int, width: int) -> Ints | int:
    """Milliseconds that the clock is ahead of UTC."""
    sign = text.byte(place)
    if width == 1:
        text.good &= (sign | 32) == ord("z")
        return 0
    text.good &= (sign == ord("+")) | (sign == ord("-"))
    if width == 6:
        text.good &= text.byte(place + 3) == ord(":")
    minutes = text.number(place + 1, 2) * 60 + text.number(place + width - 2, 2)
    return np.where(sign == ord("-"), -minutes, minutes) * 60_000
