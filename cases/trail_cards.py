"""Entries of the trail as a page lays them out: the answers of one form share a card."""

from collections.abc import Iterable
from dataclasses import dataclass

from cases.trail_lines import LATE_AFTER, NOTHING, Fact, Line

ROW = ("device", "answer")
SHARED = "informant"


@dataclass(frozen=True)
class Row:
    """One answer among several of a form: which device, what was answered, and what else."""

    line: Line
    device: str
    answer: str
    more: list[Fact]


@dataclass(frozen=True)
class Card:
    """Lines that a page shows together: the answers of one form, or any other entry by itself."""

    lines: list[Line]

    @property
    def first(self) -> Line:
        """The line that speaks for what all have in common."""
        return self.lines[0]

    @property
    def facts(self) -> list[Fact]:
        """What is stated once for the whole card."""
        if len(self.lines) == 1:
            return self.first.facts
        return [fact for fact in self.first.facts if fact.label == SHARED]

    @property
    def rows(self) -> list[Row]:
        """The answers, each with its entry; none for an entry by itself."""
        return [_row(one) for one in self.lines] if len(self.lines) > 1 else []


def cards(lines: Iterable[Line]) -> list[Card]:
    """Put device answers together that follow one another and were stated in one sitting."""
    found: list[Card] = []
    for one in lines:
        if found and _belongs(one, found[-1].lines[-1]):
            found[-1].lines.append(one)
        else:
            found.append(Card([one]))
    return found


def _row(line: Line) -> Row:
    said = {fact.label: fact.value for fact in line.facts}
    more = [f for f in line.facts if f.label not in (*ROW, SHARED) and f.value != NOTHING]
    return Row(line, said.get("device", ""), said.get("answer", ""), more)


def _belongs(one: Line, before: Line) -> bool:
    """True for two done answers to device questions, of one signer, informant and minute."""
    a, b = one.entry, before.entry
    return (
        a.act == b.act == "answer_device"
        and a.outcome == b.outcome == "done"
        and a.signed_by_id == b.signed_by_id
        and a.witness_id == b.witness_id
        and one.signature == before.signature
        and not (one.is_late or before.is_late)
        and a.happened_at - b.happened_at < LATE_AFTER
        and _informants(one) == _informants(before)
    )


def _informants(line: Line) -> list[Fact]:
    return [fact for fact in line.facts if fact.label == SHARED]
