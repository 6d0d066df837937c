"""Triggers: the database refuses what the code forgets, on SQLite and PostgreSQL alike.

Each floor registers its triggers; all are installed again after every migration, because SQLite
drops a table's triggers when it rebuilds the table. `missing` asks the catalogue, and the site
does not start while one is missing.
"""

import hashlib
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


def _sqlite(trigger: Trigger) -> Iterator[str]:
    if trigger.event == "TRUNCATE":  # SQLite has no such statement
        return
    yield (
        f'CREATE TRIGGER "{trigger.name}" BEFORE {trigger.event} ON "{trigger.table}" '
        f"FOR EACH ROW WHEN ({trigger.condition}) "
        f"BEGIN SELECT RAISE(ABORT, '{trigger.message}'); END"
    )


def _postgresql(trigger: Trigger) -> Iterator[str]:
    row = "OLD" if trigger.event == "DELETE" else "NEW"
    scope, answer = ("STATEMENT", "NULL") if trigger.event == "TRUNCATE" else ("ROW", row)
    yield (
        f'CREATE OR REPLACE FUNCTION "{trigger.name}"() RETURNS trigger LANGUAGE plpgsql AS $$ '
        f"BEGIN IF ({trigger.condition}) THEN RAISE EXCEPTION '{trigger.message}' "
        f"USING ERRCODE = 'integrity_constraint_violation'; END IF; RETURN {answer}; END $$"
    )
    yield (
        f'CREATE TRIGGER "{trigger.name}" BEFORE {trigger.event} ON "{trigger.table}" '
        f'FOR EACH {scope} EXECUTE FUNCTION "{trigger.name}"()'
    )


VENDORS = {"sqlite": _sqlite, "postgresql": _postgresql}
CATALOGUE = {
    "sqlite": "SELECT name, tbl_name FROM sqlite_master WHERE type = 'trigger'",
    "postgresql": (
        "SELECT t.tgname, c.relname FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid "
        "WHERE NOT t.tgisinternal AND t.tgenabled <> 'D' "
        "AND pg_table_is_visible(c.oid)"
    ),
}


def present(using: str = "default") -> dict[str, str]:
    """Return the names of the refusing triggers in the database, with their tables."""
    vendor = connections[using].vendor
    with connections[using].cursor() as cursor:
        cursor.execute(CATALOGUE[vendor], None)
        return {name: table for name, table in cursor.fetchall() if name.startswith("refuse_")}


def wanted(using: str = "default") -> dict[str, Trigger]:
    """Return the triggers that this database must have, by name."""
    vendor = connections[using].vendor
    return {t.name: t for t in REGISTERED.values() if any(VENDORS[vendor](t))}


def missing(using: str = "default") -> list[str]:
    """Return the labels of triggers that the database lacks."""
    there = present(using)
    return sorted(
        trigger.label for name, trigger in wanted(using).items() if there.get(name) != trigger.table
    )


def install(using: str = "default", **kwargs: Any) -> None:
    """Bring the database's triggers to what is registered. Safe to run again."""
    conn = connections[using]
    want = wanted(using)
    for name, table in present(using).items():
        if name not in want or want[name].table != table:
            _drop(using, name, table)
    there = present(using)
    with conn.cursor() as cursor:
        for name, trigger in want.items():
            if name not in there:
                for statement in VENDORS[conn.vendor](trigger):
                    cursor.execute(statement, None)


def make_way(using: str = "default", **kwargs: Any) -> None:
    """Remove the triggers before a migration, on SQLite; `install` follows the migration.

    SQLite cannot rebuild a table that a trigger of another table names.
    """
    if connections[using].vendor == "sqlite":
        for name, table in present(using).items():
            _drop(using, name, table)


def _drop(using: str, name: str, table: str) -> None:
    on = f' ON "{table}"' if connections[using].vendor == "postgresql" else ""
    with connections[using].cursor() as cursor:
        cursor.execute(f'DROP TRIGGER "{name}"{on}', None)


def require_installed() -> None:
    """Refuse to start while a trigger is missing. Raises ImproperlyConfigured."""
    if absent := missing():
        raise ImproperlyConfigured(
            f"The database lacks the triggers {', '.join(absent)}. Run `manage.py migrate`. "
            "If they were there before, somebody removed them: run `manage.py verify_trail`."
        )
    connection.close()
