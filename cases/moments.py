"""What a time means that somebody typed to the minute."""

from collections.abc import Iterable
from datetime import datetime, timedelta

from cases.facts import Facts
from cases.models import Case
from chain_of_custody.models import open_placement
from retort_log.models import Retort
from retort_log.selectors import newest_reading

MINUTE = timedelta(minutes=1)


def settle_minute(stated: datetime, before: Iterable[datetime]) -> datetime:
    """Return the moment that a stated time stands for.

    A time typed to the minute means that whole minute: what is on record within it came before,
    and the moment is no earlier than the latest of these. Any other time stands as stated.
    """
    if stated.second or stated.microsecond:
        return stated
    return max([stated, *(at for at in before if stated <= at < stated + MINUTE)])


def moments_before(case: Case, facts: Facts, end: datetime) -> list[datetime]:
    """Return what a step follows: death, last step, last move, the place left, the last reading.

    Of the goal's placements and of the retort's readings the last one before `end` is taken.
    """
    stay = open_placement(case)
    retort = _retort(case, facts)
    goal = facts.retort.place if hasattr(facts, "retort") else getattr(facts, "place", None)
    left = goal.placements.filter(until__lt=end).order_by("-until").first() if goal else None
    reading = newest_reading(retort, end - timedelta(microseconds=1)) if retort else None
    known = (
        case.died_at,
        case.stage_entry.happened_at if case.stage_entry else None,
        stay.since if stay else None,
        left.until if left else None,
        reading.at if reading else None,
    )
    return [at for at in known if at is not None]


def _retort(case: Case, facts: Facts) -> Retort | None:
    """The retort that the person goes into or lies in."""
    if hasattr(facts, "retort"):
        retort: Retort = facts.retort
        return retort
    return case.run.retort if case.stage in ("in_retort", "cooling") else None
