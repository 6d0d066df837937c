"""Helpers for tests of pages: a signed-in browser and forms filled in as a person would."""

from typing import Any

from django.test import Client
from django.urls import reverse

from cases.models import Case
from crematory.models import StaffMember
from tests import cast


def browser(member: StaffMember) -> Client:
    """Return a client signed in as this member."""
    client = Client()
    client.force_login(member)
    return client


def url(name: str, case: Case, *rest: Any) -> str:
    """Return the address of a page of the case."""
    return reverse(f"cases:{name}", args=[case.number, *rest])


def signed(who: StaffMember, role: str = "signer", pin: str | None = None) -> dict[str, str]:
    """Return code and PIN as typed into a form."""
    return {f"{role}_code": who.staff_code, f"{role}_pin": pin or cast.pin_of(who)}
