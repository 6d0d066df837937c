"""Holds: open one, its own page with who was told, and lifting it."""

from typing import Any

from django.db.models import prefetch_related_objects
from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from cases import hold_acts, holds, right
from cases.forms.holds import WAYS, HoldForm, LiftForm, TellForm
from cases.models import Case, Hold
from cases.roles import WHO, power
from cases.selectors import case_or_404
from cases.views.answering import Page, answer, open_form
from cases.views.requests import StaffRequest


@require_http_methods(["GET", "POST"])
def hold(request: StaffRequest, number: str) -> HttpResponse:
    """Put the case on hold."""
    case = case_or_404(request, number)
    form = open_form(request, HoldForm, case=case)
    page = Page(
        "cases/hold.html",
        "open_hold",
        "The case is on hold. No step can be taken. Now tell those who must know.",
        {"meanwhile": holds.meanwhile(case.stage), "law": holds.dispute_law(case.law)},
    )
    return answer(
        request,
        case,
        form,
        page,
        lambda: hold_acts.open_hold(
            case, form.signer(), form.token_sent, form.cleaned_data["ground"], form.raised()
        ),
    )


@require_http_methods(["GET", "POST"])
def held(request: StaffRequest, number: str, pk: int) -> HttpResponse:
    """One hold: what happened, who was told and who not yet; and record that somebody was told."""
    case = case_or_404(request, number)
    shown = _hold_or_404(case, pk)
    form = open_form(request, TellForm, hold=shown)
    page = Page(
        "cases/held.html",
        "tell_of_hold",
        "It is recorded who was told.",
        _facts(request, shown),
        back=reverse("cases:held", args=[case.number, pk]),
    )
    return answer(
        request,
        case,
        form,
        page,
        lambda: hold_acts.tell(
            shown,
            request.user,
            form.token_sent,
            form.names(),
            form.cleaned_data["how"],
            form.cleaned_data["told_at"],
        ),
    )


@require_http_methods(["GET", "POST"])
def lift(request: StaffRequest, number: str, pk: int) -> HttpResponse:
    """Lift a hold."""
    case = case_or_404(request, number)
    opened = _hold_or_404(case, pk)
    form = open_form(request, LiftForm, hold=opened)
    page = Page("cases/lift.html", "lift_hold", "The hold is lifted.", _facts(request, opened))
    return answer(
        request,
        case,
        form,
        page,
        lambda: hold_acts.lift_hold(
            opened, form.signer(), form.token_sent, form.lifting(), form.signature("witness")
        ),
    )


def _hold_or_404(case: Case, pk: int) -> Hold:
    """Return the hold of this case, with all that its page reads."""
    found = get_object_or_404(
        Hold.objects.select_related(
            "opened_by", "lifted_by", "document", "lift_document", "holder"
        ).prefetch_related("notices"),
        pk=pk,
        case=case,
    )
    prefetch_related_objects([case], *right.FETCHED, "holds")
    found.case = case
    if found.holder is not None:
        found.holder.case = case
    return found


def _facts(request: StaffRequest, hold: Hold) -> dict[str, Any]:
    """Return what the pages of a hold show beside their form."""
    return {
        "hold": hold,
        "told": holds.told_of_hold(hold),
        "told_of_lifting": holds.told_of_lifting(hold),
        "not_told": holds.not_told(hold),
        "late": holds.late(hold),
        "meanwhile": holds.meanwhile(hold.case.stage),
        "law": holds.dispute_law(hold.case.law) if hold.kind == Hold.Kind.DISPUTE else None,
        "lifting": power(request.user, WHO["lift_hold"]),
        "filing": power(request.user, WHO["file_document"]),
        "ways": WAYS,
    }
