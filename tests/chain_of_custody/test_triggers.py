"""A trigger that is gone is seen; `install` brings it back."""

import pytest
from django.core.checks import run_checks
from django.core.exceptions import ImproperlyConfigured
from django.core.management.sql import emit_post_migrate_signal, emit_pre_migrate_signal
from django.db import connection, models

from cases.models import Case, IdDisc
from chain_of_custody import triggers
from chain_of_custody.checks import check_triggers
from chain_of_custody.triggers import Trigger
from tests import raw

pytestmark = pytest.mark.django_db
on_postgresql = pytest.mark.skipif(
    connection.vendor != "postgresql", reason="only PostgreSQL keeps triggers in such parts"
)


def ours(label: str) -> Trigger:
    """Return the trigger of this label."""
    return triggers.REGISTERED[label]


def ids() -> list[str]:
    """Return the ids of the errors that the system check reports."""
    return [str(message.id) for message in check_triggers(None, databases=["default"])]


def test_every_trigger_is_installed_by_the_migrations() -> None:
    assert triggers.missing() == []
    assert ids() == []
    assert len(triggers.wanted()) == len(triggers.present())


def test_the_check_is_registered() -> None:
    raw.drop_trigger(ours("stage_by_table"))
    found = [m.id for m in run_checks(databases=["default"])]
    assert "chain_of_custody.W001" in found


@pytest.mark.parametrize("label", sorted(triggers.REGISTERED))
def test_each_missing_trigger_is_seen_and_brought_back(label: str) -> None:
    if ours(label).name not in triggers.wanted():
        assert ours(label).event == "TRUNCATE"  # SQLite has no such statement
        return
    raw.drop_trigger(ours(label))
    assert triggers.missing() == [label]
    assert ids() == ["chain_of_custody.W001"]
    triggers.install()
    assert triggers.missing() == []
    assert ids() == []


