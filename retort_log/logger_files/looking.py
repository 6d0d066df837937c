"""Look at a logger's file for the first time: what it seems to be, and what must be asked. Pure.

Nothing that could be one thing or another is settled here: it becomes a question, and without
its answer no mapping is made.
"""

import re
from collections.abc import Mapping as Answers
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

from retort_log.logger_files.channels import CHANNELS
from retort_log.logger_files.mapping import Column, Mapping, MappingError, TimeColumns
from retort_log.logger_files.questions import (
    Question,
    SeenColumn,
    column_questions,
    seen_columns,
    time_questions,
)
from retort_log.logger_files.refusals import FileRefused
from retort_log.logger_files.shape import Shape, shape_of
from retort_log.logger_files.source import Source, open_source
from retort_log.logger_files.time_guess import TimeGuess, guess_times

SAMPLE_ROWS = 8
_COMMA = re.compile(r"[+-]?[0-9]*,[0-9]+")
_POINT = re.compile(r"[+-]?[0-9]*\.[0-9]+")
_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


class Unanswered(MappingError):
    """A mapping was asked for while questions are open; `codes` are theirs."""

    def __init__(self, codes: tuple[str, ...]) -> None:
        self.codes = codes
        super().__init__(f"Without an answer: {', '.join(codes)}.")


@dataclass(frozen=True)
class Understanding:
    """What a file seems to be. Lines count from 1, columns from 0."""

    source: Source
    shape: Shape
    decimal: str
    times: tuple[TimeGuess, ...]
    columns: tuple[SeenColumn, ...]
    questions: tuple[Question, ...]

    @property
    def encoding(self) -> str:
        """The encoding of the text; UTF-16 counts as UTF-8, into which it was turned."""
        return self.source.encoding

    @property
    def sample(self) -> tuple[tuple[str, ...], ...]:
        """The first rows of readings."""
        return self.shape.rows[:SAMPLE_ROWS]

    def knows(self, mapping: Mapping) -> bool:
        """True where a remembered mapping fits this file: same columns under same headings."""
        return (
            mapping.header == self.shape.header
            and mapping.width == self.shape.width
            and mapping.delimiter == self.shape.delimiter
        )

    def remembered(self, mapping: Mapping, start: str | None = None) -> Mapping:
        """A mapping that `knows` accepts, for this file.

        What belonged to the other file alone is not taken over: where its readings began, and
        which pass of a repeated hour it showed. Raises Unanswered for a missing `start`.
        """
        time = mapping.time
        if time.kind == "elapsed":
            if start is None:
                raise Unanswered(("start",))
            time = replace(time, start=_moment(start))
        return replace(
            mapping,
            time=time,
            first_line=self.shape.first_line,
            header_line=self.shape.header_line,
            repeated_hour="ask",
        )

    def mapping(self, answers: Answers[str, str] | None = None) -> Mapping:
        """The mapping by the answers to the questions, by their codes.

        A channel or a unit may also be answered where it was not asked: "channel:3",
        "unit:3". Raises Unanswered, and MappingError for an answer that cannot be used.
        """
        answers = answers or {}
        self._check_answers(answers)
        time = _time_columns(self.times, answers)
        columns = tuple(
            made for column in self.columns if (made := _column(column, answers)) is not None
        )
        return Mapping(
            delimiter=self.shape.delimiter,
            decimal=answers.get("decimal", self.decimal),
            first_line=self.shape.first_line,
            width=self.shape.width,
            time=time,
            columns=columns,
            header_line=self.shape.header_line,
            header=self.shape.header,
        )

    def _check_answers(self, answers: Answers[str, str]) -> None:
        """Every question needs an answer; a unit only where its column is taken."""
        missing = []
        for question in self.questions:
            code = question.code
            if code in answers or (code == "columns" and _names_a_channel(answers)):
                continue
            if code.startswith("unit:") and answers.get(f"channel:{code[5:]}") == "":
                continue
            missing.append(code)
        if missing:
            raise Unanswered(tuple(missing))


def look(raw: bytes, *, zone: str = "") -> Understanding:
    """Look at a file. `zone` is the zone of the place, offered as the logger's likely one.

    Raises FileRefused for what is no file of readings.
    """
    source = open_source(raw)
    shape = shape_of(source)
    times = guess_times(shape)
    if not times:
        raise FileRefused("no_times")
    columns = seen_columns(shape, times[0])
    decimal, doubtful = _decimal(shape, columns)
    questions = [*time_questions(times, shape, zone), *column_questions(columns)]
    if doubtful:
        questions.append(doubtful)
    return Understanding(source, shape, decimal, tuple(times), columns, tuple(questions))


def _decimal(shape: Shape, columns: tuple[SeenColumn, ...]) -> tuple[str, Question | None]:
    """The decimal mark, and a question where a comma could part thousands."""
    cells = [row[column.index] for row in shape.rows for column in columns]
    commas = [cell for cell in cells if "," in cell and _COMMA.fullmatch(cell)]
    points = any("." in cell and _POINT.fullmatch(cell) for cell in cells)
    if not commas:
        return ".", None
    if not points and not all(_THOUSANDS.fullmatch(cell) for cell in commas):
        return ",", None
    whole = commas[0].split(",")[0]
    choices = (
        (",", f"{whole} and a part: the comma is the decimal mark"),
        (".", "the comma parts thousands; such values are then refused"),
    )
    return ",", Question("decimal", f"What number is “{commas[0]}”?", choices)


def _names_a_channel(answers: Answers[str, str]) -> bool:
    return any(code.startswith("channel:") and answer for code, answer in answers.items())


def _column(column: SeenColumn, answers: Answers[str, str]) -> Column | None:
    """The column as it is used, or None where it is not."""
    channel = answers.get(f"channel:{column.index}", column.channel or "").strip()
    if not channel:
        return None
    unit = answers.get(f"unit:{column.index}", column.unit or "")
    if not unit and channel in CHANNELS[:3]:
        raise Unanswered((f"unit:{column.index}",))
    return Column(column.index, column.heading, channel, unit)


def _time_columns(times: tuple[TimeGuess, ...], answers: Answers[str, str]) -> TimeColumns:
    guess = _chosen(times, answers.get("time_column", "0"))
    order = "" if len(guess.formats) < 2 else answers.get("date_order", "")
    formats = guess.formats.get(order, ()) if guess.formats else ()
    if guess.formats and not formats:
        raise Unanswered(("date_order",))
    return TimeColumns(
        kind=guess.kind,
        columns=guess.columns,
        formats=formats,
        unit=guess.unit or answers.get("elapsed_unit", "") if guess.kind != "stamp" else "",
        zone="" if guess.has_zone else answers.get("zone", ""),
        start=_moment(answers["start"]) if guess.kind == "elapsed" else None,
    )


def _chosen(times: tuple[TimeGuess, ...], number: str) -> TimeGuess:
    if number not in {str(n) for n in range(len(times))}:
        raise MappingError("There is no such column of times.")
    return times[int(number)]


def _moment(text: str) -> int:
    """A time with its offset as ms since 1970."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        raise MappingError("The start must be a time with its offset from UTC.") from error
    if moment.utcoffset() is None:
        raise MappingError("The start needs its offset from UTC.")
    return (moment - _EPOCH) // timedelta(milliseconds=1)
