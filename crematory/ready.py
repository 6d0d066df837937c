"""Queries whose SQL is written once a process, not once a request.

To write the SQL of a query takes longer than to answer it, where the answer is a few rows. What is
kept is the text alone: the rows are read anew each time.
"""

import copy
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime
from typing import Any, Generic, TypeVar

from django.db import DEFAULT_DB_ALIAS, connections
from django.db.models import Model, QuerySet

M = TypeVar("M", bound=Model)
Value = int | str | datetime


class Ready(Generic[M]):
    """A query with places for values: `Ready(lambda pk: Hold.objects.filter(case=pk))`.

    Values are numbers, texts and aware times, never None; each stands in the query as a
    parameter. What else the query depends on must be the same for the whole process. As many
    values may be given as `build` takes: `Ready(lambda *pks: Hold.objects.filter(pk__in=pks))`.
    What would be prefetched is not.
    """

    def __init__(self, build: Callable[..., QuerySet[M]]) -> None:
        self._build = build
        # By vendor and number of values: query, compiler, SQL, parameters with places for values.
        self._written: dict[tuple[str, int], tuple[Any, Any, str, tuple[Any, ...]]] = {}

    def __call__(self, *values: Value) -> QuerySet[M]:
        """Return the rows for these values, not yet read."""
        connection: Any = connections[DEFAULT_DB_ALIAS]
        key = (connection.vendor, len(values))
        kept = self._written.get(key)
        if kept is None:
            kept = self._written[key] = self._write(connection, values)
        plain, written, sql, parameters = kept
        stated = [_prepared(value, connection) for value in values]
        filled = tuple(stated[p.index] if isinstance(p, _Place) else p for p in parameters)
        compiler = copy.copy(written)
        compiler.connection = connection  # each thread has its own
        compiler.as_sql = lambda *_args, **_options: (sql, filled)
        query: Any = copy.copy(plain.query)
        query.get_compiler = lambda *_args, **_options: compiler
        # Whatever is asked beyond these rows, a filter or their number, begins with a clone: it
        # is asked of the plain query.
        query.clone = lambda: self._build(*values).query.clone()
        rows: QuerySet[M] = type(plain)(model=plain.model, query=query, using=DEFAULT_DB_ALIAS)
        rows._iterable_class, rows._fields = plain._iterable_class, plain._fields  # type: ignore[attr-defined]
        return rows

    def _write(
        self, connection: Any, values: tuple[Value, ...]
    ) -> tuple[Any, Any, str, tuple[Any, ...]]:
        marks = [_mark(value, index) for index, value in enumerate(values)]
        places = {_prepared(mark, connection): _Place(i) for i, mark in enumerate(marks)}
        plain: Any = self._build(*marks)
        compiler = plain.query.get_compiler(DEFAULT_DB_ALIAS)
        sql, parameters = compiler.as_sql()
        found = tuple(places.get(parameter, parameter) for parameter in parameters)
        if {p.index for p in found if isinstance(p, _Place)} != set(range(len(values))):
            raise ValueError("A value of a ready query does not stand in it as a parameter.")
        converters = compiler.get_converters([column[0] for column in compiler.select])
        compiler.get_converters = lambda _expressions: converters
        return plain, compiler, sql, found


class _Place:
    """Where a value goes among the parameters."""

    def __init__(self, index: int) -> None:
        self.index = index


def _mark(value: Value, index: int) -> Value:
    """Return a value of the same kind that no query states by itself and every column can hold."""
    if isinstance(value, datetime):
        return datetime(1, 2, 3, 4, 5, 6 + index, tzinfo=UTC)
    return f"\ufdd0{index}" if isinstance(value, str) else 2_147_483_001 - index


def _prepared(value: Value, connection: Any) -> Any:
    """Return the value as the database gets it."""
    return connection.ops.adapt_datetimefield_value(value) if isinstance(value, datetime) else value


def first(rows: QuerySet[M]) -> M | None:
    """Return the first of the rows, or None."""
    return next(iter(rows), None)


def attach(instance: Model, rows: dict[str, QuerySet[Any]]) -> None:
    """Let `instance.<name>.all()` answer with these rows, as a prefetch would; read when asked."""
    kept = instance.__dict__.setdefault("_prefetched_objects_cache", {})
    for name, found in rows.items():
        relation = instance._meta.get_field(name)
        known = {relation.remote_field: {instance.pk: instance}}
        found._known_related_objects = known  # type: ignore[attr-defined]
        kept[name] = found


def share_out(
    instances: Sequence[Model], name: str, ready: Ready[Any], rows: Iterable[Any]
) -> None:
    """Let each instance's `<name>.all()` answer with its own of these rows, all read before.

    `ready` is the query of the rows of one instance; what a further filter asks is asked of it.
    """
    if not instances:
        return
    owner: Any = instances[0]._meta.get_field(name)
    key = owner.remote_field.attname
    own: dict[Any, list[Any]] = {instance.pk: [] for instance in instances}
    for row in rows:
        own[getattr(row, key)].append(row)
    for instance in instances:
        found: Any = ready(instance.pk)
        found._result_cache, found._prefetch_done = own[instance.pk], True
        attach(instance, {name: found})
