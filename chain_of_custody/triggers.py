"""Triggers: the database refuses what the code forgets, on SQLite and PostgreSQL alike.

Each floor registers its triggers; all are installed again after every migration, because SQLite
drops a table's triggers when it rebuilds the table. `missing` reads each trigger's text in the
catalogue, and the site does not start while one is missing or says something else.
"""

import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ImproperlyConfigured
from django.db import connection, connections
from django.db.models import Model

from chain_of_custody.append_only import AppendOnlyModel


@dataclass(frozen=True)
class Trigger:
    """Refuses `event` on `table` while `condition` (SQL on NEW and OLD) holds.

    The name carries a digest of the text, so that an outdated trigger counts as missing.
    """

    label: str
    table: str
    event: str
    condition: str
    message: str

    @property
    def name(self) -> str:
        text = "|".join((self.table, self.event, self.condition, self.message))
        return f"refuse_{self.label}_{hashlib.sha256(text.encode()).hexdigest()[:8]}"


REGISTERED: dict[str, Trigger] = {}


def register(*triggers: Trigger) -> None:
    """Add triggers to those that must be installed."""
    for trigger in triggers:
        if REGISTERED.setdefault(trigger.label, trigger) != trigger:
            raise ValueError(f"Two triggers are called {trigger.label}.")


def never(model: type[Model], *events: str, message: str) -> Iterator[Trigger]:
    """Yield triggers that refuse these events on the model's table, always."""
    table = model._meta.db_table
    for event in events:
        label = f"{table}_{event.split()[0].lower()}"
        yield Trigger(label, table, event, "1=1", message)


def register_append_only(*models: type[AppendOnlyModel]) -> None:
    """Register what makes these tables append-only."""
    for model in models:
        message = f"{model._meta.verbose_name} rows are written once: append a correction"
        register(*never(model, "UPDATE", "DELETE", "TRUNCATE", message=message))


@dataclass(frozen=True)
class Standing:
    """A trigger as the catalogue tells it, or as it must be told.

    `text` is what the database would run: on SQLite the statement that made the trigger, on
    PostgreSQL the trigger's definition, whether it is on, and its function's language, settings
    and body.
    """

    name: str
    table: str
    text: str


# What the engines say differently: a text or column as a moment, a column as a day in ISO form.
DIALECT = {
    "sqlite": {"AS_MOMENT": r"julianday(\1)", "AS_DAY": r"\1"},
    "postgresql": {
        "AS_MOMENT": r"CAST(\1 AS timestamptz)",
        "AS_DAY": r"to_char(\1, 'YYYY-MM-DD')",
    },
}


def spoken(condition: str, vendor: str) -> str:
    """Return the condition with AS_MOMENT(x) and AS_DAY(x) in the words of the engine."""
    for word, said in DIALECT[vendor].items():
        condition = re.sub(rf"\b{word}\(([\w.]+)\)", said, condition)
    return condition


def _sqlite(trigger: Trigger) -> Iterator[str]:
    if trigger.event == "TRUNCATE":  # SQLite has no such statement
        return
    yield (
        f'CREATE TRIGGER "{trigger.name}" BEFORE {trigger.event} ON "{trigger.table}" '
        f"FOR EACH ROW WHEN ({spoken(trigger.condition, 'sqlite')}) "
        f"BEGIN SELECT RAISE(ABORT, '{trigger.message}'); END"
    )


def _scope(trigger: Trigger) -> str:
    return "STATEMENT" if trigger.event == "TRUNCATE" else "ROW"


def _body(trigger: Trigger) -> str:
    row = {"TRUNCATE": "NULL", "DELETE": "OLD"}.get(trigger.event, "NEW")
    return (
        f" BEGIN IF ({spoken(trigger.condition, 'postgresql')}) "
        f"THEN RAISE EXCEPTION '{trigger.message}' "
        f"USING ERRCODE = 'integrity_constraint_violation'; END IF; RETURN {row}; END "
    )


def _postgresql(trigger: Trigger) -> Iterator[str]:
    yield (
        f'CREATE OR REPLACE FUNCTION "{trigger.name}"() RETURNS trigger LANGUAGE plpgsql '
        f"AS $${_body(trigger)}$$"
    )
    yield (
        f'CREATE TRIGGER "{trigger.name}" BEFORE {trigger.event} ON "{trigger.table}" '
        f'FOR EACH {_scope(trigger)} EXECUTE FUNCTION "{trigger.name}"()'
    )


