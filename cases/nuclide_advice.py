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
    advice: Advice | None = None,
    law: PublishedWait | None = None,
    needs_advice: bool = False,
) -> RadioactiveAnswer:
    """Say whether the cremation may be on the day `on`, as far as radioactivity goes.

    `nuclide_key` may be one that is not in the table, or empty while it is not known;
    `placed_on` is the local day of the implant or the last dose. `law` is the jurisdiction's own
    wait for implants and goes before a published one; a published wait that is longer counts.
    `needs_advice`: the law asks for written advice in every case. Written advice decides over
    every wait, but over a law's only where that says so. Days are local, the free day allowed.
    """
    free_by_law = months_after(placed_on, law.months) if law and placed_on else None
    if advice is not None:
        return _advised(advice, on, law, free_by_law, use)
    if needs_advice:
        return _ask("The law asks for written advice here.")
    waits = [wait for wait in (law, published_wait(nuclide_key)) if wait]
    if use is not Use.SEEDS or not waits:
        return _ask(f"No wait is published for {nuclide_key or 'a nuclide not known'} ({use}).")
    if placed_on is None:
        return _ask("The day of the implant is not recorded.")
    wait = max(waits, key=lambda one: one.months)
    return _answer(months_after(placed_on, wait.months), on, wait.source, _words(wait, nuclide_key))


def _advised(
    advice: Advice, on: date, law: PublishedWait | None, free_by_law: date | None, use: Use
) -> RadioactiveAnswer:
    if law and not law.sooner_if_safe and use is Use.SEEDS:
        if free_by_law is None:
            return _ask("The day of the implant is not recorded.")
        if free_by_law > advice.allowed_from:
            return _answer(free_by_law, on, law.source, "Advice does not shorten this wait.")
    source = f"written advice of {advice.by}, {advice.given_on.isoformat()}"
    return _answer(advice.allowed_from, on, source, "The adviser's written advice decides.")


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
