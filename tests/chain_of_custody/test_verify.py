"""Verification names the first entry that somebody changed past the triggers."""

from collections.abc import Iterator
from contextlib import contextmanager
from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import connection, transaction

from cases.errors import StepRefused
from cases.models import Case
from chain_of_custody import triggers
from chain_of_custody.merkle import Frontier, leaf_hash
from chain_of_custody.models import CustodyEntry, Log, SealedValue
from chain_of_custody.verify import Report, root_at, verify
from crematory.models import Facility
from tests import cast, raw
from tests.attempts import attempt

ENTRY, SEALED = CustodyEntry._meta.db_table, SealedValue._meta.db_table


@pytest.fixture
def trail(facility: Facility) -> Case:
    """A case in the retort, and the triggers out of the way of somebody who owns the file."""
    case = cast.bring(cast.make_case(facility), "in_retort")
    if connection.vendor == "postgresql":
        raw.run("SET CONSTRAINTS ALL IMMEDIATE")
    for trigger in triggers.wanted().values():
        raw.drop_trigger(trigger)
    return case


@contextmanager
def undone() -> Iterator[None]:
    """Undo what the block did to the rows."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def found(case: Case) -> int | None:
    """Return the number of the first entry that does not hold; fail when all hold."""
    report = verify(case.facility)
    assert report.first is not None, "nothing was found"
    return report.first.sequence


def at(sequence: int) -> CustodyEntry:
    return CustodyEntry.objects.get(sequence=sequence)


def test_an_honest_trail_holds(facility: Facility, other_facility: Facility) -> None:
    for house in (facility, other_facility):
        cast.bring(cast.make_case(house), "released")
        report = verify(house)
        assert report.findings == []
        assert report.size == house.entries.count() > 20
        assert report.root == Log.objects.get(facility=house).root


def test_an_empty_trail_holds(facility: Facility) -> None:
    assert verify(facility) == Report(facility, 0, Frontier().root().hex(), [])


def test_the_root_is_that_of_the_leaves(trail: Case) -> None:
    frontier = Frontier()
    for payload in CustodyEntry.objects.order_by("sequence").values_list("payload", flat=True):
        frontier.append(leaf_hash(payload.encode()))
    assert verify(trail.facility).root == frontier.root().hex()


def test_a_changed_byte_is_found_in_every_entry(trail: Case) -> None:
    for entry in CustodyEntry.objects.all():
        for place in (0, len(entry.payload) // 2, len(entry.payload) - 1):
            changed = chr(ord(entry.payload[place]) ^ 1)
            payload = entry.payload[:place] + changed + entry.payload[place + 1 :]
            with undone():
                raw.run(f"UPDATE {ENTRY} SET payload = %s WHERE id = %s", payload, entry.pk)
                assert found(trail) == entry.sequence


def other_values(entry: CustodyEntry) -> dict[str, Any]:
    """Return, for each column that the hashed bytes state, a value that it does not have."""
    facility = entry.facility
    stranger = cast.member(facility, cast.EXPIRED_OPERATOR).pk
    shelf = facility.places.filter(kind="shelf")[0].pk
    stranger_case = Case.objects.order_by("-pk")[0].pk
    return {
        "act": "note",
        "stage_from": "lost",
        "stage_to": "",
        "happened_at": "2023-01-01 00:00:00.000001",
        "recorded_at": "2031-01-01 00:00:00",
        "signed_by_id": stranger,
        "witness_id": stranger,
        "place_from_id": shelf,
        "place_to_id": shelf,
        "case_id": stranger_case,
        "token": "another",
        "leaf_hash": "0" * 64,
    }


def test_a_change_of_each_column_is_found(trail: Case) -> None:
    cast.make_case(trail.facility)
    entry = CustodyEntry.objects.get(case=trail, act="charge")
    columns = {f.column for f in CustodyEntry._meta.fields}
    apart = {"id", "facility_id", "sequence", "payload", "outcome"}  # tested by themselves
    assert set(other_values(entry)) == columns - apart
    for column, value in other_values(entry).items():
        with undone():
            raw.run(f"UPDATE {ENTRY} SET {column} = %s WHERE id = %s", value, entry.pk)
            assert found(trail) == entry.sequence, column


def test_a_refusal_made_done_is_found(case: Case) -> None:
    with pytest.raises(StepRefused):
        attempt("authorize", case)
    raw.drop_trigger(triggers.REGISTERED[f"{ENTRY}_update"])
    raw.run(f"UPDATE {ENTRY} SET outcome = 'done' WHERE act = 'authorize'")
    assert found(case) == CustodyEntry.objects.get(act="authorize").sequence


def test_an_entry_moved_to_another_house_is_found(trail: Case, other_facility: Facility) -> None:
    last = CustodyEntry.objects.count() - 1
    with undone():
        raw.run(f"UPDATE {ENTRY} SET facility_id = %s WHERE sequence = 3", other_facility.pk)
        assert found(trail) == 3
        report = verify(other_facility)
        assert report.first
        assert report.first.sequence == 0
    with undone():
        raw.run(
            f"UPDATE {ENTRY} SET facility_id = %s, sequence = 0 WHERE sequence = %s",
            other_facility.pk,
            last,
        )
        assert not verify(trail.facility).holds
        assert not verify(other_facility).holds


def test_a_deleted_entry_is_found(trail: Case) -> None:
    last = CustodyEntry.objects.count() - 1
    for sequence in (0, 5, last):
        with undone():
            raw.run(f"DELETE FROM {SEALED}")
            raw.run("UPDATE cases_case SET stage = 'expected', stage_entry_id = NULL")
            raw.run(f"DELETE FROM {ENTRY} WHERE sequence = %s", sequence)
            texts = [finding.text for finding in verify(trail.facility).findings]
            gone = f"entry {sequence} is missing" if sequence != last else f"{last + 1} entries"
            assert any(gone in text for text in texts)


def test_a_gap_closed_again_is_found(trail: Case) -> None:
    """Delete one, and number those that follow anew."""
    sealless = next(e for e in CustodyEntry.objects.filter(stage_to="") if not e.sealed.exists())
    raw.run(f"DELETE FROM {ENTRY} WHERE id = %s", sealless.pk)
    for entry in CustodyEntry.objects.filter(sequence__gt=sealless.sequence).order_by("sequence"):
        raw.run(f"UPDATE {ENTRY} SET sequence = sequence - 1 WHERE id = %s", entry.pk)
    assert found(trail) == sealless.sequence


def test_an_inserted_entry_is_found(trail: Case) -> None:
    count = CustodyEntry.objects.count()
    raw.insert_entry(trail, "note", "", "", payload='{"act":"note"}')
    assert found(trail) == count


def test_an_inserted_entry_with_its_own_hash_is_found(trail: Case) -> None:
    count = CustodyEntry.objects.count()
    payload = at(count - 1).payload.replace(f'"n":{count - 1}', f'"n":{count}')
    digest = leaf_hash(payload.encode()).hex()
    raw.insert_entry(trail, "note", "", "", payload=payload, leaf_hash=digest)
    assert found(trail) == count


def test_two_entries_swapped_are_found(trail: Case) -> None:
    raw.run(f"UPDATE {ENTRY} SET sequence = 9999 WHERE sequence = 4")
    raw.run(f"UPDATE {ENTRY} SET sequence = 4 WHERE sequence = 5")
    raw.run(f"UPDATE {ENTRY} SET sequence = 5 WHERE sequence = 9999")
    assert found(trail) == 4


def test_an_entry_rewritten_with_its_hash_is_found_at_the_next(trail: Case) -> None:
    """Whoever computes the hash anew must also rewrite every entry that follows, and the log."""
    entry = CustodyEntry.objects.get(case=trail, act="receive")
    payload = entry.payload.replace('"mass_kg":"81.500"', '"mass_kg":"18.500"')
    assert payload != entry.payload
    digest = leaf_hash(payload.encode()).hex()
    sql = f"UPDATE {ENTRY} SET payload = %s, leaf_hash = %s WHERE id = %s"
    raw.run(sql, payload, digest, entry.pk)
    assert found(trail) == entry.sequence + 1


def test_a_changed_seal_is_found(trail: Case) -> None:
    seal = SealedValue.objects.get(entry__act="receive", key="band_reads")
    sequence = seal.entry.sequence
    for change in ("value = 'Eda Example'", "salt = '00'", "salt = 'no hex'", "key = 'other'"):
        with undone():
            raw.run(f"UPDATE {SEALED} SET {change} WHERE id = %s", seal.pk)
            assert found(trail) == sequence
    with undone():
        raw.run(f"DELETE FROM {SEALED} WHERE id = %s", seal.pk)
        assert found(trail) == sequence
    with undone():
        raw.insert(SEALED, entry_id=seal.entry_id, key="more", salt="00", value="x")
        assert found(trail) == sequence


def test_a_changed_head_is_found(trail: Case) -> None:
    for change in ("size = size + 1", f"root = '{'0' * 64}'", "frontier = ''"):
        with undone():
            raw.run(f"UPDATE chain_of_custody_log SET {change}")
            assert found(trail) is None
    with undone():
        raw.run("DELETE FROM chain_of_custody_log")
        assert found(trail) is None


def test_a_stage_moved_past_the_trail_is_found(trail: Case) -> None:
    entry = trail.stage_entry
    assert entry
    raw.run("UPDATE cases_case SET stage = 'released'")
    report = verify(trail.facility)
    assert report.first
    assert report.first.sequence == entry.sequence
    assert trail.number in report.first.text


def test_the_first_of_several_is_named(trail: Case) -> None:
    for sequence in (9, 4, 7):
        raw.run(f"UPDATE {ENTRY} SET act = 'note' WHERE sequence = %s", sequence)
    assert found(trail) == 4


def test_the_command_says_that_all_holds(case: Case, other_facility: Facility) -> None:
    cast.bring(case, "in_care")
    out = StringIO()
    call_command("verify_trail", stdout=out)
    lines = out.getvalue().splitlines()
    assert len(lines) >= 4  # files of other tests, whose rows are gone, may be named after these
    assert f"{case.facility.entries.count()} entries hold" in lines[0]
    assert "kept files are those of the trail" in lines[1]
    assert Log.objects.get(facility=case.facility).root in lines[0]


def test_the_command_fails_and_names_the_entry(trail: Case) -> None:
    triggers.install()
    update = triggers.REGISTERED[f"{ENTRY}_update"]
    raw.drop_trigger(update)
    raw.run(f"UPDATE {ENTRY} SET act = 'note' WHERE sequence = 4")
    triggers.install()
    err = StringIO()
    with pytest.raises(CommandError):
        call_command("verify_trail", stderr=err)
    assert "entry 4 does not hold" in err.getvalue()


def test_the_command_fails_when_a_trigger_is_missing(case: Case) -> None:
    raw.drop_trigger(triggers.REGISTERED["entry_no_hold"])
    err = StringIO()
    with pytest.raises(CommandError):
        call_command("verify_trail", stdout=StringIO(), stderr=err)
    assert "entry_no_hold" in err.getvalue()


def test_a_printed_root_is_found_again_after_later_entries(case: Case) -> None:
    log = Log.objects.get(facility=case.facility)
    size, root = log.size, log.root
    cast.bring(case, "in_care")
    assert root_at(case.facility, size) == root
    assert root_at(case.facility, 10_000) == ""
    out = StringIO()
    call_command("verify_trail", size=size, root=root.upper(), stdout=out)
    assert f"the first {size} entries have this root" in out.getvalue()


def test_a_consistent_rewriting_is_found_by_a_printed_root(trail: Case) -> None:
    """Whoever rewrites everything, the log too, is shown by a root that was printed before."""
    log = Log.objects.get(facility=trail.facility)
    size, root = log.size, log.root
    last = at(size - 1)
    payload = last.payload.replace(last.act, "note", 1)
    digest = leaf_hash(payload.encode()).hex()
    raw.run(
        f"UPDATE {ENTRY} SET payload = %s, leaf_hash = %s WHERE id = %s", payload, digest, last.pk
    )
    err = StringIO()
    with pytest.raises(CommandError, match="changed since"):
        call_command("verify_trail", size=size, root=root, stdout=StringIO(), stderr=err)
    assert f"the root at {size} is {root_at(trail.facility, size)}" in err.getvalue()


def test_size_and_root_of_a_paper_go_together(db: None) -> None:
    with pytest.raises(CommandError, match="together"):
        call_command("verify_trail", size=3)
