"""What the sheet of a run says: all that an inspector asks of one cremation, on paper.

Of a run that is cooling the sheet tells what was read so far; it can be printed again.
"""

from datetime import datetime, timedelta
from typing import Any

from cases import run_series, run_told
from cases.models import Case
from cases.run_told import Happening, Row, Seen, Told
from chain_of_custody.models import CustodyEntry
from crematory import clock
from crematory.templatetags.crematory import when
from crematory.units import show_quantity
from retort_log import chart as drawing
from retort_log import settling
from retort_log.finding import CHECK
from retort_log.models import Run

Facts = dict[str, Any]


def facts(case: Case) -> Facts:
    """The run sheet: times, hands, chart, events, readings, findings and the series' SHA-256."""
    run = run_told.run_of(case)
    assert run is not None  # the paper's stages begin after the charge
    now = clock.now()
    entries, seen = run_told.entries_of(run), Seen.of(run, now)
    told = run_told.happenings(run, entries)
    until = _drawn_until(run, seen)
    return {
        **_facts_of(case, run, seen),
        "chart": drawing.svg(run_told.chart_of(seen, told, until)),
        "drawn_until": when(until),
        "happenings": [_happening(one) for one in told],
        "rows": [_row(row) for row in run_told.rows(seen)],
        "findings": [_finding(one) for one in run_told.told_of(settling.found_of(run, now))],
        **_series(run, entries.get("burner_off")),
        "check_locally": CHECK,
    }


def _facts_of(case: Case, run: Run, seen: Seen) -> Facts:
    units = run_told.units_of(case.facility)
    charged_kg, stated_kg = run.charge_mass_kg, case.delivery.mass_kg
    permit, retort = run.retort.permit, run.retort
    return {
        "disc_number": case.disc.number if hasattr(case, "disc") else "",
        "retort": f"{retort.name}, serial {retort.serial}" if retort.serial else retort.name,
        "permit_number": permit.number,
        "permit_source": permit.source,
        "permit_title": "" if seen.rules.title == permit.number else seen.rules.title,
        "charged_at": when(run.charged_at),
        "burner_off_at": when(run.burner_off_at) if run.burner_off_at else "",
        "recovered_at": when(run.ended_at) if run.ended_at else "",
        "ended_by_fault": run.ended_by_fault,
        "charge_temperature": (
            f"{show_quantity(run.charge_temperature_c, 'temperature', units, both=True)}, "
            f"{seen.rules.charging_chamber} chamber"
        ),
        "mass_kg": show_quantity(charged_kg, "mass", units, both=True),
        # A correction after the charge changes what was stated at the door, not what was charged.
        "mass_corrected": (
            "" if stated_kg == charged_kg else show_quantity(stated_kg, "mass", units, both=True)
        ),
    }


def _drawn_until(run: Run, seen: Seen) -> datetime:
    """Draw the burning, and no longer a time of cooling after it than it took itself."""
    end = run.ended_at or seen.last_read_at() or run.charged_at
    if run.burner_off_at is None:
        return end
    burned = max(run.burner_off_at - run.charged_at, timedelta(hours=1))
    return max(run.burner_off_at, min(end, run.burner_off_at + burned))


def _happening(one: Happening) -> Facts:
    return {
        "number": one.number,
        "at": when(one.at),
        "words": one.words,
        "hands": one.hands,
        "note": one.note,
        "recorded_at": when(one.recorded_at) if one.recorded_at else "",
    }


def _row(row: Row) -> Facts:
    return {
        "at": when(row.at),
        "secondary": row.secondary,
        "primary": row.primary,
        "note": row.note,
    }


def _finding(one: Told) -> Facts:
    finding, settled = one.found.finding, one.found.settled
    return {
        "word": one.word,
        "kind": one.kind,
        "title": finding.title,
        "words": finding.words,
        "value": one.value,
        "limit": one.limit,
        "citation": finding.citation,
        "is_open": one.found.is_open,
        "settled_by": settled.settled_by.printed_name if settled else "",
        "settled_at": when(settled.settled_at) if settled else "",
        "reason": settled.reason if settled else "",
    }


def _series(run: Run, entry: CustodyEntry | None) -> Facts:
    series = run_series.series_of(run, entry)
    if series is None:
        return {"series": None}
    return {
        "series": {
            "sealed_sha256": series.sealed_sha256,
            "was_counted": series.was_counted,
            "sha256": series.sha256,
            "counted": series.counted,
            "has_changed": series.has_changed,
            "changes": list(series.changes),
            "entry": entry.sequence if entry else None,
        }
    }
