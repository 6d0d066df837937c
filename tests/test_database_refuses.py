"""The database itself refuses what the code forgets: raw SQL, on both engines."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection

from cases import hold_acts
from cases.corrections import correct
from cases.models import Case, Delivery, Hold
from chain_of_custody import triggers
from chain_of_custody.models import CustodyEntry, Placement, open_placement
from crematory import clock
from crematory.models import Facility
from retort_log.models import Run
from tests import cast, raw

LATER = cast.START + timedelta(days=90)


@pytest.fixture
def released(case: Case) -> Case:
    return cast.bring(case, "released")


def copy(table: str, **changes: Any) -> None:
    """Insert the newest row of a table again, with changes, past every model."""
    with connection.cursor() as cursor:
        cursor.execute(f'SELECT * FROM "{table}" ORDER BY id DESC LIMIT 1')
        names = [column[0] for column in cursor.description]
        row = dict(zip(names, cursor.fetchone(), strict=True))
    del row["id"]
    raw.insert(table, **{**row, **changes})


# The stage


STAGE_REFUSED = "does not follow the stage before|only with its custody entry|is not recorded"


def test_a_stage_is_not_skipped(case: Case) -> None:
    cast.bring(case, "in_care")
    for stage in ("cleared", "tagged", "in_retort", "released"):
        with raw.refuses(STAGE_REFUSED):
            raw.set_stage(case, stage, case.stage_entry_id)


def test_a_stage_does_not_go_back(case: Case) -> None:
    cast.bring(case, "cleared")
    for stage in ("expected", "in_care", "authorized", "lost"):
        with raw.refuses(STAGE_REFUSED):
            raw.set_stage(case, stage, case.stage_entry_id)


def keep_only(label: str) -> None:
    """Drop every trigger of the case table but one, until the test's transaction ends."""
    for trigger in triggers.wanted().values():
        if trigger.table == "cases_case" and trigger.label != label:
            raw.drop_trigger(trigger)


def test_the_table_of_steps_alone_holds(case: Case) -> None:
    cast.bring(case, "in_care")
    keep_only("stage_by_table")
    with raw.refuses("does not follow the stage before"):
        raw.set_stage(case, "tagged", case.stage_entry_id)
    raw.set_stage(case, "authorized", case.stage_entry_id)


def test_the_entry_alone_holds(case: Case) -> None:
    cast.bring(case, "in_care")
    keep_only("stage_by_entry")
    with raw.refuses("only with its custody entry"):
        raw.set_stage(case, "tagged", case.stage_entry_id)


def test_a_stage_does_not_move_without_an_entry(case: Case) -> None:
    cast.bring(case, "in_care")
    with raw.refuses("only with its custody entry"):
        raw.set_stage(case, "authorized", case.stage_entry_id)


def test_a_stage_does_not_move_by_another_cases_entry(facility: Facility, case: Case) -> None:
    other = cast.bring(cast.make_case(facility), "authorized")
    cast.bring(case, "in_care")
    with raw.refuses("only with its custody entry"):
        raw.set_stage(case, "authorized", other.stage_entry_id)


def test_a_stage_does_not_move_by_a_refused_attempt(case: Case) -> None:
    cast.bring(case, "in_care")
    with raw.refuses("refused_moves_nothing"):
        raw.insert_entry(case, "authorize", "in_care", "authorized", outcome="refused")


ROWLESS = [
    ("expected", "receive", "in_care"),
    ("cleared", "assign_disc", "tagged"),
    ("tagged", "charge", "in_retort"),
    ("in_retort", "burner_off", "cooling"),
    ("cooling", "recover", "recovered"),
    ("recovered", "process", "processed"),
    ("processed", "contain", "contained"),
    ("contained", "release", "released"),
    ("in_care", "return_uncremated", "returned"),
]


@pytest.mark.parametrize(("stage", "verb", "goal"), ROWLESS)
def test_a_stage_is_not_reached_without_its_row(
    case: Case, stage: str, verb: str, goal: str
) -> None:
    cast.bring(case, stage)
    raw.insert_entry(case, verb, stage, goal)
    entry = CustodyEntry.objects.get(case=case, stage_to=goal)
    with raw.refuses("what this stage stands on is not recorded"):
        raw.set_stage(case, goal, entry.pk)


