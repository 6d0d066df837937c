"""Numbers in cells, one by one and all at once; both ways give the same. Pure.

A number is digits with at most one decimal mark and perhaps a sign. All at once, eight digits
are read with three multiplications of a 64-bit word. The value is the whole number of all
digits divided by a power of ten: both are exact in a float64 up to 15 digits, so that the one
rounding of the division gives what `float` gives for the same text.
"""

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Bytes = NDArray[np.uint8]
Ints = NDArray[np.int64]
Words = NDArray[np.uint64]
Bools = NDArray[np.bool_]

MOST_DIGITS = 15
MOST_DECIMALS = 6
_ALL = (1 << 64) - 1
_TOP_BITS = np.uint64(0x8080808080808080)
_PAIRS = np.uint64(0x000000FF000000FF)
_FIRST, _SECOND = np.uint64(0x000F424000000064), np.uint64(0x0000271000000001)
_TEN, _EIGHT, _SIXTEEN, _HALF, _LAST = (np.uint64(n) for n in (10, 8, 16, 32, 56))
_TEN_TO_8 = np.int64(10**8)
# Added to a byte, these set its top bit if it is more than 9, or more than 0.
NOT_A_DIGIT, NOT_NOUGHT = 0x76, 0x7F


def _keeps(count: int) -> int:
    """The mask of the last bytes of a word."""
    return _ALL ^ ((1 << 8 * (8 - min(count, 8))) - 1) if count > 0 else 0


# By the width of a cell: which bytes of the last and of the last but one word belong to it.
_LOW_KEEP = np.array([_keeps(n) for n in range(17)] + [0], np.uint64)
_HIGH_KEEP = np.array([_keeps(n - 8) for n in range(17)] + [0], np.uint64)
_SPACES = np.zeros(256, np.bool_)
_SPACES[list(b' \t\r"')] = True
_NUMBER = {
    mark: re.compile(rf"([+-]?)([0-9]*)(?:{re.escape(mark)}([0-9]*))?(?:[eE]([+-]?[0-9]{{1,3}}))?")
    for mark in ".,"
}


@dataclass(frozen=True)
class Numbers:
    """Numbers as whole numbers of `10 ** -decimals`; what was not taken is not `taken`."""

    whole: Ints
    decimals: Ints
    taken: Bools

    def floats(self) -> NDArray[np.float64]:
        """The values; NaN for what was not taken. Never minus nought."""
        first = int(self.decimals[0]) if len(self.decimals) else 0
        if (self.decimals == first).all():
            value = self.whole / 10.0**first
        else:
            value = self.whole / (10.0 ** np.arange(MOST_DECIMALS + 1))[self.decimals]
        if not self.taken.all():
            value[~self.taken] = np.nan
        return value


def read_number(text: str, decimal: str) -> float | None:
    """One number; None where the text is none. `text` has no spaces around it."""
    match = _NUMBER[decimal].fullmatch(text)
    if match is None or not (match[2] or match[3]):
        return None
    power = f"e{match[4]}" if match[4] else ""
    return float(f"{match[1]}{match[2] or 0}.{match[3] or 0}{power}") + 0.0


def read_counted(text: str, decimal: str, factor: int) -> int | None:
    """A time in units of `factor` ms, as `to_milliseconds` reckons it; None if it is none."""
    match = _NUMBER[decimal].fullmatch(text)
    if match is None or match[4] or not (match[2] or match[3]):
        return None
    fraction = match[3] or ""
    if len(match[2]) + len(fraction) > 2 * MOST_DIGITS:
        return None
    whole, scale = int(f"{match[1]}{match[2]}{fraction}"), 10 ** len(fraction)
    ms = (2 * whole * factor + scale) // (2 * scale)
    return ms if abs(ms) < 2**61 else None


def words_of(buffer: Bytes) -> Words:
    """At each place the eight bytes from there on as one number, the first byte the lowest."""
    return np.ndarray((len(buffer) - 7,), np.dtype("<u8"), buffer=buffer.data, strides=(1,))


def trimmed(buffer: Bytes, start: Ints, end: Ints) -> tuple[Ints, Ints]:
    """The cells without spaces and quotation marks around them."""
    for _ in range(16):
        blank = _SPACES[buffer[start]] & (start < end)
        if not blank.any():
            break
        start = start + blank
    for _ in range(16):
        blank = _SPACES[buffer[end - 1]] & (start < end)
        if not blank.any():
            break
        end = end - blank
    return start, end


