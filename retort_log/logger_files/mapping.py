"""How one logger's files are to be read: what is remembered of it. Pure."""

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from typing import Any, Literal, cast
from zoneinfo import ZoneInfo

from retort_log.logger_files.stamps import FormatError, compiled

TimeKind = Literal["stamp", "date_and_time", "elapsed", "epoch"]
RepeatedHour = Literal["ask", "first", "second"]

DELIMITERS = (",", ";", "\t", "|")
DECIMALS = (".", ",")
# Milliseconds in the unit of a counting time.
COUNTED_IN = {"ms": 1, "s": 1_000, "min": 60_000, "h": 3_600_000}
VERSION = 1

# Signs of a fault that loggers write in place of a value; common practice, no source.
ERROR_VALUES = (
    *("9999", "-9999", "-999", "99999", "-99999", "32767", "-32768", "6999", "-6999"),
    *("OPEN", "ERR", "ERROR", "FAULT", "FAIL", "BAD", "OVER", "UNDER", "OVERRANGE", "BURNOUT"),
    *("OL", "-OL", "+OL", "---", "--", "-", "----", "*****", "NaN", "N/A", "NA", "NULL", "NONE"),
    *("INF", "-INF", "+INF", "#N/A", "#VALUE!", "#DIV/0!", "NO DATA", "SHORT"),
)


class MappingError(ValueError):
    """A description that cannot be used; the message says why."""


@dataclass(frozen=True)
class Column:
    """One column that is used: its place (from 0), its heading, what it is and its unit."""

    index: int
    heading: str
    channel: str
    unit: str


@dataclass(frozen=True)
class TimeColumns:
    """Where the time stands and how it is written.

    `kind` "stamp": one column in `formats[0]`; "date_and_time": two columns with a format each;
    "elapsed": since `start` (ms since 1970 UTC), as a number in `unit` or in `formats[0]`;
    "epoch": a number in `unit` since 1970 UTC. Formats are those of `stamps`. `zone` is the name
    of the time zone of times without their own.
    """

    kind: TimeKind
    columns: tuple[int, ...]
    formats: tuple[str, ...] = ()
    unit: str = ""
    zone: str = ""
    start: int | None = None


@dataclass(frozen=True)
class Mapping:
    """How to read a file. `first_line` is the first line of readings, counted from 1.

    `width` is the number of columns of a line of readings; `header` the heading line's text of
    all columns, by which a later file of the same logger is known again.
    """

    delimiter: str
    decimal: str
    first_line: int
    width: int
    time: TimeColumns
    columns: tuple[Column, ...]
    header_line: int | None = None
    header: tuple[str, ...] = ()
    error_values: tuple[str, ...] = ERROR_VALUES
    repeated_hour: RepeatedHour = "ask"
    version: int = field(default=VERSION)

    def __post_init__(self) -> None:
        """Raise MappingError for what could not be read by."""
        for wrong, words in _faults(self):
            if wrong:
                raise MappingError(words)

    @property
    def channels(self) -> tuple[str, ...]:
        """The channels in the order of the values' columns."""
        return tuple(column.channel for column in self.columns)

    def to_json(self) -> str:
        """The description as text, to be remembered with the logger."""
        return json.dumps(asdict(self), ensure_ascii=False, sort_keys=True)

    @classmethod
    def from_json(cls, text: str) -> "Mapping":
        """Read what `to_json` wrote. Raises MappingError for anything else."""
        try:
            told = json.loads(text)
            time = {**told.pop("time")}
            columns = tuple(Column(**column) for column in told.pop("columns"))
            parts = {key: _tuples(value) for key, value in told.items()}
            time_columns = TimeColumns(**{key: _tuples(value) for key, value in time.items()})
            return cls(time=time_columns, columns=columns, **parts)
        except MappingError:
            raise
        except (TypeError, ValueError, KeyError, AttributeError) as error:
            raise MappingError(f"This is no description of a logger's file: {error}") from error


def _tuples(value: Any) -> Any:
    return tuple(cast(Sequence[Any], value)) if isinstance(value, list) else value


def _faults(mapping: Mapping) -> list[tuple[bool, str]]:
    time, columns = mapping.time, mapping.columns
    places = [*time.columns, *(column.index for column in columns)]
    names = [column.channel for column in columns]
    needed = {"stamp": 1, "date_and_time": 2, "elapsed": 1, "epoch": 1}.get(time.kind, 0)
    counts = time.unit in COUNTED_IN
    return [
        (mapping.version != VERSION, "The description is of another version of the program."),
        (mapping.delimiter not in DELIMITERS, "The mark between columns is not known."),
        (mapping.decimal not in DECIMALS, "The decimal mark must be a point or a comma."),
        (not columns, "No column is used."),
        (len(set(names)) < len(names), "Two columns have the same channel."),
        (not all(names), "A used column has no channel."),
        (any(not 0 <= place < mapping.width for place in places), "A column does not exist."),
        (len(set(places)) < len(places), "A column is used twice."),
        (len(time.columns) != needed, "The columns of the time are not as many as its kind needs."),
        (time.kind in ("stamp", "date_and_time") and len(time.formats) != needed, "No format."),
        (time.kind == "epoch" and not counts, "The unit of the time is not known."),
        (
            time.kind == "elapsed" and not (counts or time.formats),
            "The unit of the time is missing.",
        ),
        (time.kind == "elapsed" and time.start is None, "It is not said when the readings began."),
        (not all(_is_format(text) for text in time.formats), "A format of the time is not known."),
        (not _zone_is_known(time), "The time zone is not known."),
        (mapping.repeated_hour not in ("ask", "first", "second"), "The repeated hour is unclear."),
        (mapping.first_line < 1, "Lines are counted from 1."),
    ]


def _is_format(text: str) -> bool:
    try:
        compiled(text)
    except FormatError:
        return False
    return True


def _zone_is_known(time: TimeColumns) -> bool:
    if time.kind in ("elapsed", "epoch") or "%z" in "".join(time.formats):
        return True
    try:
        ZoneInfo(time.zone)
    except (ValueError, OSError, LookupError):
        return False
    return bool(time.zone)