def _told_by_postgresql(trigger: Trigger) -> str:
    """Return what PostgreSQL's catalogue says of this trigger: it quotes no lower-case name."""
    return (
        f"CREATE TRIGGER {trigger.name} BEFORE {trigger.event} ON {trigger.table} "
        f"FOR EACH {_scope(trigger)} EXECUTE FUNCTION {trigger.name}()|on|plpgsql||{_body(trigger)}"
    )


VENDORS = {"sqlite": _sqlite, "postgresql": _postgresql}
CATALOGUE = {
    "sqlite": "SELECT name, tbl_name, sql FROM sqlite_master WHERE type = 'trigger'",
    # 'O' and 'A' are the triggers that fire in ordinary sessions.
    "postgresql": (
        "SELECT t.tgname, c.relname, pg_get_triggerdef(t.oid, true) || '|' "
        "|| CASE WHEN t.tgenabled IN ('O', 'A') THEN 'on' ELSE 'off' END || '|' || l.lanname "
        "|| '|' || COALESCE(array_to_string(p.proconfig, ','), '') || '|' || p.prosrc "
        "FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid "
        "JOIN pg_proc p ON p.oid = t.tgfoid JOIN pg_language l ON l.oid = p.prolang "
        "WHERE NOT t.tgisinternal AND pg_table_is_visible(c.oid)"
    ),
}


def standing(using: str = "default") -> set[Standing]:
    """Return the refusing triggers of the database, as its catalogue tells them."""
    with connections[using].cursor() as cursor:
        cursor.execute(CATALOGUE[connections[using].vendor], None)
        found = {Standing(*row) for row in cursor.fetchall()}
    return {one for one in found if one.name.startswith("refuse_")}


def present(using: str = "default") -> set[str]:
    """Return the names of the refusing triggers in the database, sound or not."""
    return {one.name for one in standing(using)}


def wanted(using: str = "default") -> dict[str, Trigger]:
    """Return the triggers that this database must have, by name."""
    vendor = connections[using].vendor
    return {t.name: t for t in REGISTERED.values() if any(VENDORS[vendor](t))}


def _as_told(trigger: Trigger, vendor: str) -> Standing:
    text = next(_sqlite(trigger)) if vendor == "sqlite" else _told_by_postgresql(trigger)
    return Standing(trigger.name, trigger.table, text)


def missing(using: str = "default") -> list[str]:
    """Return the labels of triggers that the database lacks, or whose text was changed."""
    there, vendor = standing(using), connections[using].vendor
    return sorted(
        trigger.label
        for trigger in wanted(using).values()
        if _as_told(trigger, vendor) not in there
    )


def install(using: str = "default", **kwargs: Any) -> None:
    """Bring the database's triggers to what is registered. Safe to run again."""
    conn = connections[using]
    there = standing(using)
    want = {_as_told(trigger, conn.vendor): trigger for trigger in wanted(using).values()}
    for one in there - want.keys():
        _drop(using, one)
    with conn.cursor() as cursor:
        for one in want.keys() - there:
            for statement in VENDORS[conn.vendor](want[one]):
                cursor.execute(statement, None)
    _drop_unused_functions(using)


def make_way(using: str = "default", **kwargs: Any) -> None:
    """Remove the triggers before a migration, on SQLite; `install` follows the migration.

    SQLite cannot rebuild a table that a trigger of another table names.
    """
    if connections[using].vendor == "sqlite":
        for one in standing(using):
            _drop(using, one)


def _drop(using: str, one: Standing) -> None:
    on = f' ON "{one.table}"' if connections[using].vendor == "postgresql" else ""
    with connections[using].cursor() as cursor:
        cursor.execute(f'DROP TRIGGER "{one.name}"{on}', None)


UNUSED_FUNCTIONS = (
    "SELECT p.proname FROM pg_proc p WHERE p.proname LIKE 'refuse\\_%' "
    "AND pg_function_is_visible(p.oid) "
    "AND NOT EXISTS (SELECT 1 FROM pg_trigger t WHERE t.tgfoid = p.oid)"
)


def _drop_unused_functions(using: str) -> None:
    """Remove what triggers of earlier versions ran; SQLite keeps a trigger's text in itself."""
    if connections[using].vendor != "postgresql":
        return
    with connections[using].cursor() as cursor:
        cursor.execute(UNUSED_FUNCTIONS, None)
        for (name,) in cursor.fetchall():
            cursor.execute(f'DROP FUNCTION "{name}"()', None)


def require_installed() -> None:
    """Refuse to start while a trigger is missing. Raises ImproperlyConfigured."""
    if absent := missing():
        raise ImproperlyConfigured(
            f"The database lacks the triggers {', '.join(absent)}. Run `manage.py migrate`. "
            "If they were there before, somebody removed or changed them: run "
            "`manage.py verify_trail`."
        )
    connection.close()
