"""Property: what a house asks beyond the law never opens a gate that the law alone keeps shut."""

from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cases import house_rules, law
from cases.gates import GATES, REFUSED, Situation
from cases.models import Case
from cases.steps import STEPS
from crematory.models import Facility
from tests import cast
from tests.cases.test_law_tightening_properties import accepted, values

pytestmark = pytest.mark.django_db
BY_LAW = (
    "papers_at_receipt",
    "documents_on_file",
    "papers_at_charge",
    "waiting_period",
    "medical_clearance",
    "authorizing_agent",
    "no_dispute",
    "radionuclide_wait",
)
CODES = ("us-mt", "us-il", "us-tx", "us-wi", "us-fl", "us-ny", "us-or", "gb-ew")


def shut(case: Case, added: dict[str, Any]) -> Iterator[str]:
    """The gates that refuse this person, with these rules of the house, some time from death."""
    case.facility.added_rules = added
    for hours in (0, 23, 24, 47, 48, 500):
        now = case.announced_at + timedelta(hours=hours)
        for name in BY_LAW:
            verdict = GATES[name](Situation(case=case, step=STEPS["charge"], now=now))
            if verdict.state == REFUSED:
                yield f"{name} at {hours} h"


@pytest.mark.parametrize("code", CODES)
@settings(
    max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data())
def test_asking_more_never_opens_a_gate(code: str, data: st.DataObject) -> None:
    case = _case(code, data.draw(st.booleans()))
    rules = law.jurisdiction(code)
    # What is unknown is opened by the authority's answer, which is no tightening.
    paths = [
        offer.path
        for offer in law.offers(rules)
        if not house_rules.needs_answer(case.facility, offer.path)
        and not offer.path.startswith("authority.adopt")
    ]
    chosen = data.draw(st.lists(st.sampled_from(paths), min_size=1, max_size=4, unique=True))
    _, kept = accepted(rules, {path: data.draw(values(path)) for path in chosen})
    case = Case.objects.select_related("facility").get(pk=case.pk)
    by_law = set(shut(case, {}))
    assert by_law <= set(shut(case, dict(kept)))


def _case(code: str, is_ready: bool) -> Case:
    """One person under this law, with or without all that the law asks for."""
    facility = Facility.objects.filter(jurisdiction=code).first() or cast.make_facility(
        "TG", jurisdiction=code
    )
    number = 1 if is_ready else 0
    cases = list(Case.objects.filter(facility=facility).order_by("pk"))
    while len(cases) < 2:
        cases.append(cast.make_case(facility))
        if len(cases) == 2:
            cast.bring(cases[1], "authorized")
    return cases[number]
