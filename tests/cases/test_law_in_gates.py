"""The gates and the House page where the law is unknown: said so, and never taken as no rule."""

import pytest
from django.test import Client
from django.urls import reverse

from cases import law
from cases.errors import StepRefused
from cases.models import Case
from crematory.models import Facility
from tests import cast, raw
from tests.attempts import before, refusal


@pytest.fixture
def idaho(db: None) -> Facility:
    """A crematory where the hours of wait were not seen."""
    return cast.make_facility("ID", jurisdiction="us-id")


def waiting(refused: StepRefused) -> tuple[str, str, str]:
    verdict = next(v for v in refused.verdicts if v.gate == "waiting_period")
    return verdict.reason, verdict.who, verdict.citation


def test_an_unknown_wait_refuses_the_charge(idaho: Facility) -> None:
    case = before("charge", cast.make_case(idaho))
    refused = refusal("charge", case)
    assert refused.codes == ["waiting_period"]
    reason, who, citation = waiting(refused)
    assert reason == "The hours between death and cremation are unknown here."
    assert "manager records the local authority's answer" in who
    assert citation.startswith("Idaho: hours unknown here")
    assert citation.endswith(law.CHECK_LOCALLY)


def test_a_known_wait_names_its_hours(case: Case) -> None:
    died = cast.time_of("charge", before("charge", case))
    raw.past_triggers("UPDATE cases_case SET died_at = %s WHERE id = %s", died, case.pk)
    _, _, citation = waiting(refusal("charge", case))
    assert "MCA 37-19-705(2), 24 h from death" in citation


def test_the_house_page_says_that_the_hours_are_unknown(idaho: Facility, client: Client) -> None:
    client.force_login(cast.member(idaho, cast.MANAGER))
    page = client.get(reverse("house")).content.decode()
    assert "unknown here; a manager records the local authority’s answer" in page
    assert "None h from death" not in page


@pytest.mark.parametrize(
    ("code", "said"),
    [
        ("us-fl", "Fla. Stat. 872.03 (from a summary; confirm before use)"),
        ("us-mt", "MCA 37-19-705(2)"),
        ("us-sc", "South Carolina: hours unknown here (S.C. Code 32-8-340 (heading only); memory)"
         ". Ask the local authority."),
    ],
)  # fmt: skip
def test_a_citation_carries_its_caution(code: str, said: str) -> None:
    assert law.jurisdiction(code).wait_citation == said
