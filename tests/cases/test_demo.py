"""The demonstration: every stage, every gate refused at least once, and a trail that holds."""

import os
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction
from pytest_django import DjangoDbBlocker

from cases import steps
from cases.demo import build, diary, people
from cases.gates import GATES
from cases.models import Case, Hold, Release
from chain_of_custody.models import CustodyEntry, Place, Placement
from chain_of_custody.trail import facts_of
from chain_of_custody.verify import verify
from crematory.models import Facility
from retort_log import events, recorded, settling
from retort_log.models import LoggerFile, Reading, Retort, Run, RunEvent, UpkeepDone
from retort_log.run_life import Phase

ROOT = Path(__file__).resolve().parent.parent.parent
NOW = datetime(2026, 3, 11, 18, 40, tzinfo=UTC)
pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def house(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[Facility]:
    """Build once for this module; everything is rolled back after it."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield build.build(NOW)
        transaction.set_rollback(True)


def refused_reasons() -> set[str]:
    """Return every reason of every refused entry."""
    refused = CustodyEntry.objects.filter(outcome="refused")
    return {reason for entry in refused for reason in facts_of(entry)["reasons"]}


def test_every_gate_refused_at_least_once(house: Facility) -> None:
    assert set(GATES) - refused_reasons() == set()


def test_about_forty_people_in_every_stage(house: Facility) -> None:
    stages = Counter(Case.objects.values_list("stage", flat=True))
    assert set(stages) == set(steps.STAGES)
    assert 38 <= stages.total() <= 45
    assert stages["in_retort"] == stages["cooling"] == stages["returned"] == 1


def test_trail_holds_and_its_times_rise(house: Facility) -> None:
    assert verify(house).findings == []
    times = list(CustodyEntry.objects.order_by("sequence").values_list("recorded_at", flat=True))
    assert times == sorted(times)
    assert times[-1] <= NOW


def test_some_acts_were_recorded_late(house: Facility) -> None:
    late = [
        entry.act
        for entry in CustodyEntry.objects.all()
        if entry.recorded_at - entry.happened_at > timedelta(minutes=20)
    ]
    assert set(late) == {"process", "record_reading", "upkeep"}


def test_some_holds_stand_and_some_were_lifted(house: Facility) -> None:
    holds = Hold.objects.filter(kind="other")
    assert holds.filter(lifted_at=None).count() == 3
    assert holds.exclude(lifted_at=None).count() == 3


def test_exchanged_weights_are_found_held_and_explained_by_a_manager(house: Facility) -> None:
    refused = CustodyEntry.objects.filter(act="process", outcome="refused")
    found = [e.case for e in refused if "mass_plausible" in facts_of(e)["reasons"]]
    pairs = [case for case in found if case and case.holds.filter(kind="other").exists()]
    assert {(case.sex, case.stage) for case in pairs} == {
        ("m", "contained"),
        ("f", "processed"),
        ("m", "recovered"),
        ("f", "recovered"),
    }
    for case in pairs:
        hold = case.holds.get()
        assert "exchanged" in hold.ground
        assert (hold.lifted_at is None) == (case.stage == "recovered")


def test_what_is_planted_in_runs_is_found_and_settled_or_waits(house: Facility) -> None:
    waiting: dict[str, set[str]] = {}
    for run in Run.objects.all():
        for found in settling.found_of(run, NOW):
            if found.finding.needs_settling:
                word = "settled" if found.settled else f"open, {run.case.stage}"
                waiting.setdefault(found.finding.code, set()).add(word)
                assert run.retort.name == "Retort 2"
    assert waiting == {
        "below_minimum": {"settled", "open, recovered"},
        "gap_in_record": {"settled", "open, in_retort"},
        "means_not_judged": {"settled"},
    }


def test_one_retort_is_read_by_a_logger_and_kept_up_like_the_others(house: Facility) -> None:
    assert {file.logger.retort.name for file in LoggerFile.objects.all()} == {"Retort 2"}
    assert all(file.taken > 300 and file.refused == 0 for file in LoggerFile.objects.all())
    kinds = {"inspection", "thermocouple", "lining"}
    for retort in Retort.objects.all():
        assert set(UpkeepDone.objects.filter(retort=retort).values_list("kind", flat=True)) == kinds
        figures = (retort.secondary_volume_m3, retort.burner_kw, retort.heavy_from_kg)
        assert all(figures)
    assert Run.objects.filter(charge_mass_kg__gte=Retort.objects.all()[0].heavy_from_kg).exists()


def test_every_run_has_its_events(house: Facility) -> None:
    for run in Run.objects.exclude(ended_at=None):
        kinds = {event.kind for event in events.events_of(run)}
        assert kinds >= {"preheat_begun", "burner_lit", "repositioned", "door_opened"}
    special = set(RunEvent.objects.values_list("kind", flat=True))
    assert special >= {"interrupted", "resumed", "visible_emission", "fault"}


def test_one_retort_is_left_for_whoever_tries_it(house: Facility) -> None:
    phases = [events.now_at(retort, NOW).phase for retort in Retort.objects.order_by("name")]
    assert phases == [Phase.COOLING, Phase.BURNING, Phase.CLEAR]


def test_one_dispute_stands_and_the_others_were_settled_by_papers(house: Facility) -> None:
    disputes = Hold.objects.filter(kind="dispute")
    open_one = disputes.get(lifted_at=None)
    assert open_one.notices.count() == 2
    lifted = disputes.exclude(lifted_at=None)
    assert sorted(hold.lifted_on for hold in lifted) == ["agreement", "order", "withdrawal"]
    assert all(hold.lift_document for hold in lifted)


def test_corrections_returns_and_shipments_happened(house: Facility) -> None:
    acts = Counter(CustodyEntry.objects.values_list("act", flat=True))
    assert acts["correct"] == 3
    assert acts["compare_band"] == 1
    assert acts["relabel"] == 1
    assert acts["return_uncremated"] == 2  # the first attempt had no receipt
    assert Release.objects.exclude(tracking_number="").exists()


def test_readings_reach_up_to_now(house: Facility) -> None:
    for run in Run.objects.filter(ended_at=None):
        newest = recorded.newest(run.retort, "secondary", NOW)
        assert newest is not None
        assert NOW - newest.at <= timedelta(minutes=15)
    assert not Reading.objects.filter(at__gt=NOW).exists()


def test_waiting_period_and_expired_certificate_are_seen_now(house: Facility) -> None:
    waiting = Case.objects.get(decedent_name__startswith="Delphine")
    assert waiting.died_at + timedelta(hours=24) > NOW
    last = CustodyEntry.objects.filter(outcome="refused").order_by("sequence").last()
    assert last is not None
    assert "operator_certified" in facts_of(last)["reasons"]
    assert last.signed_by is not None
    assert last.signed_by.staff_code == "OP3"


def test_places_are_left_for_whoever_tries_it(house: Facility) -> None:
    taken = Placement.objects.filter(until=None).values("place")
    for kind in ("bay", "tray", "shelf"):
        assert Place.objects.filter(kind=kind).exclude(pk__in=taken).exists()


def test_names_are_of_many_scripts_and_one_is_very_long(house: Facility) -> None:
    names = list(Case.objects.values_list("decedent_name", flat=True))
    assert max(map(len, names)) >= 200
    for letter in ("Ł", "ễ", "Ε", "Я", "א"):
        assert any(letter in name for name in names)
    assert any(" " not in name for name in names)


def test_office_hours_move_back_to_a_working_day() -> None:
    zone = build.house_file.read(build.HOUSE).facility["time_zone"]
    sunday_night = datetime(2026, 3, 15, 23, 0, tzinfo=diary.ZoneInfo(zone))
    moved = diary.office(sunday_night, diary.ZoneInfo(zone))
    assert (moved.weekday(), moved.hour) == (5, 15)


def test_every_slip_in_the_file_is_a_gate() -> None:
    assert {slip for person in people.people() for slip in person.slips} <= set(GATES)


def run_demo(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Run the command as on a new machine: no settings in the environment."""
    kept = {name: os.environ[name] for name in ("PATH", "SYSTEMROOT") if name in os.environ}
    return subprocess.run(
        [sys.executable, str(ROOT / "manage.py"), "demo", *arguments],
        env={**kept, "VAR_DIR": str(folder), "DATABASE_URL": "postgres://at-work.invalid/house"},
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=120,
        check=False,
    )


def test_walk_leaves_papers_and_a_trail_that_holds(tmp_path: Path) -> None:
    done = run_demo(tmp_path / "var", "--walk", str(tmp_path / "papers"))
    assert done.returncode == 0, done.stderr
    assert "Release: now released" in done.stdout
    assert "The trail holds" in done.stdout
    papers = sorted((tmp_path / "papers").glob("*.pdf"))
    kinds = {path.name.split("-")[1] for path in papers}
    assert kinds >= {"label", "receipt", "certificate", "release", "trail"}
    assert all(path.read_bytes().startswith(b"%PDF-") for path in papers)


def test_command_needs_its_own_environment() -> None:
    with pytest.raises(CommandError, match=r"python manage\.py demo"):
        call_command("demo")
