"""Under every law that has a file, somebody is refused by that law's own words."""

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse

from cases import law
from cases.demo.under import under
from cases.gates import GATES, Situation, Verdict
from cases.steps import STEPS
from chain_of_custody.models import CustodyEntry
from chain_of_custody.trail import facts_of
from chain_of_custody.verify import verify
from crematory.models import StaffMember
from tests import cast

pytestmark = pytest.mark.django_db
NOW = cast.START + timedelta(days=400)
UNKNOWN = "unknown here"
CITING = (
    "papers_at_receipt",
    "documents_on_file",
    "papers_at_charge",
    "medical_clearance",
    "waiting_period",
)


def citations(code: str) -> set[str]:
    """Every citation that stands in the file of a law."""
    rules = law.jurisdiction(code)
    found = {paper.citation for paper in rules.papers}
    for rule in (rules.wait, rules.medical_clearance, rules.authority, *rules.wait.waivers):
        found.add(rule.citation)
    return {citation for citation in found if citation}


def cites_own(code: str, verdicts: list[Verdict]) -> bool:
    """Whether a refusal cites a section of this file, or says that it is unknown here."""
    name = law.jurisdiction(code).name
    return any(
        any(citation in verdict.citation for citation in citations(code))
        or (name in verdict.citation and UNKNOWN in verdict.citation)
        for verdict in verdicts
        if verdict.state == "refused"
    )


@pytest.mark.parametrize("code", law.codes())
def test_a_person_is_refused_by_this_law(code: str, client: Client) -> None:
    shown = under(code, NOW)
    rules, refused = law.jurisdiction(code), list(shown.refused)
    assert cites_own(code, refused), [v.citation for v in refused]
    wait = GATES["waiting_period"](
        Situation(case=shown.case, step=STEPS["charge"], now=NOW - timedelta(hours=1))
    )
    assert wait.state == "refused"
    if rules.wait_hours is None:
        assert f"{rules.name}: hours {UNKNOWN}" in wait.citation
        assert "unknown" in wait.reason
    else:
        assert rules.wait.citation in wait.citation
    if not rules.medical_clearance.is_enforced:
        clearance = GATES["medical_clearance"](
            Situation(case=shown.case, step=STEPS["authorize"], now=NOW)
        )
        assert f"{rules.name}: rule of clearance {UNKNOWN}" in clearance.citation
    assert all(law.CHECK_LOCALLY in v.citation for v in refused if v.gate in CITING)
    assert all(v.citation.count("local authority") <= 1 for v in refused)
    attempts = CustodyEntry.objects.filter(outcome="refused", case=shown.case)
    assert {reason for entry in attempts for reason in facts_of(entry)["reasons"]} >= {
        "authorizing_agent"
    }
    assert verify(shown.case.facility).first is None
    client.force_login(StaffMember.objects.get(staff_code="MG1"))
    page = client.get(reverse("cases:case", args=[shown.case.number])).content.decode()
    assert "Clocks of the law" in page
    assert rules.name.replace("'", "&#x27;") in page