def test_the_entry_of_a_stage_stays(released: Case) -> None:
    earlier = CustodyEntry.objects.get(case=released, stage_to="contained")
    with raw.refuses("the entry of a stage stays"):
        raw.set_stage(released, "released", earlier.pk)


def test_a_case_keeps_its_number_and_house(case: Case, other_facility: Facility) -> None:
    keeps = "a case keeps its number, its facility and the law by which it is judged"
    with raw.refuses(keeps):
        raw.run("UPDATE cases_case SET number = 'QV24-00002-X' WHERE id = %s", case.pk)
    with raw.refuses(keeps):
        raw.run("UPDATE cases_case SET facility_id = %s", other_facility.pk)
    with raw.refuses(keeps):
        raw.run("UPDATE cases_case SET jurisdiction = 'zz'")
    with raw.refuses(keeps):
        raw.run("UPDATE cases_case SET announced_at = '2020-01-01 00:00:00+00:00'")


# Entries


def test_an_entry_does_not_skip_a_stage(case: Case) -> None:
    cast.bring(case, "in_care")
    with raw.refuses("no step of the table moves this way"):
        raw.insert_entry(case, "charge", "in_care", "in_retort")


def test_an_entry_from_another_stage_is_refused(case: Case) -> None:
    cast.bring(case, "in_care")
    with raw.refuses("not at the stage that this step leaves"):
        raw.insert_entry(case, "charge", "tagged", "in_retort")


def test_a_step_done_names_the_stages(case: Case) -> None:
    with raw.refuses("a step that is done moves the stage"):
        raw.insert_entry(case, "receive", "", "")


def test_a_witnessed_step_is_not_entered_alone(case: Case) -> None:
    with raw.refuses("no step of the table moves this way"):
        raw.insert_entry(case, "receive", "expected", "in_care", witness_id=None)


def test_no_step_is_entered_unsigned(case: Case) -> None:
    with raw.refuses("no step of the table moves this way"):
        raw.insert_entry(case, "receive", "expected", "in_care", signed_by_id=None)


def test_nobody_witnesses_for_themselves(case: Case) -> None:
    clerk = cast.member(case.facility, cast.CLERK).pk
    with raw.refuses("entry_witness_is_another"):
        raw.insert_entry(case, "receive", "expected", "in_care", witness_id=clerk)


def test_no_step_is_entered_during_a_hold(case: Case) -> None:
    cast.bring(case, "in_care")
    with clock.pinned(cast.time_of("authorize", case)):
        clerk = cast.signature(cast.member(case.facility, cast.CLERK))
        hold_acts.open_hold(case, clerk, cast.token(), "the family asks us to wait")
    with raw.refuses("the case is on hold"):
        raw.insert_entry(case, "authorize", "in_care", "authorized")


def test_an_entry_of_another_house_does_not_count(case: Case, other_facility: Facility) -> None:
    with raw.refuses("not at the stage that this step leaves"):
        raw.insert_entry(
            case, "receive", "expected", "in_care", facility_id=other_facility.pk, sequence=0
        )


@pytest.mark.parametrize("sequence", [-1, 0, 1, 3, 99])
def test_entries_are_numbered_without_a_gap(case: Case, sequence: int) -> None:
    with clock.pinned(cast.START):
        cast.prepare("authorize", case)
    count = CustodyEntry.objects.count()
    if sequence == 3:
        sequence = count + 1
    with raw.refuses("numbered without a gap"):
        raw.insert_entry(case, "note", "", "", sequence=sequence)
    raw.insert_entry(case, "note", "", "", sequence=count)


def test_nothing_happens_after_it_was_recorded(case: Case) -> None:
    with raw.refuses("entry_happened_before_recorded"):
        raw.insert_entry(case, "note", "", "", happened_at=cast.START + timedelta(seconds=1))


def test_a_token_serves_once(case: Case) -> None:
    raw.insert_entry(case, "note", "", "", token="once")
    with raw.refuses("(?i)unique"):
        raw.insert_entry(case, "note", "", "", token="once")


# Written once

