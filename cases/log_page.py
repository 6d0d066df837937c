"""What was understood of a logger's file, in words, before anything of it is stored."""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import islice
from typing import Any

import numpy as np
from django.utils import timezone

from cases.forms.loggers import channel_words, digest_of
from retort_log import logger_acts, recorded
from retort_log.logger_files import (
    Gap,
    Mapping,
    Note,
    Parsed,
    Understanding,
    in_runs,
)
from retort_log.logger_files.looking import SAMPLE_ROWS
from retort_log.logger_units import unit_words
from retort_log.models import Logger, Retort

DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "vertical bar"}
DECIMALS = {".": "point", ",": "comma"}
DIRECTIVES = {
    "%Y": "year",
    "%y": "year",
    "%m": "month",
    "%b": "month",
    "%d": "day",
    "%H": "hour",
    "%I": "hour",
    "%E": "hours",
    "%M": "minute",
    "%S": "second",
    "%f": "fraction",
    "%p": "AM or PM",
    "%z": "offset",
}
MOST_GAPS = 12
MOST_RUNS = 60
GRAVE = ("clock_back",)


@dataclass(frozen=True)
class Told:
    """Lines of the file, from the first to the last, and what is said of them."""

    first: int
    last: int
    words: str
    text: str = ""


@dataclass(frozen=True)
class Seen:
    """One note, with the times it speaks of."""

    note: Note
    from_at: str
    to_at: str


def layout(seen: Understanding, mapping: Mapping | None) -> dict[str, Any]:
    """Return how the file is laid out; a mapping, where there is one, has the last word."""
    shape = seen.shape
    time = mapping.time if mapping else None
    guess = seen.times[0]
    columns = time.columns if time else guess.columns
    formats = time.formats if time else tuple(f for all_ in guess.formats.values() for f in all_)
    return {
        "encoding": seen.encoding.upper(),
        "delimiter": DELIMITERS.get(shape.delimiter, shape.delimiter),
        "decimal": DECIMALS[mapping.decimal if mapping else seen.decimal],
        "preamble": len(shape.preamble),
        "header_line": shape.header_line,
        "units_line": shape.units_line,
        "first_line": shape.first_line,
        "time_columns": [shape.heading(n) or f"column {n + 1}" for n in columns],
        "time_formats": [format_words(text) for text in formats],
        "zone": _zone_words(mapping) if mapping else "",
        "start": recorded.from_ms(time.start) if time and time.start is not None else None,
        "headings": [shape.heading(n) or f"column {n + 1}" for n in range(shape.width)],
        "sample": seen.sample,
    }


def format_words(text: str) -> str:
    """Return how a time is written, in words: "year-month-day hour:minute"."""
    for sign, word in DIRECTIVES.items():
        text = text.replace(sign, word)
    return text


def _zone_words(mapping: Mapping) -> str:
    time = mapping.time
    if time.kind in ("elapsed", "epoch"):
        return "counted in UTC"
    if "%z" in "".join(time.formats):
        return "each time says how far it is from UTC"
    return time.zone.replace("_", " ")


def samples_of(seen: Understanding, index: int) -> list[str]:
    """Return a few cells of a column."""
    return [cell for cell in islice(dict.fromkeys(seen.shape.column(index)), 3) if cell]


def preview(
    retort: Retort, logger: Logger | None, parsed: Parsed, mapping: Mapping
) -> dict[str, Any]:
    """Return what would be stored, what not, and why. Raises LoggerRefused."""
    found = logger_acts.sort_out(retort, parsed, logger)
    runs = [*_by_reading(parsed), *_beside(found.refused)]
    runs.sort(key=lambda told: told.first)
    return {
        "shown": digest_of(mapping),
        "count": len(parsed.times_ms),
        "starts_at": _at(parsed, 0),
        "ends_at": _at(parsed, -1),
        "step": span_words(parsed.step_ms),
        "gaps": [_gap(gap) for gap in _longest(parsed.gaps)],
        "gap_count": len(parsed.gaps),
        "duplicates": parsed.duplicates,
        "grave": [_seen(note) for note in parsed.notes if note.code in GRAVE],
        "notes": [_seen(note) for note in parsed.notes if note.code not in GRAVE],
        "new": 0 if found.new is None else len(found.new.times_ms),
        "already_there": found.already_there,
        "refused": len(found.refused),
        "runs": runs[:MOST_RUNS],
        "runs_left": len(runs) - MOST_RUNS,
        "channels": _channels(parsed),
        "rows": _rows(parsed),
        "asks_repeated_hour": parsed.asks_repeated_hour,
    }