def read_numbers(buffer: Bytes, start: Ints, end: Ints, decimal: str) -> Numbers:
    """Read the cells between `start` and `end`; odd ones are left, for `read_number`."""
    plain = _read_plain(buffer, end, end - start, decimal)
    if plain.taken.all():
        return plain
    at = np.flatnonzero(~plain.taken)
    begin, finish = trimmed(buffer, start[at], end[at])
    first = buffer[begin]
    minus = first == ord("-")
    begin = begin + (minus | (first == ord("+")))
    again = _read_plain(buffer, finish, finish - begin, decimal)
    plain.whole[at] = np.where(minus, -again.whole, again.whole)
    plain.decimals[at], plain.taken[at] = again.decimals, again.taken
    return plain


def _read_plain(buffer: Bytes, end: Ints, width: Ints, decimal: str) -> Numbers:
    """Read cells without sign and without spaces around them."""
    words = words_of(buffer)
    whole, decimals = np.zeros(len(end), np.int64), np.zeros(len(end), np.int64)
    taken = np.zeros(len(end), np.bool_)
    first = _places(buffer, end, decimal)
    for places in (first, *(n for n in (1, 0, *range(2, MOST_DECIMALS + 1)) if n != first)):
        if places == first:
            whole, taken = _fixed(words, end, width, places, ord(decimal))
            decimals[:] = places
        else:
            at = np.flatnonzero(~taken)
            if places:
                at = at[buffer[end[at] - 1 - places] == ord(decimal)]
            whole[at], taken[at] = _fixed(words, end[at], width[at], places, ord(decimal))
            decimals[at] = places
        if taken.all():
            break
    return Numbers(whole, decimals, taken)


def _places(buffer: Bytes, end: Ints, decimal: str) -> int:
    """How many decimals the first cell has, as far as that is quickly seen."""
    if len(end):
        for places in range(1, MOST_DECIMALS + 1):
            if buffer[end[0] - 1 - places] == ord(decimal):
                return places
    return 0


def _fixed(words: Words, end: Ints, width: Ints, places: int, mark: int) -> tuple[Ints, Bools]:
    """Read cells that all have this many decimals; says which of them are numbers."""
    length = np.minimum(width, 17)
    wide = bool((width > 8).any())
    low, good = _digits(words[end - 8], _LOW_KEEP[length], places, mark)
    good &= width > places + (places > 0) if places else width > 0
    high = low
    if wide:
        high, also = _digits(words[end - 16], _HIGH_KEEP[length], 0, mark)
        good &= also & (width <= MOST_DIGITS + (places > 0))
    if places:
        above = low & np.uint64(_ALL ^ _keeps(places + 1))
        low &= np.uint64(_keeps(places))
        low |= above << _EIGHT
        if wide:
            low |= high >> _LAST
            high = high << _EIGHT
    value = _eight(low)
    return (_eight(high) * _TEN_TO_8 + value if wide else value), good


def _digits(word: Words, keep: Words, places: int, mark: int) -> tuple[Words, Bools]:
    """The digits of a word as numbers of a byte each, nought for the mark, and if all are right."""
    at = 8 * (7 - places)
    zeros, over = 0x3030303030303030, NOT_A_DIGIT * 0x0101010101010101
    if places:
        zeros ^= (0x30 ^ mark) << at
        over ^= (NOT_A_DIGIT ^ NOT_NOUGHT) << at
    digits = word ^ np.uint64(zeros)
    digits &= keep
    wrong = digits + np.uint64(over)
    wrong |= digits
    wrong &= _TOP_BITS
    return digits, wrong == 0


def _eight(digits: Words) -> Ints:
    """The value of eight digits, a byte each. What it is given is used up."""
    right = digits >> _EIGHT
    digits *= _TEN
    digits += right
    right = digits >> _SIXTEEN
    right &= _PAIRS
    right *= _SECOND
    digits &= _PAIRS
    digits *= _FIRST
    digits += right
    digits >>= _HALF
    return digits.view(np.int64)


def to_milliseconds(numbers: Numbers, factor: int) -> tuple[Ints, Bools]:
    """Times in units of `factor` ms, rounded to the nearest ms, and which could be reckoned."""
    scale = (10 ** np.arange(MOST_DECIMALS + 1, dtype=np.int64))[numbers.decimals]
    taken = numbers.taken & (np.abs(numbers.whole) < 2**61 // factor)
    whole = np.where(taken, numbers.whole, 0)
    return (2 * whole * factor + scale) // (2 * scale), taken
