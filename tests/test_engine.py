"""The tests run on the engine that their settings name."""

import pytest
from django.conf import settings
from django.db import connection


@pytest.mark.django_db
def test_the_engine_is_the_one_meant() -> None:
    assert connection.vendor == settings.EXPECTED_VENDOR
    with connection.cursor() as cursor:
        cursor.execute("SELECT sqlite_version()" if connection.vendor == "sqlite" else "SELECT 1")


@pytest.mark.django_db
def test_sqlite_keeps_what_is_committed(request: pytest.FixtureRequest) -> None:
    """The pragmas that a committed step and the append-only triggers depend on."""
    if connection.vendor != "sqlite":
        return
    with connection.cursor() as cursor:
        found = {}
        for pragma in ("journal_mode", "synchronous", "foreign_keys", "recursive_triggers"):
            cursor.execute(f"PRAGMA {pragma}")
            found[pragma] = cursor.fetchone()[0]
    assert found == {
        "journal_mode": "wal",
        "synchronous": 2,
        "foreign_keys": 1,
        "recursive_triggers": 1,
    }
