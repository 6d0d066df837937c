"""Reading cases, always within the facility of the member who asks."""

from dataclasses import dataclass
from typing import Any

from django.http import Http404, HttpRequest
from django.shortcuts import get_object_or_404

from cases.corrections import CORRECTABLE, MANAGERS
from cases.models import Case, Delivery
from cases.roles import named
from crematory.check_character import explain
from crematory.models import Role
from retort_log.models import Retort


def case_or_404(request: HttpRequest, number: str) -> Case:
    """Return the case of the request's facility by its number; raise Http404 with advice.

    A case of another facility is answered as one that does not exist.
    """
    wanted = number_or_404(number)
    rows = Case.objects.filter(facility=request.facility, number=wanted)  # type: ignore[attr-defined]
    case = rows.select_related("disc", "judged_under").first()
    if case is None:
        raise not_known(wanted)
    case.facility = request.facility  # type: ignore[attr-defined]
    return case


def retort_or_404(request: HttpRequest, code: str) -> Retort:
    """Return the retort of the request's facility at this place; raise Http404."""
    rows = Retort.objects.select_related("place")
    retort = get_object_or_404(rows, facility=request.facility, place__code=code)  # type: ignore[attr-defined]
    retort.facility = request.facility  # type: ignore[attr-defined]
    return retort


def number_or_404(number: str) -> str:
    """Return a case number as it is kept; raise Http404 with advice where it is none."""
    wanted = number.strip().upper()[:40]  # no number is as long
    if problem := explain(wanted):
        raise Http404(f"This is no case number. {problem}")
    return wanted


def not_known(number: str) -> Http404:
    """Return what is raised where the facility has no case of this number."""
    return Http404(f"The case number {number} is not known here.")


@dataclass(frozen=True)
class Stated:
    """A value as it was stated, what it is called, and who corrects it now."""

    label: str
    value: Any
    roles: frozenset[Role]

    @property
    def who(self) -> str:
        """Who corrects it, in words."""
        return named(self.roles)


def correctable_values(case: Case) -> dict[str, Stated]:
    """Return what may be corrected now and its value, by the name of the field."""
    rows = {"delivery": Delivery.objects.filter(case=case).first()}
    found = {
        name: Stated(
            rule.label, getattr(rows.get(rule.row, case), name, None), rule.roles_at(case.stage)
        )
        for name, rule in CORRECTABLE.items()
        if rows.get(rule.row, case) is not None
    }
    unsettled = {n for n, s in found.items() if CORRECTABLE[n].row == "settled" and not _said(s)}
    return {name: stated for name, stated in found.items() if name not in unsettled}


def _said(stated: Stated) -> bool:
    return stated.value not in (None, "")


def may_correct(case: Case) -> frozenset[Role]:
    """Return the roles that may correct something of the case at its stage."""
    return MANAGERS.union(*(rule.roles_at(case.stage) for rule in CORRECTABLE.values()))
