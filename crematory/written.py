"""Queries that stand written out, for the pages asked for most: rows of several models at once.

The framework writes the SQL of a query anew for each request, which takes far longer than to
answer it where the answer is a few rows. What stands here is only sent. Nothing is kept but the
text and the names of the columns; the rows are read anew each time.
"""

from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime
from decimal import Decimal
from functools import cached_property, partial
from typing import Any

from django.apps import apps
from django.db import connection
from django.db.models import BooleanField, DateField, DateTimeField, DecimalField, Model
from django.db.models.base import ModelState

Reader = Callable[[Any], Any]


class Part:
    """The columns of one model in a written query; all of them, or those that are named.

    The model is named by its label, such as "cases.Case": a relation upwards is a string.
    """

    def __init__(self, label: str, *names: str) -> None:
        self._label, self._names = label, names

    @cached_property
    def model(self) -> type[Model]:
        """The model, once all are loaded."""
        return apps.get_model(self._label)

    @cached_property
    def fields(self) -> list[Any]:
        """The columns, the key among them, in the order of the model, which `from_db` asks for."""
        columns = self.model._meta.concrete_fields
        return [f for f in columns if not self._names or f.primary_key or f.name in self._names]

    @cached_property
    def names(self) -> frozenset[str]:
        """The attributes that the columns fill."""
        return frozenset(field.attname for field in self.fields)

    @cached_property
    def attributes(self) -> list[str]:
        """The same, in the order of the columns."""
        return [field.attname for field in self.fields]

    @cached_property
    def readers(self) -> list[tuple[str, Reader]]:
        """For the columns that not every database hands over as Python has them: how to read."""
        found = ((field.attname, reader(field)) for field in self.fields)
        return [(name, read) for name, read in found if read is not None]

    @cached_property
    def key(self) -> int:
        """Where among the columns the key stands."""
        return next(place for place, field in enumerate(self.fields) if field.primary_key)

    def columns(self, alias: str) -> str:
        """Return the columns as they stand behind SELECT."""
        return ", ".join(f"{alias}.{field.column}" for field in self.fields)

    def made(self, values: Sequence[Any], alias: str) -> Any:
        """Return the model with these values, or None where an outer join found none.

        `alias` is the database that they were read from.
        """
        if values[self.key] is None:
            return None
        stated = dict(zip(self.attributes, values, strict=True))
        for name, read in self.readers:
            if stated[name] is not None:
                stated[name] = read(stated[name])
        # As the model's `from_db` does, but for the signals and the defaults, of which there are
        # none here: its way through `__init__` takes longer than all the rest of a query.
        model = self.model
        found = model.__new__(model)
        stated["_state"] = state = ModelState()
        state.adding, state.db = False, alias
        found.__dict__ = stated
        return found


class Written:
    """A query of several models: `Written("SELECT {r}, {p} FROM …", r=Part(…), p=Part(…))`.

    Each part stands in the text under the alias of its table. Called with the parameters it
    returns a tuple a row: the parts in the order in which they are given, then what else the text
    selects behind them, which is numbers and texts.
    """

    def __init__(self, text: str, **parts: Part) -> None:
        self._text, self._parts = text, parts

    @cached_property
    def sql(self) -> str:
        """The text with the columns in their places."""
        columns = {alias: part.columns(alias) for alias, part in self._parts.items()}
        return self._text.format(**columns)

    def __call__(self, *parameters: Any) -> list[tuple[Any, ...]]:
        """Return the rows, all read. Times among the parameters are aware."""
        with connection.cursor() as cursor:
            cursor.execute(self.sql, [sent(value) for value in parameters])
            rows: list[tuple[Any, ...]] = cursor.fetchall()
        alias = connection.alias
        return [self._row(row, alias) for row in rows] if self._parts else rows

    def _row(self, row: Sequence[Any], alias: str) -> tuple[Any, ...]:
        found, at = [], 0
        for part in self._parts.values():
            end = at + len(part.names)
            found.append(part.made(row[at:end], alias))
            at = end
        return (*found, *row[at:])


def sent(value: Any) -> Any:
    """Return a parameter as the database compares it: SQLite keeps times in UTC without a zone."""
    if isinstance(value, datetime) and connection.vendor == "sqlite":
        return value.astimezone(UTC).replace(tzinfo=None)
    return value


def reader(field: Any) -> Reader | None:
    """Return how to read the values of a column, or None where they come as they are."""
    if own := getattr(field, "from_db_value", None):
        return lambda value: own(value, None, connection)
    if isinstance(field, DateTimeField):
        return moment
    if isinstance(field, DateField):
        return _day
    if isinstance(field, DecimalField):
        return partial(_decimal, Decimal(1).scaleb(-field.decimal_places))
    return bool if isinstance(field, BooleanField) else None


def moment(value: datetime | str) -> datetime:
    """Return a time of the database, aware and in UTC."""
    at = datetime.fromisoformat(value) if isinstance(value, str) else value
    return at.astimezone(UTC) if at.tzinfo else at.replace(tzinfo=UTC)


def _day(value: date | str) -> date:
    return date.fromisoformat(value) if isinstance(value, str) else value


def _decimal(step: Decimal, value: Any) -> Decimal:
    """SQLite keeps decimals as floating numbers: back to the places of the column."""
    return value if isinstance(value, Decimal) else Decimal(str(value)).quantize(step)
