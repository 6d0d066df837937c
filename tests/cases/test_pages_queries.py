"""What the pages ask of the database does not grow with their rows."""

from collections.abc import Callable

import pytest
from django.core.cache import caches
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from crematory.models import Facility
from tests import cast
from tests.cases.pages import look_for, many_cases

pytestmark = pytest.mark.django_db


# Queries of a page whatever the number of rows; 2 of them are the session and the member with the
# facility that every page reads.
PAGES: dict[str, Callable[[Client], str]] = {
    "today": lambda client: reverse("today"),
    "list": lambda client: reverse("cases:list"),
    "found": lambda client: look_for(client, "person"),
    "everybody": lambda client: reverse("cases:list") + "?state=all",
    "machines": lambda client: reverse("machines"),
    "machine": lambda client: reverse("machine", args=["retort-2"]),
    "places": lambda client: reverse("places"),
    "house": lambda client: reverse("house"),
}


QUERIES = {
    # holds, terms of the law (two), groups, machines, places
    "today": 8,
    "list": 4,  # one for who is on hold
    "found": 5,  # and is it a disc's number?
    "everybody": 4,
    # The retorts with runs and readings, and when the last run ended in the one that is empty; more
    # where there are events, recorders, corrected readings.
    "machines": 4,
    # the retort with its run, when its last run ended, its last readings; five for the tagged
    # persons with papers, labels and holds; three for the gates, which look into upkeep too
    "machine": 13,
    "places": 3,
    "house": 4,  # staff and retorts
}


@pytest.mark.parametrize("name", PAGES)
def test_queries_do_not_grow(client: Client, facility: Facility, name: str) -> None:
    client.force_login(cast.member(facility, "M1"))
    many_cases(facility, 1)
    cast.bring(cast.make_case(facility), "tagged")
    cast.bring(cast.make_case(facility), "in_retort")
    address = PAGES[name](client)
    client.get(address)
    caches["parts"].clear()
    with CaptureQueriesContext(connection) as few:
        assert client.get(address).status_code == 200
    many_cases(facility, 200, first=1)
    for _ in range(3):
        cast.bring(cast.make_case(facility), "tagged")
    caches["parts"].clear()
    with CaptureQueriesContext(connection) as many:
        assert client.get(address).status_code == 200
    assert len(many) == len(few), "\n".join(query["sql"] for query in many.captured_queries)
    assert len(many) == QUERIES[name]
