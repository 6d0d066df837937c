"""What every page of a signed-in member has at hand."""

from typing import NoReturn

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest

from crematory.models import Facility, Role, StaffMember


class StaffRequest(HttpRequest):
    """A request after the middleware: signed in, and the member's facility known."""

    facility: Facility
    user: StaffMember  # type: ignore[assignment]


def need_role(request: StaffRequest, *roles: Role) -> None:
    """Answer 403 unless the member holds one of the roles."""
    if not request.user.roles & set(roles):
        _deny()


def _deny() -> NoReturn:
    raise PermissionDenied
