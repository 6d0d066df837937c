"""A picture of every row of the site, to show that a refusal changed none of them."""

from typing import Any

from django.apps import apps
from django.db import connection

from chain_of_custody.models import CustodyEntry, Log
from crematory.models import StaffMember

APPS = ("crematory", "chain_of_custody", "retort_log", "cases")
COUNTERS = {"pin_failures", "pin_locked_until"}
Picture = dict[str, list[tuple[Any, ...]]]


def picture() -> Picture:
    """Return every row of the site's own tables, but for the counters of wrong PINs."""
    shown: Picture = {}
    for app in APPS:
        for model in apps.get_app_config(app).get_models():
            columns = [f.column for f in model._meta.fields if not _is_counter(model, f.column)]
            quoted = ", ".join(f'"{column}"' for column in columns)
            with connection.cursor() as cursor:
                cursor.execute(f'SELECT {quoted} FROM "{model._meta.db_table}" ORDER BY 1')
                shown[model._meta.db_table] = [tuple(row) for row in cursor.fetchall()]
    return shown


def _is_counter(model: type, column: str | None) -> bool:
    return model is StaffMember and column in COUNTERS


def without_refusal(after: Picture) -> Picture:
    """Return the picture as it was before its newest entry, which must be a refusal."""
    entry = CustodyEntry.objects.order_by("-pk")[0]
    assert entry.outcome == "refused", f"the newest entry is {entry}, {entry.outcome}"
    assert (entry.stage_from, entry.stage_to) == ("", "")
    table, log = CustodyEntry._meta.db_table, Log._meta.db_table
    rest = {name: rows for name, rows in after.items() if name != log}
    return {**rest, table: [row for row in after[table] if row[0] != entry.pk]}


def unchanged_but_for_refusal(before: Picture, after: Picture) -> None:
    """Assert that one refused entry, and the head of the log, are all that differs."""
    log = Log._meta.db_table
    expected = {name: rows for name, rows in before.items() if name != log}
    assert without_refusal(after) == expected
