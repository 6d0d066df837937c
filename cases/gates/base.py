"""What a gate is: a question about a case, answered with passed, refused or asked.

A gate gets the situation and answers for people: what is missing, who can settle it, and when
it will pass by itself. `facts` is None while the case page shows the gates before anybody has
filled in the form; a gate that depends on what will be stated then answers "asked".
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from cases.law import CHECK_LOCALLY, not_asking
from cases.models import Case
from cases.steps import Step
from cases.verdicts import ASKED, PASSED, REFUSED, Verdict
from crematory.models import StaffMember
from crematory.units import KindName, UnitSystem, show_quantity
from retort_log.models import Retort


@dataclass(frozen=True)
class Situation:
    """All that a gate may look at."""

    case: Case
    step: Step
    now: datetime
    facts: Any = None
    signer: StaffMember | None = None
    witness: StaffMember | None = None
    retort: Retort | None = None


Gate = Callable[[Situation], Verdict]
GATES: dict[str, Gate] = {}
TITLES: dict[str, str] = {}


@dataclass(frozen=True)
class Answer:
    """What a gate's function returns; `gate` adds the name and title."""

    state: str
    reason: str = ""
    who: str = ""
    passes_at: datetime | None = None
    citation: str = ""
    since: datetime | None = None
    is_wrong_person: bool = False
    calls_for: str = ""


def shown(s: Situation, value: Decimal, kind: KindName) -> str:
    """Return a quantity in the facility's units, the other beside it."""
    units: UnitSystem = "us" if s.case.facility.units == "us" else "metric"
    return show_quantity(value, kind, units, both=True)


def passed(reason: str = "", citation: str = "") -> Answer:
    """The gate is open."""
    return Answer(PASSED, reason, citation=citation)


def refused(
    reason: str,
    who: str,
    passes_at: datetime | None = None,
    citation: str = "",
    since: datetime | None = None,
    calls_for: str = "",
) -> Answer:
    """The gate is shut: what is missing, since when, and who can settle it."""
    return Answer(REFUSED, reason, who, passes_at, citation, since, calls_for=calls_for)


def wrong_person(reason: str, who: str) -> Answer:
    """The gate is shut: what was read is another person's."""
    return Answer(REFUSED, reason, who, is_wrong_person=True)


def asked(reason: str) -> Answer:
    """The form of the step asks for it."""
    return Answer(ASKED, reason)


def by_law(citation: str) -> str:
    """Return a citation with the caution that goes with every rule of law, once."""
    return f"{not_asking(citation)}. {CHECK_LOCALLY}"


def gate(title: str) -> Callable[[Callable[[Situation], Answer]], Gate]:
    """Register a gate under its function's name."""

    def register(function: Callable[[Situation], Answer]) -> Gate:
        name = function.__name__
        TITLES[name] = title

        def ask(situation: Situation) -> Verdict:
            a = function(situation)
            return Verdict(name, title, **vars(a))

        GATES[name] = ask
        return ask

    return register


def ask_all(situation: Situation) -> list[Verdict]:
    """Ask every gate of the step, in the order of the table."""
    return [GATES[name](situation) for name in situation.step.gates]
