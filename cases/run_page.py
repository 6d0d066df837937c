"""What the page of a run shows: who, what the retort does, what was found, when it may be swept.

The number of queries is fixed, however many readings a run has.
"""

import secrets
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from cases import papers, run_series, run_told
from cases.models import Case
from cases.roles import WHO, power
from cases.run_told import Seen
from crematory.models import StaffMember
from crematory.units import UnitSystem, show_quantity
from retort_log import events, settling
from retort_log.cooling import FEWEST_FOR_WALLS, ROOM_C, Cooling, expected_cool
from retort_log.models import Run
from retort_log.run_life import PHASE_WORDS, Phase
from retort_log.run_records import warnings_of

MARKS = {
    Phase.BURNING: "next",
    Phase.INTERRUPTED: "refused",
    Phase.FAULT_ENDED: "refused",
    Phase.COOLING: "waiting",
}


@dataclass(frozen=True)
class State:
    """What the run is at: mark, word, since when."""

    mark: str
    word: str
    since: datetime | None


@dataclass(frozen=True)
class Sweep:
    """When the chamber may be swept: the forecast and what is to be said of it."""

    cooling: Cooling
    limit: str
    words: str


def run_page(case: Case, run: Run, now: datetime, member: StaffMember) -> dict[str, Any]:
    """Return all that the page shows to this member."""
    entries, seen = run_told.entries_of(run), Seen.of(run, now)
    found = settling.found_of(run, now)
    return {
        **now_part(case, run, seen, now),
        "happenings": run_told.happenings(run, entries),
        "told": run_told.told_of(found),
        "open_count": sum(one.is_open for one in found),
        "settling": power(member, WHO["settle_finding"]),
        "rows": run_told.rows(seen),
        "series": run_series.series_of(run, entries.get("burner_off")),
        "rules": seen.rules,
        "sheet": _sheet(case),
    }


def _sheet(case: Case) -> tuple[papers.Kind, str] | None:
    """Return the run sheet with the token of one printing; None before burner off."""
    kind = papers.KINDS["run_sheet"]
    return (kind, secrets.token_urlsafe(24)) if kind.is_available(case) else None


def now_part(case: Case, run: Run, seen: Seen, now: datetime) -> dict[str, Any]:
    """Return the part that changes while the page stands open: phase, warnings, cooling."""
    return {
        "case": case,
        "run": run,
        "state": state_of(run, now),
        "early": warnings_of(run, now),
        "sweep": sweep_of(run, seen),
        "now": now,
    }


def state_of(run: Run, now: datetime) -> State:
    """Return the phase of a run. Three queries while it is open, none afterwards."""
    if run.ended_at:
        return State("done", "Recovered", run.ended_at)
    here = events.now_at(run.retort, now, run)
    return State(MARKS.get(here.phase, "asked"), PHASE_WORDS[here.phase], here.since)


def sweep_of(run: Run, seen: Seen) -> Sweep | None:
    """Return the forecast of a safe sweep; None before burner off and after the recovery."""
    if run.burner_off_at is None or run.ended_at:
        return None
    since_off = seen.since("primary", run.burner_off_at)
    cooling = expected_cool(since_off, run.burner_off_at, run.retort.sweep_limit_c)
    units = run_told.units_of(run.retort.facility)
    limit = show_quantity(run.retort.sweep_limit_c, "temperature", units, both=True)
    return Sweep(cooling, limit, _sweep_words(cooling, units))


def _sweep_words(cooling: Cooling, units: UnitSystem) -> str:
    if cooling.is_reached or cooling.at is None:
        return f"{cooling.reason[:1].upper()}{cooling.reason[1:]}."
    room = show_quantity(Decimal(ROOM_C), "temperature", units)
    words = (
        f"Reckoned from {cooling.readings} readings since burner off, cooling toward a room at "
        f"{room} (assumed). The interval is that of 19 in 20 by the scatter of the readings, "
        "widened for walls that are still hot."
    )
    if cooling.latest is None:
        why = "the walls may be hotter than the limit"
        if cooling.readings < FEWEST_FOR_WALLS:
            why = f"there are fewer than {FEWEST_FOR_WALLS} readings"
        words += f" The latest time cannot be foreseen: {why}."
    return words
