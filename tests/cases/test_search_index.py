"""Among 100,000 persons the beginning of a name is found through its index, on both engines."""

import pytest
from django.db import connection

from cases import search
from crematory.models import Facility
from tests import cast, raw

pytestmark = pytest.mark.django_db
PERSONS = 100_000
CONDITION = {"postgresql": "~>=~", "sqlite": "name_folded>? AND name_folded<?"}


def fill(facility: Facility) -> None:
    """Insert the persons in one statement, and let the database count them."""
    raw.run(
        "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < %s) "
        "INSERT INTO cases_case (facility_id, number, stage, stage_since, decedent_name, "
        "name_folded, died_at, died_known_as, sex, sender, disposition, jurisdiction, "
        "announced_at) "
        "SELECT %s, 'N' || i, 'expected', %s, 'Person ' || i, 'person ' || i, %s, 'exact', '', "
        "'Home', '', %s, %s FROM n",
        PERSONS, facility.pk, *(cast.START,) * 2, facility.jurisdiction, cast.START,
    )  # fmt: skip
    raw.run("ANALYZE cases_case")


def plan(facility: Facility, state: str = search.EVERYBODY) -> str:
    """Return how the database would find those whose name begins so."""
    return search.matching(search.Search(facility, "Person 4711", state)).explain()


def test_the_beginning_of_a_name_is_found_through_its_index(facility: Facility) -> None:
    fill(facility)
    for state in (search.EVERYBODY, search.IN_CARE):
        told = plan(facility, state)
        assert "case_name" in told
        assert CONDITION[connection.vendor] in told
    assert len(search.find(search.Search(facility, "Person 4711")).cases) == 11


def test_the_control_a_plain_index_does_not_serve_on_postgresql(facility: Facility) -> None:
    """The server of the tests sorts by its operating system's collation, as most do."""
    raw.run("DROP INDEX case_name")
    raw.run("CREATE INDEX case_name ON cases_case (facility_id, name_folded)")
    fill(facility)
    serves = CONDITION[connection.vendor] in plan(facility)
    assert serves is (connection.vendor == "sqlite")
