"""The life of a run, as a table: what may happen at a retort, and in which phase. Pure.

Charge, burner off and recover are steps of the case (`cases/steps.py`); what else happens at the
machine is an event. Phases follow from both, they are stored nowhere.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum


class Phase(StrEnum):
    """What the retort is doing."""

    CLEAR = "clear"
    PREHEATING = "preheating"
    BURNING = "burning"
    INTERRUPTED = "interrupted"
    FAULT_ENDED = "fault_ended"
    COOLING = "cooling"


PHASE_WORDS: dict[Phase, str] = {
    Phase.CLEAR: "Empty",
    Phase.PREHEATING: "Preheating",
    Phase.BURNING: "Burning",
    Phase.INTERRUPTED: "Interrupted",
    Phase.FAULT_ENDED: "Ended by a fault",
    Phase.COOLING: "Cooling",
}

P = Phase
# Kinds without a next phase leave the retort in the phase it is in.
EVENTS: dict[str, tuple[frozenset[Phase], Phase | None]] = {
    "preheat_begun": (frozenset({P.CLEAR}), P.PREHEATING),
    "preheat_ended": (frozenset({P.PREHEATING}), P.CLEAR),
    "burner_lit": (frozenset({P.BURNING}), None),
    "door_opened": (frozenset({P.BURNING, P.INTERRUPTED, P.FAULT_ENDED, P.COOLING}), None),
    "repositioned": (frozenset({P.BURNING, P.INTERRUPTED}), None),
    "visible_emission": (frozenset({P.PREHEATING, P.BURNING, P.INTERRUPTED, P.COOLING}), None),
    "fault": (frozenset(Phase), None),
    "interrupted": (frozenset({P.BURNING}), P.INTERRUPTED),
    "resumed": (frozenset({P.INTERRUPTED}), P.BURNING),
    "ended_by_fault": (frozenset({P.INTERRUPTED}), P.FAULT_ENDED),
}
# Signed with the PIN: they change what may come next. The rest is entered by who is signed in.
SIGNED = frozenset({"interrupted", "resumed", "ended_by_fault"})
# A manager decides that an interrupted cremation is not resumed.
BY_MANAGER = frozenset({"ended_by_fault"})
NOTE_NEEDED = frozenset({"fault", "interrupted", "ended_by_fault"})


@dataclass(frozen=True)
class Happened:
    """One event: its kind, and when it happened."""

    kind: str
    at: datetime


@dataclass(frozen=True)
class RunTimes:
    """When the open run was charged, and when its burner went off."""

    charged_at: datetime
    burner_off_at: datetime | None


@dataclass(frozen=True)
class Now:
    """The phase of a retort, and since when."""

    phase: Phase
    since: datetime | None


def phase(run: RunTimes | None, events: Iterable[Happened], cleared_at: datetime | None) -> Now:
    """Return the phase of a retort with this open run, or with none, after these events.

    `cleared_at` is when the last run ended: a preheat from before it is over. Events may come in
    any order; of two at one instant the one listed later counts later.
    """
    begun = run.charged_at if run else cleared_at
    later = [e for e in events if run is None or e.at >= run.charged_at]
    later = [e for e in later if begun is None or e.at >= begun]
    if run and run.burner_off_at:
        return Now(Phase.COOLING, run.burner_off_at)
    here = Now(Phase.BURNING, run.charged_at) if run else Now(Phase.CLEAR, cleared_at)
    for event in sorted(later, key=lambda e: e.at):
        origins, goal = EVENTS[event.kind]
        if goal is not None and here.phase in origins:
            here = Now(goal, event.at)
    return here


def may_happen(kind: str, here: Phase) -> bool:
    """Return whether this kind of event may be recorded in this phase. KeyError if unknown."""
    return here in EVENTS[kind][0]


def kinds_in(here: Phase) -> tuple[str, ...]:
    """Return the kinds of event that may be recorded in this phase, in the order of the table."""
    return tuple(kind for kind in EVENTS if may_happen(kind, here))