@pytest.fixture
def open_connection(monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep the test's transaction: the start-up check closes its connection."""
    monkeypatch.setattr(connection, "close", lambda: None)


def test_the_site_does_not_start_without_one(open_connection: None) -> None:
    triggers.require_installed()
    raw.drop_trigger(ours("entry_no_hold"))
    with pytest.raises(ImproperlyConfigured, match="entry_no_hold"):
        triggers.require_installed()
    triggers.install()
    triggers.require_installed()


def test_an_outdated_trigger_counts_as_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    old = ours("case_begins")
    new = Trigger(old.label, old.table, old.event, "NEW.stage = 'lost'", old.message)
    monkeypatch.setitem(triggers.REGISTERED, old.label, new)
    assert triggers.missing() == ["case_begins"]
    triggers.install()
    assert triggers.missing() == []
    assert old.name not in triggers.present()
    assert new.name in triggers.present()


@on_postgresql
def test_a_switched_off_trigger_counts_as_missing() -> None:
    """PostgreSQL can switch a trigger off and keep it in the catalogue."""
    trigger = ours("case_begins")
    raw.run(f'ALTER TABLE "{trigger.table}" DISABLE TRIGGER "{trigger.name}"')
    assert triggers.missing() == ["case_begins"]
    triggers.install()
    assert triggers.missing() == []


def weaken(trigger: Trigger, condition: str) -> None:
    """Give a trigger of the database another body under its own name."""
    weak = Trigger(trigger.label, trigger.table, trigger.event, condition, trigger.message)
    function, *_ = triggers.VENDORS[connection.vendor](weak)
    if connection.vendor == "sqlite":
        raw.drop_trigger(trigger)
    raw.run(function.replace(weak.name, trigger.name))


@pytest.mark.parametrize("label", ["case_begins", "stage_by_entry", "cases_release_update"])
def test_a_weakened_body_counts_as_missing(label: str) -> None:
    """The name alone proves nothing: its text must be what was registered."""
    trigger = ours(label)
    weaken(trigger, f"({trigger.condition}) AND 1=0")
    assert trigger.name in triggers.present()
    assert triggers.missing() == [label]
    assert ids() == ["chain_of_custody.W001"]
    triggers.install()
    assert triggers.missing() == []


def test_a_replaced_body_refuses_again(case: Case) -> None:
    weaken(ours("case_identity"), "1=0")
    raw.run("UPDATE cases_case SET number = 'QV24-00002-X'")
    triggers.install()
    with raw.refuses("keeps its number"):
        raw.run("UPDATE cases_case SET number = 'QV24-00003-X'")


@pytest.mark.parametrize(
    "change",
    [
        'CREATE TRIGGER "{0}" BEFORE UPDATE ON cases_case FOR EACH ROW WHEN (1=0) '
        'EXECUTE FUNCTION "{0}"()',
        'CREATE TRIGGER "{0}" BEFORE UPDATE OF number ON cases_case FOR EACH ROW '
        'EXECUTE FUNCTION "{0}"()',
        'CREATE TRIGGER "{0}" AFTER UPDATE ON cases_case FOR EACH ROW EXECUTE FUNCTION "{0}"()',
    ],
)
@on_postgresql
def test_a_narrowed_trigger_counts_as_missing(change: str) -> None:
    """PostgreSQL keeps condition, columns and moment outside the function."""
    trigger = ours("stage_by_table")
    raw.drop_trigger(trigger)
    raw.run(change.format(trigger.name))
    assert triggers.missing() == ["stage_by_table"]
    triggers.install()
    assert triggers.missing() == []


@on_postgresql
def test_a_trigger_for_replicas_only_counts_as_missing() -> None:
    trigger = ours("case_begins")
    raw.run(f'ALTER TABLE "{trigger.table}" ENABLE REPLICA TRIGGER "{trigger.name}"')
    assert triggers.missing() == ["case_begins"]


@on_postgresql
def test_a_function_with_settings_of_its_own_counts_as_missing() -> None:
    """Another search path would let the body read other tables under the same names."""
    trigger = ours("stage_by_entry")
    raw.run(f'ALTER FUNCTION "{trigger.name}"() SET search_path = pg_temp, public')
    assert triggers.missing() == ["stage_by_entry"]
    triggers.install()
    assert triggers.missing() == []


@on_postgresql
def test_the_same_name_on_a_second_table_hides_nothing() -> None:
    """PostgreSQL allows it; the right trigger still counts, and the other one is removed."""
    name = ours("case_begins").name
    raw.run(
        f'CREATE TRIGGER "{name}" BEFORE DELETE ON cases_hold FOR EACH ROW '
        f'EXECUTE FUNCTION "{name}"()'
    )
    assert triggers.missing() == []
    triggers.install()
    assert len(triggers.standing()) == len(triggers.wanted())


@on_postgresql
def test_functions_of_earlier_triggers_go() -> None:
    raw.run(
        "CREATE FUNCTION refuse_earlier_0a1b2c3d() RETURNS trigger LANGUAGE plpgsql "
        "AS $$ BEGIN RETURN NEW; END $$"
    )
    triggers.install()
    with connection.cursor() as cursor:
        cursor.execute(triggers.UNUSED_FUNCTIONS, None)
        assert cursor.fetchall() == []
    assert triggers.missing() == []


def test_a_trigger_on_another_table_counts_as_missing() -> None:
    """The same name elsewhere guards nothing."""
    trigger = ours("cases_hold_delete")
    raw.drop_trigger(trigger)
    elsewhere = Trigger(trigger.label, "cases_case", "DELETE", "1=0", trigger.message)
    statement = next(s for s in triggers.VENDORS[connection.vendor](elsewhere) if "TRIGGER" in s)
    if connection.vendor == "postgresql":
        statement = (
            f'CREATE TRIGGER "{trigger.name}" BEFORE DELETE ON "cases_case" '
            f'FOR EACH ROW EXECUTE FUNCTION "{trigger.name}"()'
        )
    raw.run(statement.replace(elsewhere.name, trigger.name))
    assert triggers.missing() == ["cases_hold_delete"]


def test_two_triggers_may_not_share_a_label() -> None:
    first = ours("case_begins")
    triggers.register(first)
    with pytest.raises(ValueError, match="Two triggers are called case_begins"):
        triggers.register(Trigger("case_begins", first.table, "INSERT", "1=0", "no"))


def alter(old: "models.Field[str, str]", new: "models.Field[str, str]") -> None:
    """Alter the disc's number as a migration would."""
    with connection.schema_editor() as editor:
        editor.alter_field(IdDisc, old, new)


@pytest.fixture
def longer() -> "models.Field[str, str]":
    field: models.CharField[str, str] = models.CharField(max_length=30)
    field.set_attributes_from_name("number")
    field.model = IdDisc
    return field


@pytest.mark.django_db(transaction=True)
def test_a_rebuilt_table_gets_its_triggers_back(longer: "models.Field[str, str]") -> None:
    """SQLite rebuilds a table to alter a field, and drops its triggers without a word."""
    shorter = IdDisc._meta.get_field("number")
    for old, new in ((shorter, longer), (longer, shorter)):
        emit_pre_migrate_signal(0, False, "default")
        alter(old, new)
        emit_post_migrate_signal(0, False, "default")
        assert triggers.missing() == []


@pytest.mark.django_db(transaction=True)
def test_sqlite_needs_the_triggers_out_of_the_way(longer: "models.Field[str, str]") -> None:
    """The control: with triggers in place that name the table, SQLite cannot rebuild it."""
    if connection.vendor == "sqlite":
        with raw.refuses("no such table"):
            alter(IdDisc._meta.get_field("number"), longer)
    triggers.make_way()
    assert bool(triggers.present()) is (connection.vendor == "postgresql")
    triggers.install()
    assert triggers.missing() == []
