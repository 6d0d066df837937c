"""What every page of a signed-in member has at hand."""

from typing import cast

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest

from cases.overview import signers
from cases.steps import Step
from crematory.models import Facility, Role, StaffMember
from crematory.units import UnitSystem


class StaffRequest(HttpRequest):
    """A request after the middleware: signed in, and the member's facility known."""

    facility: Facility
    user: StaffMember


def need_role(request: StaffRequest, *roles: Role) -> None:
    """Answer 403 unless the member holds one of the roles."""
    if not request.user.roles & set(roles):
        raise PermissionDenied


def signers_else(request: StaffRequest, step: Step | None) -> str:
    """Return who signs this step where the signed-in member cannot, else nothing."""
    if step is None or request.user.roles & step.signers:
        return ""
    return signers(step)


def units_of(request: StaffRequest) -> UnitSystem:
    """Return the units in which the facility reads and writes."""
    return cast(UnitSystem, request.facility.units)
