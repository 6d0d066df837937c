"""Upkeep: what each retort worked, what is due at it, and whose certificate ends."""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_safe

from cases.forms.base import typed_in
from cases.forms.upkeep import DoneForm, RuleForm
from cases.views.answering import pop_kept
from cases.views.house import WRITES, done
from cases.views.requests import StaffRequest, need_role
from crematory import clock
from crematory.models import Role, StaffMember
from crematory.signatures import Signature
from retort_log import upkeep
from retort_log.acts import READERS
from retort_log.models import Retort, UpkeepDone
from retort_log.upkeep import UpkeepRefused

RECORDS = 30
ENDS_SOON = timedelta(days=60)


@require_safe
def overview(request: StaffRequest) -> HttpResponse:
    """All retorts of the house, and the certificates of those who work at them."""
    now = clock.now()
    retorts = upkeep.retorts_of(request.facility)
    standing, worked = upkeep.standing_of(retorts, now), upkeep.worked(retorts, now)
    context = {
        "machines": [(r, worked[r.pk], standing.get(r.pk, [])) for r in retorts],
        "records": _records(request.facility.pk),
        "operators": _operators(request),
        "may_record": bool(request.user.roles & READERS),
        "is_manager": Role.MANAGER in request.user.roles,
    }
    return render(request, "cases/upkeep.html", context)


@sensitive_post_parameters("own_pin")
@require_http_methods(WRITES)
def record(request: StaffRequest, code: str) -> HttpResponse:
    """Record what was done to a retort."""
    need_role(request, *READERS)
    retort = _retort(request, code)
    form = _form(request, DoneForm)

    def change(signed_by: Signature, stated: dict[str, Any]) -> None:
        _told(lambda: upkeep.record_done(retort, signed_by, form.done()))

    if request.method == "POST" and done(request, form, "upkeep", change):
        messages.success(request, f"Recorded for {retort.name}.")
        return redirect("upkeep")
    title = f"Record upkeep of {retort.name}"
    return _page(request, form, title, "Record it")


@sensitive_post_parameters("own_pin")
@require_http_methods(WRITES)
def rule(request: StaffRequest, code: str) -> HttpResponse:
    """State how often something is due at a retort, or take it back."""
    need_role(request, Role.MANAGER)
    retort = _retort(request, code)
    form = _form(request, RuleForm)

    def change(signed_by: Signature, stated: dict[str, Any]) -> None:
        _told(lambda: upkeep.ask(retort, signed_by, form.asked()))

    if request.method == "POST" and done(request, form, "upkeep_rule", change):
        messages.success(request, f"This holds for {retort.name} from now on.")
        return redirect("upkeep")
    note = "With no figure at all, the rule of this kind is taken back; the trail keeps both."
    return _page(request, form, f"What is due at {retort.name}", "State it", note)


def _form(request: StaffRequest, made: type[Any]) -> Any:
    if request.method == "POST":
        return made(request.POST)
    chosen = {name: request.GET[name] for name in ("kind", "subject") if name in request.GET}
    form = made(initial={"done_at": clock.now(), **chosen})
    if kept := pop_kept(request):
        form.initial.update(typed_in(form, kept))
    return form


def _told(act: Callable[[], object]) -> None:
    """Let what the act refuses stand above the form."""
    try:
        act()
    except UpkeepRefused as refusal:
        raise ValidationError(refusal.text) from refusal


def _page(
    request: StaffRequest, form: forms.Form, title: str, button: str, note: str = ""
) -> HttpResponse:
    context = {"form": form, "title": title, "button": button, "note": note, "back": "upkeep"}
    status = 422 if form.is_bound else 200
    return render(request, "cases/house_form.html", context, status=status)


def _retort(request: StaffRequest, code: str) -> Retort:
    rows = Retort.objects.select_related("facility", "place")
    return get_object_or_404(rows, facility=request.facility, place__code=code)


def _records(facility: int) -> QuerySet[Any]:
    rows = UpkeepDone.objects.filter(retort__facility=facility)
    return rows.select_related("retort", "recorded_by").order_by("-done_at", "-pk")[:RECORDS]


def _operators(request: StaffRequest) -> list[tuple[StaffMember, str]]:
    """Return who may sign as operator, and how the certificate stands: "", "soon" or "over"."""
    today = timezone.localtime(clock.now(), request.facility.zone).date()
    rows = StaffMember.objects.filter(facility=request.facility, is_operator=True, is_active=True)
    return [
        (member, _ends(member.certificate_expires_on, today))
        for member in rows.order_by("certificate_expires_on", "staff_code")
    ]


def _ends(day: date | None, today: date) -> str:
    if day is None or day < today:
        return "over"
    return "soon" if day - today <= ENDS_SOON else ""
