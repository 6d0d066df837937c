"""A heavy person on a hot chamber: the advice to charge first in the day, and why.

Common practice, no source: much body fat gives off heat faster than a hot chamber can take, which
overheats it and sends smoke up the stack; a cool chamber lets it begin slowly. It is advice and
no gate.
"""

from collections.abc import Iterable

from cases.models import Case
from retort_log.models import Retort


def is_heavy(case: Case, retort: Retort) -> bool:
    """Return whether the house advises to charge this person first in this retort."""
    delivery = getattr(case, "delivery", None)
    limit = retort.heavy_from_kg
    return delivery is not None and limit is not None and bool(delivery.mass_kg >= limit)


def heavy_in(case: Case, retorts: Iterable[Retort]) -> list[Retort]:
    """Return the retorts in which the house advises to charge this person first."""
    return [retort for retort in retorts if is_heavy(case, retort)]