def span_words(ms: int | None) -> str:
    """Return a length of time in words: "1 s", "15 min", "3 h 20 min"."""
    if ms is None:
        return ""
    if ms < 60_000:
        return f"{ms / 1000:g} s"
    minutes, seconds = divmod(round(ms / 1000), 60)
    hours, minutes = divmod(minutes, 60)
    days, hours = divmod(hours, 24)
    parts = ((days, "d"), (hours, "h"), (minutes, "min"), (seconds, "s"))
    return " ".join(f"{n} {unit}" for n, unit in parts if n)


def _at(parsed: Parsed, row: int) -> str:
    return _moment(int(parsed.times_ms[row])) if len(parsed.times_ms) else ""


def _longest(gaps: Iterable[Gap]) -> list[Gap]:
    return sorted(gaps, key=lambda gap: -gap.length_ms)[:MOST_GAPS]


def _gap(gap: Gap) -> tuple[str, str, str]:
    return _moment(gap.from_ms), _moment(gap.to_ms), span_words(gap.length_ms)


def _seen(note: Note) -> Seen:
    times = ("" if ms is None else _moment(ms) for ms in (note.from_ms, note.to_ms))
    return Seen(note, *times)


def _by_reading(parsed: Parsed) -> list[Told]:
    return [
        Told(run.first_line, run.last_line, run.refusal.reason, run.refusal.text)
        for run in in_runs(parsed.refusals)
    ]


def _beside(refused: Iterable[tuple[int, str]]) -> list[Told]:
    """Runs of lines that what is stored already stands against."""
    found: list[Told] = []
    for line, words in refused:
        if words not in (logger_acts.STANDS, logger_acts.BY_ANOTHER):
            continue
        last = found[-1] if found else None
        if last and last.words == words and last.last == line - 1:
            found[-1] = Told(last.first, line, words)
        else:
            found.append(Told(line, line, words))
    return found


def _channels(parsed: Parsed) -> list[dict[str, Any]]:
    """Each channel with the least and the most it read, and how many places are empty."""
    told = []
    for place, name in enumerate(parsed.channels):
        column = parsed.values[:, place]
        known = column[~np.isnan(column)]
        told.append(
            {
                "name": channel_words(name),
                "unit": unit_words(parsed.units[place]),
                "least": f"{known.min():,.6g}" if len(known) else "",
                "most": f"{known.max():,.6g}" if len(known) else "",
                "empty": len(column) - len(known),
            }
        )
    return told


def _rows(parsed: Parsed) -> list[tuple[int, str, list[str]]]:
    """The first rows as they were understood: line, local time with its zone, values."""
    return [
        (
            int(parsed.lines[n]),
            _moment(int(parsed.times_ms[n])),
            ["" if np.isnan(value) else f"{value:,.6g}" for value in parsed.values[n]],
        )
        for n in range(min(SAMPLE_ROWS, len(parsed.times_ms)))
    ]


def _moment(ms: int) -> str:
    """A time to the second by the clock here, its zone named."""
    at = recorded.from_ms(ms)
    local = timezone.localtime(at)
    second = f"{local:%H:%M:%S}"
    if at.microsecond:
        second += f".{at.microsecond // 1000:03d}"
    return f"{local:%a} {local.day} {local:%b %Y} {second} {local.tzname()}"
