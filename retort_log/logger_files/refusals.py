"""What a logger's file was refused for, in plain words that say what to do. Pure."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

LONGEST_EXCERPT = 60

# One sentence on what is wrong, one on what to do. {channel} is the channel's name.
REASONS: Mapping[str, str] = {
    # a whole line
    "wrong_columns": "The line has not as many columns as the others. "
    "Look whether it was cut off or belongs to another list.",
    "quote": "A quotation mark on the line is never closed. Export the file again.",
    "nul_bytes": "The line holds empty bytes, as after a loss of power. Its readings are lost.",
    "too_long": "The line is longer than any reading. Export the file again.",
    "no_time": "The line has no time. A reading without its time cannot be kept.",
    "unreadable_time": "The time is not written as in the other lines. "
    "Check the column and the format of the time.",
    "too_old": "The time lies before 1990, as from a logger whose clock was never set. "
    "Set the clock; if it is known when the readings began, read the file as elapsed time.",
    "future": "The time lies in the future. Check the logger's clock, its time zone and "
    "the order of day and month.",
    "skipped_hour": "The clocks went forward over this time, so it never was. "
    "Check whether the logger keeps summer time.",
    "repeated_hour": "The clocks went back and this hour came twice; the file does not show "
    "which one is meant. Say whether it was the first or the second.",
    "conflict": "Another line has the same time and other values. "
    "Neither is kept; find out which is right.",
    # one cell
    "blank": "No value for {channel}. The place stays empty.",
    "error_value": "The logger wrote its sign for a fault instead of a value for {channel}. "
    "Check the sensor and its wire.",
    "not_a_number": "This is no number for {channel}. Check the column and the decimal mark.",
    "other_unit": "The value for {channel} carries another unit than its column. "
    "Check the unit of the column.",
    "too_cold": "The value for {channel} is below absolute zero. Check the sensor and the unit.",
    "too_hot": "The value for {channel} is above 2000 °C. Check the sensor and the unit.",
    "out_of_range": "The value for {channel} is outside what can be measured. "
    "Check the sensor and the unit.",
}

FILE_REASONS: Mapping[str, str] = {
    "empty": "The file is empty. Export it from the logger again.",
    "too_big": "The file is larger than {limit}. Export a shorter time.",
    "too_many_lines": "The file has more than {limit} lines. Export a shorter time.",
    "too_many_columns": "The file has more than {limit} columns. "
    "Export only the channels of this machine.",
    "workbook": "This is a spreadsheet workbook, not a text file. "
    "Open it and save it as CSV, then bring that file.",
    "binary": "This is not a text file. Export the readings from the logger's program as CSV.",
    "no_columns": "No columns were found in the file. "
    "Values must stand apart by comma, semicolon, tab or vertical bar.",
    "header_only": "The file has headings but no readings below them. "
    "Check the dates that were chosen for the export.",
    "no_readings": "No line of the file holds readings. "
    "Export the readings as CSV, a line for each time.",
    "no_times": "No column of the file holds times. Readings without their times cannot be kept: "
    "export the file with the time of each line.",
    "commas_twice": "The commas stand both between columns and inside numbers, so that nobody "
    "can tell them apart. Export the file with semicolons between columns or with points "
    "inside numbers.",
    "too_many_refusals": "More than {limit} values of the file could not be read. The first was on "
    "line {line}: {reason}",
    "other_file": "The file does not have the columns of the description by which it should be "
    "read. Look at it anew.",
}


class FileRefused(ValueError):
    """A file of which nothing can be read; `code` is a key of FILE_REASONS."""

    def __init__(self, code: str, **values: object) -> None:
        self.code = code
        self.text = FILE_REASONS[code].format(**values)
        super().__init__(self.text)


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why a line, or one cell of it, gives no value.

    `line` counts from 1 as an editor does; `channel` is None where the whole line is refused;
    `code` is a key of REASONS; `text` is what stood there, cut at LONGEST_EXCERPT.
    """

    line: int
    code: str
    text: str
    channel: str | None = None

    @property
    def reason(self) -> str:
        """What is wrong and what to do, in plain words."""
        return REASONS[self.code].format(channel=self.channel)


def excerpt(text: str) -> str:
    """The text on one line, without control characters, no longer than LONGEST_EXCERPT."""
    shown = "".join(char if char.isprintable() else " " for char in text[: LONGEST_EXCERPT * 4])
    shown = " ".join(shown.split())
    return shown if len(shown) <= LONGEST_EXCERPT else shown[: LONGEST_EXCERPT - 1] + "…"


@dataclass(frozen=True, slots=True)
class Run:
    """Refusals that say the same of one line after the other."""

    first_line: int
    last_line: int
    refusal: Refusal


def in_runs(refusals: Iterable[Refusal]) -> list[Run]:
    """The refusals with those that say the same of following lines put together, for people."""
    runs: list[Run] = []
    last: dict[tuple[str, str | None, str], int] = {}
    for refusal in refusals:
        key = (refusal.code, refusal.channel, refusal.text if refusal.channel else "")
        at = last.get(key)
        if at is not None and runs[at].last_line == refusal.line - 1:
            runs[at] = Run(runs[at].first_line, refusal.line, runs[at].refusal)
        else:
            last[key] = len(runs)
            runs.append(Run(refusal.line, refusal.line, refusal))
    return runs


MOST_REFUSALS = 500_000


class Refusals:
    """The refusals of one file, as they come up. Raises FileRefused when they are too many."""

    def __init__(self) -> None:
        self._kept: list[Refusal] = []

    def add(self, line: int, code: str, text: str, channel: str | None = None) -> None:
        """Note that a line or a cell is refused."""
        self._kept.append(Refusal(line, code, excerpt(text), channel))
        if len(self._kept) > MOST_REFUSALS:
            first = min(self._kept, key=lambda refusal: refusal.line)
            raise FileRefused(
                "too_many_refusals",
                limit=f"{MOST_REFUSALS:,}",
                line=first.line,
                reason=first.reason,
            )

    def in_order(self, channels: tuple[str, ...]) -> tuple[Refusal, ...]:
        """All of them by line, and within a line by the order of the channels."""
        place: dict[str | None, int] = {None: -1, **{name: n for n, name in enumerate(channels)}}
        return tuple(sorted(self._kept, key=lambda one: (one.line, place[one.channel], one.code)))
