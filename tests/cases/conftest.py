"""Browsers that are signed in, by the role of the member."""

import pytest
from django.test import Client

from crematory.models import StaffMember


@pytest.fixture
def as_clerk(client: Client, clerk: StaffMember) -> Client:
    client.force_login(clerk)
    return client


@pytest.fixture
def as_operator(client: Client, operator: StaffMember) -> Client:
    client.force_login(operator)
    return client


@pytest.fixture
def as_manager(client: Client, manager: StaffMember) -> Client:
    client.force_login(manager)
    return client