WRITTEN_ONCE = [
    ("chain_of_custody_custodyentry", "payload = '{}'"),
    ("chain_of_custody_custodyentry", "signed_by_id = NULL"),
    ("chain_of_custody_sealedvalue", "value = 'somebody else'"),
    ("retort_log_reading", "secondary_c = 999"),
    ("retort_log_processing", "mass_kg = 3"),
    ("retort_log_processing", "metal_fate = 'buried'"),
    ("cases_iddisc", "number = 'D2'"),
    ("cases_remainscontainer", "mass_kg = 3"),
    ("cases_remainscontainer", "kind = 'scatter tube'"),
    ("cases_release", "recipient_name = 'Ruth Stranger'"),
]
NEVER_DELETED = [
    "chain_of_custody_custodyentry",
    "chain_of_custody_sealedvalue",
    "chain_of_custody_log",
    "chain_of_custody_placement",
    "retort_log_reading",
    "retort_log_run",
    "retort_log_processing",
    "cases_iddisc",
    "cases_hold",
    "cases_case",
    "cases_delivery",
    "cases_remainscontainer",
    "cases_release",
]


@pytest.fixture
def full(released: Case) -> Case:
    """A case with a row in every table, its hold lifted."""
    other = cast.make_case(released.facility, at=cast.START + timedelta(days=30))
    with clock.pinned(other.stage_since):
        clerk, manager = (
            cast.signature(cast.member(released.facility, key))
            for key in (cast.CLERK, cast.MANAGER)
        )
        hold_acts.open_hold(other, clerk, cast.token(), "a question")
        hold_acts.lift_hold(
            Hold.objects.get(),
            manager,
            cast.token(),
            hold_acts.Lifting(on="cleared", reason="answered"),
        )
    return released


REFUSAL = "written once|never deleted|stays as it was (signed|recorded)"


def test_what_is_written_once_is_not_changed(full: Case) -> None:
    for table, change in WRITTEN_ONCE:
        with raw.refuses(REFUSAL):
            raw.run(f"UPDATE {table} SET {change}")


def test_nothing_of_a_case_is_deleted(full: Case) -> None:
    for table in NEVER_DELETED:
        with raw.refuses(REFUSAL):
            raw.run(f"DELETE FROM {table}")


@pytest.mark.parametrize("cascade", ["", " CASCADE"])
def test_no_table_is_emptied(full: Case, cascade: str) -> None:
    """PostgreSQL empties a table by TRUNCATE, which no row trigger sees."""
    refusal = "syntax error"
    if connection.vendor == "postgresql":
        refusal = REFUSAL if cascade else f"{REFUSAL}|foreign key constraint"
        raw.run("SET CONSTRAINTS ALL IMMEDIATE")  # else the pending checks refuse it first
    for table in NEVER_DELETED:
        with raw.refuses(refusal):
            raw.run(f"TRUNCATE {table}{cascade}")


def test_no_row_is_replaced(full: Case) -> None:
    """REPLACE INTO deletes first, and without recursive_triggers no trigger would see it."""
    refusal = f"{REFUSAL}|without a gap|begins as expected|begins open"
    if connection.vendor == "postgresql":
        refusal = "syntax error"
    for table in NEVER_DELETED:
        with raw.refuses(refusal):
            raw.run(f"REPLACE INTO {table} SELECT * FROM {table}")


def test_a_run_only_goes_forward(released: Case, case: Case) -> None:
    for change in (
        "charged_at = '2020-01-01'",
        "charge_mass_kg = 1",
        "charge_temperature_c = 900",
        "ended_at = NULL",
        "burner_off_at = NULL",
    ):
        with raw.refuses("a run only goes forward"):
            raw.run(f"UPDATE retort_log_run SET {change}")


def test_a_charge_stays_as_it_was_while_the_run_goes_on(case: Case) -> None:
    cast.bring(case, "in_retort")
    for change in ("charge_mass_kg = 1", "charge_temperature_c = 900"):
        with raw.refuses("a run only goes forward"):
            raw.run(f"UPDATE retort_log_run SET {change}")


