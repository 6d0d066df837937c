"""Attempts at a step: with facts that pass, and with one thing spoilt."""

from typing import Any

import pytest

from cases.errors import StepRefused
from cases.models import Case
from cases.steps import STEPS
from cases.taking import take
from chain_of_custody.models import CustodyEntry
from crematory import clock
from tests import cast
from tests.snapshot import picture, unchanged_but_for_refusal

VERBS = list(STEPS)
WITNESSED = [verb for verb in VERBS if STEPS[verb].witnessed]
ALONE = [verb for verb in VERBS if not STEPS[verb].witnessed]


def before(verb: str, case: Case, prepared: bool = True) -> Case:
    """Bring the case to where the step is next; the acts beside it are done as well."""
    cast.bring(case, STEPS[verb].stages_from[0])
    if prepared:
        with clock.pinned(cast.time_of(verb, case)):
            cast.prepare(verb, case)
    return case


def attempt(verb: str, case: Case, **given: Any) -> CustodyEntry:
    """Take the step at its time; `given` replaces facts, signatures or the token."""
    names = given.keys() & {"signed_by", "witness", "token"}
    own: dict[str, Any] = {name: given.pop(name) for name in names}
    with clock.pinned(cast.time_of(verb, case)):
        signed = {} if {"signed_by", "witness"} <= own.keys() else cast.signers(verb, case)
        how: dict[str, Any] = {"token": cast.token(), **signed, **own}
        return take(verb, case, cast.facts_for(verb, case, **given), **how)


def refusal(verb: str, case: Case, **given: Any) -> StepRefused:
    """Assert that the attempt is refused and leaves one refused entry and no other trace."""
    earlier = picture()
    with pytest.raises(StepRefused) as caught:
        attempt(verb, case, **given)
    unchanged_but_for_refusal(earlier, picture())
    entry = CustodyEntry.objects.order_by("-pk")[0]
    assert (entry.act, entry.case) == (verb, case)
    return caught.value
