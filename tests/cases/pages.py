"""Helpers for tests of pages: a signed-in browser and forms filled in as a person would."""

from datetime import UTC, datetime, timedelta
from typing import Any

from django.test import Client
from django.urls import reverse

from cases.models import Case
from cases.names import fold
from crematory.models import Facility, StaffMember
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


def seen_on(response: Any) -> str:
    """Return the mark that the form of a page carries of what it shows."""
    return str(response.context["form"]["seen"].value())


def text_of(client: Client, address: str, status: int = 200) -> str:
    response = client.get(address)
    assert response.status_code == status
    return response.content.decode()


def look_for(client: Client, text: str, state: str = "all") -> str:
    """Send the list's form; return the address that shows what is found."""
    answer = client.post(reverse("cases:list"), {"q": text, "state": state})
    assert answer.status_code == 302
    return answer.headers["Location"]


def many_cases(facility: Facility, count: int, first: int = 0) -> None:
    """Insert expected persons quickly; each name and sender differs."""
    at = datetime(2025, 1, 1, tzinfo=UTC)
    Case.objects.bulk_create(
        Case(
            facility=facility,
            number=f"QV25-{n:05d}-X",
            stage_since=at + timedelta(minutes=n),
            decedent_name=f"Person {n:05d}",
            name_folded=fold(f"Person {n:05d}"),
            died_at=at,
            sender=f"Sender {n % 7}",
            jurisdiction=facility.jurisdiction,
            announced_at=at + timedelta(minutes=n),
        )
        for n in range(first, first + count)
    )
