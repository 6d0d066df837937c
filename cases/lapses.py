"""When the right to authorize lapses by time, where a law says so, and for whom it has lapsed."""

from dataclasses import replace
from datetime import datetime

from cases import deadline_days, deadlines
from cases.authority import Person
from cases.authority.persons import DELEGATE, DIRECTIONS
from cases.deadlines import Due
from cases.law.rules import Authority
from cases.models import Case, HolderFacts


def rule_of(case: Case) -> Authority | None:
    """Return the law's rule of lapse, or None where none was read."""
    rule = case.law.authority
    return rule if rule.is_enforced and rule.lapse_days_after_death else None


def lapses_at(case: Case, known: HolderFacts | None) -> Due | None:
    """Return from when the right of somebody who arranged nothing has lapsed.

    The earlier of the days after notice of the death and of those after the death itself; each
    day must have ended, counted from the latest possible time: the reading that keeps the right
    longest, an engineering choice.
    """
    rule = rule_of(case)
    if rule is None:
        return None
    zone = case.facility.zone
    due = deadline_days.free_from(case.death, rule.lapse_days_after_death or 0, zone)
    told = known.told_of_death_on if known else None
    if told is None or rule.lapse_days_after_notice is None:
        return due
    heard = deadlines.on_day(told, zone)
    by_notice = deadline_days.free_from(heard, rule.lapse_days_after_notice, zone)
    return min(due, by_notice, key=lambda one: one.at or datetime.max)


def marked(person: Person, case: Case, known: HolderFacts | None, now: datetime) -> Person:
    """Return the person, marked where the term went by without their signature.

    The decedent's own directions lapse never, and a delegate holds no right of their own.
    """
    if person.class_key in (DIRECTIONS, DELEGATE):
        return person
    due = lapses_at(case, known)
    if due is None or due.at is None or now < due.at:
        return person
    in_time = person.signed is not None and person.signed.at < due.at
    return person if in_time else replace(person, lapsed=True)
