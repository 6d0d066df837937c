"""Fixtures for all tests: the cast by name, and a flush that append-only tables allow."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any

import pytest
from django.core.cache import caches
from django.db.backends.base.operations import BaseDatabaseOperations
from hypothesis import HealthCheck, settings

from cases.models import Case
from chain_of_custody import triggers
from chain_of_custody.models import Place
from crematory.models import Facility, StaffMember
from retort_log.models import PermitToOperate, Retort
from tests import cast

# No test fails because a machine is slow or busy.
settings.register_profile("patient", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("patient")


@pytest.fixture(scope="session", autouse=True)
def flush_past_the_triggers() -> Iterator[None]:
    """Let a test with real transactions empty the tables afterwards; the site itself cannot."""
    original = BaseDatabaseOperations.execute_sql_flush

    def flush(self: BaseDatabaseOperations, sql_list: Any) -> None:
        connection = self.connection
        if connection.vendor == "postgresql":
            original(self, ["SET LOCAL session_replication_role = replica", *sql_list])
            return
        with connection.cursor() as cursor:
            for name in triggers.present(connection.alias):
                cursor.execute(f'DROP TRIGGER "{name}"', None)
        original(self, sql_list)
        triggers.install(connection.alias)

    BaseDatabaseOperations.execute_sql_flush = flush  # type: ignore[method-assign]
    yield
    BaseDatabaseOperations.execute_sql_flush = original  # type: ignore[method-assign]


@pytest.fixture(autouse=True)
def nothing_kept() -> None:
    """Tests begin with no kept parts of pages: what they kept was rolled back."""
    caches["parts"].clear()


@pytest.fixture
def facility(db: None) -> Facility:
    """A crematory in Montana with staff, permit, two retorts, bays, trays and shelves."""
    return cast.make_facility()


@pytest.fixture
def other_facility(db: None) -> Facility:
    """A crematory elsewhere, whose members must see and sign nothing here."""
    return cast.make_facility(
        "OT",
        name="Other Town Crematory",
        address="2 Example Road\nAustin, Texas",
        time_zone="America/Chicago",
        units="metric",
        jurisdiction="us-tx",
    )


@pytest.fixture
def clerk(facility: Facility) -> StaffMember:
    return cast.member(facility, cast.CLERK)


@pytest.fixture
def second_clerk(facility: Facility) -> StaffMember:
    return cast.member(facility, cast.SECOND_CLERK)


@pytest.fixture
def operator(facility: Facility) -> StaffMember:
    """Certified to operate."""
    return cast.member(facility, cast.OPERATOR)


@pytest.fixture
def second_operator(facility: Facility) -> StaffMember:
    return cast.member(facility, cast.SECOND_OPERATOR)


@pytest.fixture
def expired_operator(facility: Facility) -> StaffMember:
    """An operator whose certificate has expired."""
    return cast.member(facility, cast.EXPIRED_OPERATOR)


@pytest.fixture
def manager(facility: Facility) -> StaffMember:
    return cast.member(facility, cast.MANAGER)


@pytest.fixture
def other_operator(other_facility: Facility) -> StaffMember:
    """An operator of the other facility."""
    return cast.member(other_facility, cast.OPERATOR)


@pytest.fixture
def permit(facility: Facility) -> PermitToOperate:
    return facility.permits.get()


@pytest.fixture
def retorts(facility: Facility) -> list[Retort]:
    return list(facility.retorts.all())


@pytest.fixture
def retort(retorts: list[Retort]) -> Retort:
    return retorts[0]


@pytest.fixture
def bays(facility: Facility) -> list[Place]:
    return list(facility.places.filter(kind="bay"))


@pytest.fixture
def trays(facility: Facility) -> list[Place]:
    return list(facility.places.filter(kind="tray"))


@pytest.fixture
def shelves(facility: Facility) -> list[Place]:
    return list(facility.places.filter(kind="shelf"))


@pytest.fixture
def case(facility: Facility) -> Case:
    """A person who is expected."""
    return cast.make_case(facility)


@pytest.fixture
def start() -> datetime:
    """When the first case of a facility is announced."""
    return cast.START
