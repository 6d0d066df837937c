"""Who of the persons named may act, and why the others are passed over. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from cases.authority.persons import BY_INSTRUMENT, DIRECTIONS, Person
from cases.authority.terms import Rank


class Why(StrEnum):
    """Why a person is passed over."""

    DEAD = "dead"
    MINOR = "minor"
    NOT_OF_SOUND_MIND = "not_of_sound_mind"
    EXCLUDED = "excluded"
    NO_INSTRUMENT = "no_instrument"
    NOT_REACHED = "not_reached"
    LAPSED = "lapsed"
    NOT_IN_THE_ORDER = "not_in_the_order"


@dataclass(frozen=True)
class PassedOver:
    """A person who does not count, and why; `facts` for EXCLUDED, `efforts_on` for NOT_REACHED."""

    person: Person
    why: Why
    facts: tuple[str, ...] = ()
    efforts_on: tuple[date, ...] = ()


@dataclass(frozen=True)
class Standing:
    """One rank with those of its persons who hold the right, in the order of their keys."""

    rank: Rank
    members: tuple[Person, ...]
    signed: tuple[Person, ...]
    opposed: tuple[Person, ...]
    unproved: tuple[Person, ...]
    passed_over: tuple[PassedOver, ...]

    @property
    def unsigned(self) -> tuple[Person, ...]:
        """Members whose signature would still add to the number."""
        return tuple(p for p in self.members if p not in self.signed)

    @property
    def unsought(self) -> tuple[Person, ...]:
        """Members who neither signed nor object, and to whom no notice effort is recorded."""
        return tuple(p for p in self.unsigned if not p.efforts and not p.opposes)


def standing(rank: Rank, persons: Sequence[Person]) -> Standing:
    """Sort the persons of a rank into members and passed over.

    Somebody not reached stays in the number of their rank while anybody of it may act: a
    majority is one of the living. Only when nobody of the rank can be reached does it pass.
    """
    own = sorted((p for p in persons if p.class_key == rank.key), key=lambda p: p.key)
    barred = {p.key: passed for p in own if (passed := _barred(p, rank)) is not None}
    members = tuple(p for p in own if p.key not in barred)
    if members and all(_not_reached(p, persons) for p in members):
        for person in members:
            days = tuple(sorted(effort.on for effort in person.efforts))
            barred[person.key] = PassedOver(person, Why.NOT_REACHED, efforts_on=days)
        members = ()
    return Standing(
        rank=rank,
        members=members,
        signed=tuple(p for p in members if _counts(p, persons)),
        opposed=tuple(p for p in members if p.opposes),
        unproved=tuple(p for p in members if _unproved(p)),
        passed_over=tuple(barred[p.key] for p in own if p.key in barred),
    )


def _barred(person: Person, rank: Rank) -> PassedOver | None:
    """Why a person holds no right in this rank, whatever the others do; None if they hold it."""
    if person.class_key != DIRECTIONS and (why := _incapable(person)) is not None:
        return PassedOver(person, why)
    if facts := person.facts & rank.excluded_when:
        return PassedOver(person, Why.EXCLUDED, facts=tuple(sorted(facts)))
    if person.class_key in BY_INSTRUMENT and person.instrument_on_file is False:
        return PassedOver(person, Why.NO_INSTRUMENT)
    return PassedOver(person, Why.LAPSED) if _let_lapse(person) else None


def _let_lapse(person: Person) -> bool:
    """Whether a term went by in which the person is not known to have done anything."""
    is_silent = not (person.has_signed or person.opposes or person.delegation)
    return person.lapsed and is_silent


def _incapable(person: Person) -> Why | None:
    if person.living is False:
        return Why.DEAD
    if person.minor:
        return Why.MINOR
    return Why.NOT_OF_SOUND_MIND if person.sound_mind is False else None


def _not_reached(person: Person, persons: Sequence[Person]) -> bool:
    """Recorded as not reachable with efforts, and nothing recorded that shows the contrary."""
    if person.reachable is not False or not person.efforts:
        return False
    heard_of = any((person.signed, person.objection, person.withdrew_at))
    return not heard_of and not any(p.reachable is not False for p in _delegates(person, persons))


def _unproved(person: Person) -> bool:
    return person.class_key in BY_INSTRUMENT and person.instrument_on_file is not True


def _counts(person: Person, persons: Sequence[Person]) -> bool:
    """Whether the signature counts: given, not opposed, proved, by own hand or by the delegate."""
    if person.signed is None or not person.has_signed or person.opposes or _unproved(person):
        return False
    if person.signed.by in ("", person.key):
        return True
    given = person.delegation
    in_time = given is not None and given.at <= person.signed.at
    return in_time and any(p.key == person.signed.by for p in _delegates(person, persons))


def _delegates(person: Person, persons: Sequence[Person]) -> list[Person]:
    """Who may sign in this person's place; what was delegated cannot be passed on.

    Somebody named in two classes appears twice, and must be capable in both.
    """
    given = person.delegation
    if given is None or not given.in_writing:
        return []
    named = [p for p in persons if p.key == given.to]
    return [] if any(_incapable(p) for p in named) else named