STATED = [
    ("cases_case", "decedent_name = 'Ruth Stranger'"),
    ("cases_case", "born_on = NULL"),
    ("cases_case", "died_at = '2020-01-01 00:00:00+00:00'"),
    ("cases_case", "sender = 'Another Home'"),
    ("cases_delivery", "mass_kg = 1"),
    ("cases_delivery", "delivered_by = 'Somebody Else'"),
    ("cases_delivery", "firm = ''"),
    ("cases_delivery", "container_kind = 'oak'"),
    ("cases_delivery", "belongings = 'a ring'"),
]
BY_CORRECTION = "changes only with the entry that corrects it"


@pytest.mark.parametrize(("table", "change"), STATED)
def test_what_was_stated_changes_only_by_correction(case: Case, table: str, change: str) -> None:
    cast.bring(case, "in_care")
    with raw.refuses(BY_CORRECTION):
        raw.run(f"UPDATE {table} SET {change}")


CORRECTED: list[tuple[str, str, Any]] = [
    ("cases_case", "decedent_name", "Ada Exampel"),
    ("cases_case", "born_on", date(1941, 5, 7)),
    ("cases_case", "born_on", None),
    ("cases_case", "died_at", cast.START - timedelta(days=3)),
    ("cases_case", "sender", "Right Home"),
    ("cases_delivery", "mass_kg", Decimal("82.5")),
    ("cases_delivery", "belongings", "one ring, 50% gold"),
]


@pytest.mark.parametrize(("table", "field", "value"), CORRECTED)
def test_a_correction_opens_its_own_value_alone(
    case: Case, table: str, field: str, value: Any
) -> None:
    cast.bring(case, "in_care")
    with clock.pinned(cast.time_of("authorize", case)):
        manager = cast.signature(cast.member(case.facility, cast.MANAGER))
        correct(case, manager, cast.token(), field, value, "misread")
    row = Case.objects.get() if table == "cases_case" else Delivery.objects.get()
    assert getattr(row, field) == value
    for other_table, change in STATED:
        if not change.startswith(field):
            with raw.refuses(BY_CORRECTION):
                raw.run(f"UPDATE {other_table} SET {change}")
    with raw.refuses(BY_CORRECTION):  # not to a third value either
        raw.run(
            f"UPDATE {table} SET {next(c for _, c in STATED if c.startswith(field))}"
            if value is not None
            else f"UPDATE {table} SET born_on = '1900-01-01'"
        )


SETTLED = ["disposition = 'ship'", "is_death_reportable = NULL"]


@pytest.mark.parametrize("change", SETTLED)
def test_what_was_settled_stays_from_the_charge_on(case: Case, change: str) -> None:
    cast.bring(case, "in_retort")
    with raw.refuses(BY_CORRECTION):
        raw.run(f"UPDATE cases_case SET {change}")


def test_what_was_settled_is_corrected_after_the_charge(case: Case) -> None:
    cast.bring(case, "in_retort")
    with clock.pinned(cast.time_of("burner_off", case)):
        manager = cast.signature(cast.member(case.facility, cast.MANAGER))
        correct(case, manager, cast.token(), "disposition", "ship", "asked again")
    assert Case.objects.get().disposition == "ship"


def test_a_correction_before_the_newest_entry_opens_nothing(case: Case) -> None:
    clerk, manager = (cast.member(case.facility, key) for key in (cast.CLERK, cast.MANAGER))
    with clock.pinned(case.stage_since):
        signed = cast.signature(manager)
        correct(case, signed, cast.token(), "sender", "First Home", "misheard")
        correct(case, signed, cast.token(), "sender", "Second Home", "misheard again")
        hold_acts.open_hold(case, cast.signature(clerk), cast.token(), "a question")
    with raw.refuses(BY_CORRECTION):
        raw.run("UPDATE cases_case SET sender = 'First Home'")


def test_a_stay_ends_once(released: Case) -> None:
    for change in ("until = NULL", "since = '2020-01-01'"):
        with raw.refuses("only ended, once"):
            raw.run(f"UPDATE chain_of_custody_placement SET {change}")


def test_a_hold_is_lifted_once(full: Case) -> None:
    for change in ("ground = 'none'", "lift_reason = 'changed'", "lifted_at = NULL"):
        with raw.refuses("only lifted, once"):
            raw.run(f"UPDATE cases_hold SET {change}")


