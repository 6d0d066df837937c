"""Times as they are written, read one by one. `stamp_words` reads many at once. Pure.

A format is text with these marks: %Y year, %y year of this century in two digits, %m month,
%d day, %b month's name in three letters (English or Spanish), %H hour, %I hour of the 12-hour
clock with %p AM or PM, %E hours that passed (up to 9999), %M minute, %S second, %f a fraction
of a second with the point or comma before it, which may be missing, %z the distance from UTC.
Months, days and hours may have one digit where something else than a digit follows them.
"""

import re
from dataclasses import dataclass
from datetime import date
from functools import cache, cached_property

MARKS = "YymdbHIMSfpzE"
DAY_MS = 86_400_000
_EPOCH = date(1970, 1, 1).toordinal()
_SHORTENED = "mdHI"
_NAMES = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
MONTHS = {
    **{name: number for number, name in enumerate(_NAMES, 1)},
    **{"ene": 1, "abr": 4, "ago": 8, "set": 9, "dic": 12},
}
_PATTERNS = {
    "Y": "([0-9]{4})",
    "y": "([0-9]{2})",
    "M": "([0-9]{2})",
    "S": "([0-9]{2})",
    "E": "([0-9]{1,4}+)",
    "b": "([A-Za-z]{3})",
    "f": "(?:[.,]([0-9]{1,9}))?",
    "p": r"([AaPp])\.? ?[Mm]\.?",
    "z": "(Z|z|[+-][0-9]{2}:?[0-9]{2})",
}


class FormatError(ValueError):
    """A format with a mark that is not known."""


@dataclass(frozen=True)
class Format:
    """A format taken apart: each piece is a mark, or else literal text."""

    text: str
    pieces: tuple[tuple[bool, str], ...]

    def is_fixed(self, at: int) -> bool:
        """True where the mark at this place must have two digits."""
        following = self.pieces[at + 1 : at + 2]
        return bool(following) and following[0][0] and following[0][1] not in "fpz"

    @cached_property
    def pattern(self) -> re.Pattern[str]:
        """The regular expression of the whole text, a group for each mark."""
        return re.compile("".join(self._pattern(at) for at in range(len(self.pieces))))

    def _pattern(self, at: int) -> str:
        is_mark, text = self.pieces[at]
        if not is_mark:
            return re.escape(text)
        if text in _SHORTENED:
            return "([0-9]{2})" if self.is_fixed(at) else "([0-9]{1,2}+)"
        return _PATTERNS[text]

    @cached_property
    def marks(self) -> str:
        """The marks in their order."""
        return "".join(text for is_mark, text in self.pieces if is_mark)

    @property
    def has_zone(self) -> bool:
        """True where the times carry their distance from UTC."""
        return "z" in self.marks


@cache
def compiled(text: str) -> Format:
    """Take a format apart. Raises FormatError."""
    pieces: list[tuple[bool, str]] = []
    for part in re.findall(r"%.|[^%]+|%$", text):
        if part == "%" or (part[0] == "%" and part[1] not in MARKS):
            raise FormatError(f"The format “{text}” has the unknown mark “{part}”.")
        pieces.append((True, part[1]) if part[0] == "%" else (False, part))
    marks = "".join(part for is_mark, part in pieces if is_mark)
    if len(set(marks)) < len(marks) or not marks:
        raise FormatError(f"The format “{text}” has a mark twice, or none.")
    if ("I" in marks) != ("p" in marks):
        raise FormatError(f"The format “{text}” must have %I and %p together.")
    return Format(text, tuple(pieces))


def read_stamp(text: str, form: Format) -> int | None:
    """The time in ms since 1970, in UTC where the format has %z and else as the clock showed it.

    Without a date it is the time since midnight. None for what is not written so, or is no time.
    """
    match = form.pattern.fullmatch(text)
    if match is None:
        return None
    found = dict(zip(form.marks, match.groups(), strict=True))
    days, clock = _days(found), _clock(found)
    return None if days is None or clock is None else days * DAY_MS + clock


def _days(found: dict[str, str]) -> int | None:
    """Days since 1970."""
    if not {"Y", "y"} & found.keys():
        return 0
    year = int(found["Y"]) if "Y" in found else 2000 + int(found["y"])
    month = MONTHS.get(found["b"].casefold(), 0) if "b" in found else int(found.get("m", 1))
    try:
        return date(year, month, int(found.get("d", 1))).toordinal() - _EPOCH
    except ValueError:
        return None


def _clock(found: dict[str, str]) -> int | None:
    """Milliseconds since midnight in UTC or on the clock."""
    hour = int(found.get("H", found.get("E", 0)))
    if "I" in found:
        twelve = int(found["I"])
        if not 1 <= twelve <= 12:
            return None
        hour = twelve % 12 + (12 if found.get("p", "a") in "pP" else 0)
    minute, second = int(found.get("M", 0)), int(found.get("S", 0))
    if ("E" not in found and hour > 23) or minute > 59 or second > 59:
        return None
    fraction = found.get("f") or "0"
    part = (2 * int(fraction) * 1000 + 10 ** len(fraction)) // (2 * 10 ** len(fraction))
    return ((hour * 60 + minute) * 60 + second) * 1000 + part - _offset(found.get("z"))


def _offset(zone: str | None) -> int:
    """Milliseconds that the clock is ahead of UTC."""
    if zone is None or zone in "Zz":
        return 0
    minutes = int(zone[1:3]) * 60 + int(zone[-2:])
    return (-minutes if zone[0] == "-" else minutes) * 60_000
