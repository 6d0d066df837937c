"""Finding by number takes the index and never reads every case."""

from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from crematory.models import Facility, StaffMember
from tests import cast
from tests.cases.pages import look_for


def asked_of(client: Client, text: str) -> list[str]:
    """Return the queries that look for this text."""
    address = look_for(client, text)
    with CaptureQueriesContext(connection) as captured:
        assert client.get(address).status_code == 200
    return [query["sql"] for query in captured if "cases_case" in query["sql"]]


def test_a_number_that_is_found_is_not_sought_among_names(
    facility: Facility, clerk: StaffMember, client: Client
) -> None:
    case = cast.make_case(facility)
    client.force_login(clerk)
    assert not any("LIKE '%" in sql for sql in asked_of(client, case.number))
    # The control: what no index finds is sought in the middle of names.
    assert any("LIKE '%" in sql for sql in asked_of(client, "xampl"))