def test_a_log_does_not_shrink(released: Case) -> None:
    for size in ("size - 1", "size + 2", "size"):
        with raw.refuses("grows by one entry"):
            raw.run(f"UPDATE chain_of_custody_log SET size = {size}")


# One of each


def test_a_disc_is_given_once(facility: Facility, case: Case) -> None:
    cast.bring(case, "tagged")
    other = cast.bring(cast.make_case(facility), "cleared")
    with raw.refuses("(?i)unique"):
        copy("cases_iddisc", case_id=other.pk)


def test_a_person_gets_one_disc(case: Case) -> None:
    cast.bring(case, "tagged")
    with raw.refuses("(?i)unique"):
        copy("cases_iddisc", number="D2")


def test_a_retort_holds_one_run(facility: Facility, case: Case) -> None:
    cast.bring(case, "in_retort")
    other = cast.bring(cast.make_case(facility), "tagged")
    with raw.refuses("(?i)unique"):
        copy("retort_log_run", case_id=other.pk)


def test_a_person_is_cremated_once(released: Case) -> None:
    with raw.refuses("(?i)unique"):
        copy("retort_log_run")


def test_a_place_holds_one_person(facility: Facility, case: Case) -> None:
    cast.bring(case, "in_care")
    other = cast.make_case(facility)
    with raw.refuses("(?i)unique"):
        copy("chain_of_custody_placement", case_id=other.pk)


def test_a_person_is_in_one_place(case: Case) -> None:
    cast.bring(case, "in_care")
    stands = open_placement(case)
    assert stands
    free = case.facility.places.exclude(pk=stands.place_id)[0]
    with raw.refuses("(?i)unique"):
        copy("chain_of_custody_placement", place_id=free.pk)


# Quantities

ABSURD = [
    ("cases_delivery", "mass_kg", "-1", "delivery_mass_in_sense"),
    ("cases_delivery", "mass_kg", "0", "delivery_mass_in_sense"),
    ("cases_delivery", "mass_kg", "1000.001", "delivery_mass_in_sense"),
    ("retort_log_processing", "mass_kg", "0", "processing_mass_in_sense"),
    ("retort_log_processing", "mass_kg", "30.001", "processing_mass_in_sense"),
    ("cases_remainscontainer", "volume_l", "0", "container_in_sense"),
    ("cases_remainscontainer", "mass_kg", "-0.001", "container_in_sense"),
]


def test_no_absurd_quantity_is_stored(released: Case) -> None:
    other = cast.make_case(released.facility)
    for table, column, value, rule in ABSURD:
        with raw.refuses(rule):
            copy(table, case_id=other.pk, **{column: value})
    for table in {table for table, *_ in ABSURD}:
        copy(table, case_id=other.pk)  # the control: without the absurd value it is stored


def test_no_absurd_mass_limit_is_stored(facility: Facility) -> None:
    with raw.refuses("retort_mass_limit_in_sense"):
        raw.run("UPDATE retort_log_retort SET mass_limit_kg = 0")


@pytest.mark.parametrize(
    "values", [{"primary_c": -274}, {"secondary_c": 2001}, {"primary_c": 2001}]
)
def test_no_absurd_reading_is_stored(released: Case, values: dict[str, int]) -> None:
    with raw.refuses("reading_in_sense"):
        copy("retort_log_reading", at=LATER, **values)
    copy("retort_log_reading", at=LATER)


def test_times_of_a_run_are_in_order(case: Case) -> None:
    cast.bring(case, "in_retort")
    with raw.refuses("run_burner_off_after_charge"):
        raw.run("UPDATE retort_log_run SET burner_off_at = '2020-01-01 00:00:00'")
    with raw.refuses("run_ended_after_burner_off"):
        raw.run("UPDATE retort_log_run SET ended_at = '2030-01-01 00:00:00'")
    assert Run.objects.get().ended_at is None


def test_a_stay_does_not_end_before_it_began(case: Case) -> None:
    cast.bring(case, "in_care")
    with raw.refuses("placement_until_after_since"):
        raw.run("UPDATE chain_of_custody_placement SET until = '2020-01-01 00:00:00'")
    assert Placement.objects.get().until is None
