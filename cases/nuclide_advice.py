"""Whether a radioactive implant or dose still holds a cremation back. Pure.

The radiation-protection adviser decides. A published wait that has passed is told, and the
adviser's written advice can shorten or lengthen it; without either the answer is to ask.
"""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from cases.nuclides import ASK_THE_ADVISER, NUCLIDES, PublishedWait, months_after, published_wait


class Use(StrEnum):
    """How the nuclide came into the body. Published waits are for permanent seeds only."""

    SEEDS = "seeds"
    DOSE = "dose"


class State(StrEnum):
    """Where it stands on the day asked for."""

    PASSED = "passed"  # by the adviser's advice or a published wait
    WAITING = "waiting"
    ASK = "ask"  # no advice and no published wait


@dataclass(frozen=True)
class Advice:
    """The written advice of a radiation-protection adviser: by whom, and from which day."""

    by: str
    given_on: date
    allowed_from: date


@dataclass(frozen=True)
class RadioactiveAnswer:
    """Where it stands, the first day that is free if there is one, the source, and the words."""

    state: State
    free_on: date | None
    source: str
    why: str


def radioactive(
    nuclide_key: str,
    use: Use,
    placed_on: date | None,
    on: date,
    jurisdiction: str = "",
    advice: Advice | None = None,
) -> RadioactiveAnswer:
    """Say whether the cremation may be on the day `on`, as far as radioactivity goes.

    `nuclide_key` may be one that is not in the table, or empty while it is not known;
    `placed_on` is the local day of the implant or the last dose. Written advice decides over
    every published wait. Days are local days, the free day itself allowed.
    """
    if advice is not None:
        source = f"written advice of {advice.by}, {advice.given_on.isoformat()}"
        return _answer(advice.allowed_from, on, source, "The adviser's written advice decides.")
    wait = published_wait(nuclide_key, jurisdiction) if use is Use.SEEDS else None
    if wait is None:
        return _ask(f"No wait is published for {nuclide_key or 'a nuclide not known'} ({use}).")
    if placed_on is None:
        return _ask("The day of the implant is not recorded.")
    return _answer(months_after(placed_on, wait.months), on, wait.source, _words(wait, nuclide_key))


def _words(wait: PublishedWait, nuclide_key: str) -> str:
    notes = [wait.note, NUCLIDES[nuclide_key].note if nuclide_key in NUCLIDES else ""]
    parts = [f"{wait.months} months after the implant.", *notes, ASK_THE_ADVISER]
    return " ".join(part for part in parts if part)


def _answer(free_on: date, on: date, source: str, why: str) -> RadioactiveAnswer:
    state = State.PASSED if on >= free_on else State.WAITING
    return RadioactiveAnswer(state, free_on, source, why)


def _ask(why: str) -> RadioactiveAnswer:
    request = "Ask the radiation-protection adviser for written advice and put it on file."
    return RadioactiveAnswer(State.ASK, None, "", f"{why} {request}")
