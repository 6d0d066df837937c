"""Reading cases, always within the facility of the member who asks."""

from dataclasses import dataclass
from typing import Any

from django.http import Http404, HttpRequest

from cases.corrections import CORRECTABLE
from cases.models import Case, Delivery
from crematory.check_character import explain


def case_or_404(request: HttpRequest, number: str) -> Case:
    """Return the case of the request's facility by its number; raise Http404 with advice.

    A case of another facility is answered as one that does not exist.
    """
    wanted = number.strip().upper()[:40]  # no number is as long
    if problem := explain(wanted):
        raise Http404(f"This is no case number. {problem}")
    case = (
        Case.objects.filter(facility=request.facility, number=wanted)  # type: ignore[attr-defined]
        .select_related("disc")
        .first()
    )
    if case is None:
        raise Http404(f"The case number {wanted} is not known here.")
    case.facility = request.facility  # type: ignore[attr-defined]
    return case


@dataclass(frozen=True)
class Stated:
    """A value as it was stated, and what it is called."""

    label: str
    value: Any


def correctable_values(case: Case) -> dict[str, Stated]:
    """Return what may be corrected now and its value, by the name of the field."""
    rows = {"case": case, "delivery": Delivery.objects.filter(case=case).first()}
    return {
        name: Stated(rule.label, getattr(rows[rule.row], name))
        for name, rule in CORRECTABLE.items()
        if rows[rule.row] is not None
    }
