"""What the page of a case reads by written queries is what a prefetch finds, and in its order."""

import pytest
from django.db import connection
from django.db.models import prefetch_related_objects
from django.test.utils import CaptureQueriesContext

from cases import case_rows, hold_acts
from cases.case_page import FETCHED
from cases.models import Case
from tests import cast

pytestmark = pytest.mark.django_db
OF_THE_CASE = sorted({path.split("__")[0] for path in FETCHED})


@pytest.fixture
def full(case: Case) -> Case:
    """A case with rows of nearly every kind."""
    cast.bring(case, "authorized")
    cast.list_ring(case)
    clerk = cast.member(case.facility, "C1")
    hold_acts.open_hold(case, cast.signature(clerk), cast.token(), "Ring missing")
    return Case.objects.get(pk=case.pk)


@pytest.mark.parametrize("name", OF_THE_CASE)
def test_the_rows_are_those_of_a_prefetch(full: Case, name: str) -> None:
    other = Case.objects.get(pk=full.pk)
    prefetch_related_objects([other], *FETCHED)
    case_rows.fetch(full)
    expected = [vars(row) for row in getattr(other, name).all()]
    found = [vars(row) for row in getattr(full, name).all()]
    for row in (*expected, *found):
        for inner in [key for key in row if key.startswith("_")]:
            del row[inner]
    assert found == expected


def test_what_was_fetched_is_not_asked_for_again(full: Case) -> None:
    case_rows.fetch(full)
    with CaptureQueriesContext(connection) as queries:
        for name in OF_THE_CASE:
            list(getattr(full, name).all())
        said = [row for holder in full.right_holders.all() for row in holder.statements.all()]
        known = [row for holder in full.right_holders.all() for row in holder.facts.all()]
        assert said
        assert known
        assert all(row.signed_by_delegate is None for row in said)
        assert [row.upload for row in full.documents.all()]
    assert not queries.captured_queries


def test_the_case_is_found_with_its_disc_and_delivery(case: Case) -> None:
    cast.bring(case, "tagged")
    found = case_rows.case_of(case.facility, case.number.lower())
    disc = cast.disc_of(case)
    with CaptureQueriesContext(connection) as queries:
        assert (found.disc.number, found.delivery.case_id) == (disc, case.pk)
        placement = case_rows.placement_now(found)
        assert placement is not None
        assert placement.place.kind == "bay"
    assert len(queries) == 1
