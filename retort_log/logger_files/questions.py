"""What only a person can say about a logger's file. Pure."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from retort_log.logger_files.channels import (
    CHANNELS,
    TEMPERATURE_UNITS,
    TEMPERATURES,
    channel_of,
    heading_unit,
    is_numbered,
    unit_of,
)
from retort_log.logger_files.shape import Shape
from retort_log.logger_files.time_guess import TimeGuess, example_of

# With more unknown columns than this, one question stands for all of them.
MANY_COLUMNS = 12
_USUAL_UNITS: Mapping[str, str] = {"oxygen": "%", "opacity": "%", "co": "ppm", "burner_kw": "kW"}
_ORDER_WORDS = {
    "mdy": "month first, then day",
    "dmy": "day first, then month",
    "ymd": "year first, then month and day",
}
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Question:
    """A question, its answers as (value, words), and what is likely.

    `code` is "time_column", "date_order", "zone", "start", "elapsed_unit", "decimal", "columns",
    or "channel:3" and "unit:3" for the column at place 3, counted from 0. Without `choices` the
    answer is free: a zone's name, a time with its offset (ISO 8601), a channel's name. Answers
    to "channel:3" may be free beside the choices, and empty for a column that is not wanted.
    """

    code: str
    text: str
    choices: tuple[tuple[str, str], ...] = ()
    suggested: str | None = None


@dataclass(frozen=True)
class SeenColumn:
    """A column beside the time, as far as its headings tell: None is not known."""

    index: int
    heading: str
    channel: str | None
    unit: str | None
    is_numbered: bool


def seen_columns(shape: Shape, time: TimeGuess) -> tuple[SeenColumn, ...]:
    """All columns but the time's. No channel is given to two of them."""
    found: list[SeenColumn] = []
    for index in range(shape.width):
        if index in time.columns:
            continue
        heading = shape.heading(index)
        below = shape.units[index] if index < len(shape.units) else ""
        unit = unit_of(below) or heading_unit(heading) or below.strip() or None
        channel = channel_of(heading, unit)
        if channel in {column.channel for column in found}:
            channel = None
        numbered = is_numbered(heading) or not heading
        unit = unit or _USUAL_UNITS.get(channel or "")
        found.append(SeenColumn(index, heading, channel, unit, numbered))
    return tuple(found)


def time_questions(guesses: list[TimeGuess], shape: Shape, zone: str) -> list[Question]:
    """What is open about the time."""
    guess = guesses[0]
    asked = []
    if len(guesses) > 1:
        choices = tuple((str(n), _names(shape, one)) for n, one in enumerate(guesses))
        asked.append(
            Question("time_column", "Which column is the time of a reading?", choices, "0")
        )
    if len(guess.formats) > 1:
        asked.append(_date_order(guess))
    if not guess.has_zone:
        asked.append(_zone(zone))
    if guess.kind == "elapsed":
        asked.append(_start(guess))
        if not guess.unit and not guess.formats:
            choices = (("s", "seconds"), ("min", "minutes"), ("h", "hours"), ("ms", "milliseconds"))
            asked.append(Question("elapsed_unit", "In what is the time counted?", choices, "s"))
    return asked


def _names(shape: Shape, guess: TimeGuess) -> str:
    return " and ".join(shape.heading(n) or f"column {n + 1}" for n in guess.columns)


def _date_order(guess: TimeGuess) -> Question:
    shown = guess.example[0]
    choices = []
    for order in guess.formats:
        ms = example_of(guess, order)
        date = "" if ms is None else f": {_EPOCH + timedelta(milliseconds=ms):%B %-d, %Y}"
        choices.append((order, f"{_ORDER_WORDS[order]}{date}"))
    return Question("date_order", f"What day is “{shown}”?", tuple(choices))


def _zone(zone: str) -> Question:
    choices = ((zone, f"the time here ({zone})"),) if zone else ()
    return Question(
        "zone",
        "By which time zone does the logger's clock run? If it is never put forward in spring, "
        "choose UTC or a zone without summer time.",
        (*choices, ("UTC", "UTC")),
        zone or None,
    )


def _start(guess: TimeGuess) -> Question:
    if guess.formats:
        text = f"The times, as “{guess.example[0]}”, have no date. From when do they count?"
    else:
        text = "The times count from the start of the log. When did it start?"
    return Question("start", text)


def column_questions(columns: tuple[SeenColumn, ...]) -> list[Question]:
    """What is open about the columns: numbered ones, temperatures without name or unit."""
    unknown = [column for column in columns if _is_wanted(column)]
    asked = []
    if len(unknown) > MANY_COLUMNS:
        text = f"{len(unknown)} columns could be readings. Say which of them to take."
        asked.append(Question("columns", text))
    else:
        asked += [_channel(column) for column in unknown]
    for column in columns:
        temperature = column.channel in TEMPERATURES or (column in unknown and column.is_numbered)
        few = column not in unknown or len(unknown) <= MANY_COLUMNS
        if temperature and column.unit is None and few:
            asked.append(_unit(column))
    return asked


def _is_wanted(column: SeenColumn) -> bool:
    return column.channel is None and (column.is_numbered or column.unit in TEMPERATURE_UNITS)


def _shown(column: SeenColumn) -> str:
    return f"“{column.heading}”" if column.heading else f"column {column.index + 1}"


def _channel(column: SeenColumn) -> Question:
    choices = (*((name, name.replace("_", " ")) for name in CHANNELS), ("", "do not take it"))
    return Question(f"channel:{column.index}", f"What does {_shown(column)} measure?", choices)


def _unit(column: SeenColumn) -> Question:
    choices = (("degF", "°F"), ("degC", "°C"))
    return Question(f"unit:{column.index}", f"In which unit is {_shown(column)}?", choices)
