"""Raw SQL past the models, as somebody with a database shell would write it."""

from contextlib import AbstractContextManager
from datetime import datetime
from typing import Any

import pytest
from django.db import DatabaseError, IntegrityError, connection, transaction

from cases.models import Case
from cases.steps import STEPS
from chain_of_custody import triggers
from chain_of_custody.models import CustodyEntry
from chain_of_custody.triggers import Trigger
from tests import cast


def run(sql: str, *values: Any) -> None:
    """Run one statement in a savepoint of its own."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql, values or None)


def past_triggers(sql: str, *values: Any) -> None:
    """Run SQL past the triggers, as no code of the site can, to build a lack."""
    plain = [_plain(value) for value in values] or None
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SET LOCAL session_replication_role = replica")
            cursor.execute(sql, plain)
            cursor.execute("SET LOCAL session_replication_role = origin")
            return
        for name in triggers.present():
            cursor.execute(f'DROP TRIGGER "{name}"')
        cursor.execute(sql, plain)
    triggers.install()


def refuses(text: str) -> AbstractContextManager[Any]:
    """Assert that the database refuses, with this text in the message."""
    return pytest.raises((IntegrityError, DatabaseError), match=text)


def drop_trigger(trigger: Trigger) -> None:
    """Remove a trigger, as the owner of the database can."""
    table = f' ON "{trigger.table}"' if connection.vendor == "postgresql" else ""
    run(f'DROP TRIGGER "{trigger.name}"{table}')


def insert(table: str, **columns: Any) -> None:
    """Insert one row."""
    names = ", ".join(f'"{name}"' for name in columns)
    run(
        f'INSERT INTO "{table}" ({names}) VALUES ({", ".join(["%s"] * len(columns))})',
        *(_plain(value) for value in columns.values()),
    )


def _plain(value: Any) -> Any:
    """Adapt a time as the models would: SQLite keeps UTC without its zone."""
    if isinstance(value, datetime):
        return connection.ops.adapt_datetimefield_value(value)
    return value


def entry_columns(case: Case, act: str, stage_from: str, stage_to: str) -> dict[str, Any]:
    """Return the columns of an entry that lacks nothing but, perhaps, the right."""
    facility = case.facility
    witnessed = act in STEPS and STEPS[act].witnessed
    return {
        "facility_id": facility.pk,
        "sequence": CustodyEntry.objects.filter(facility=facility).count(),
        "case_id": case.pk,
        "act": act,
        "outcome": "done",
        "stage_from": stage_from,
        "stage_to": stage_to,
        "happened_at": cast.START,
        "recorded_at": cast.START,
        "signed_by_id": cast.member(facility, cast.CLERK).pk,
        "witness_id": cast.member(facility, cast.OPERATOR).pk if witnessed else None,
        "token": cast.token(),
        "payload": "{}",
        "leaf_hash": "0" * 64,
    }


def insert_entry(case: Case, act: str, stage_from: str, stage_to: str, **changes: Any) -> None:
    """Insert an entry of the trail past `trail.append`."""
    columns = {**entry_columns(case, act, stage_from, stage_to), **changes}
    insert(CustodyEntry._meta.db_table, **columns)


def set_stage(case: Case, stage: str, entry: int | None) -> None:
    """Write a stage and the entry that it names."""
    run(
        "UPDATE cases_case SET stage = %s, stage_entry_id = %s WHERE id = %s", stage, entry, case.pk
    )
