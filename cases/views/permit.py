"""The permit to operate of a retort: what it demands, and a manager's form to state it."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from cases.forms.base import typed_in
from cases.forms.permit import PermitForm
from cases.views.answering import pop_kept
from cases.views.house import WRITES, done
from cases.views.requests import StaffRequest, need_role
from crematory.models import Role
from crematory.signatures import Signature
from retort_log import permit_profiles, permits
from retort_log.finding import CHECK
from retort_log.models import PermitToOperate
from retort_log.permit_rules import PermitRules


@sensitive_post_parameters("own_pin")
@require_http_methods(WRITES)
def permit(request: StaffRequest, pk: int) -> HttpResponse:
    """State a permit anew; a published profile may fill the form in."""
    need_role(request, Role.MANAGER)
    row = get_object_or_404(PermitToOperate, facility=request.facility, pk=pk)
    code = request.GET.get("profile", "")
    form = _form(request, row, _profile(code))

    def change(signed_by: Signature, stated: dict[str, Any]) -> None:
        try:
            permits.state(row, signed_by, form.stated())
        except permits.PermitRefused as refusal:
            raise ValidationError(list(refusal.texts)) from refusal

    if request.method == "POST" and done(request, form, "permit", change):
        messages.success(request, f"Permit {row.number}: this holds for every run from now on.")
        return redirect("house")
    context = {
        "form": form,
        "permit": row,
        "profiles": [(c, permit_profiles.profile(c).title) for c in permit_profiles.codes()],
        "chosen": code,
        "notes": form.profile.get("notes") or form.old.get("notes") or [],
        "check": CHECK,
    }
    return render(request, "cases/permit.html", context, status=422 if form.is_bound else 200)


def _profile(code: str) -> PermitRules | None:
    return permit_profiles.profile(code) if code in permit_profiles.codes() else None


def _form(request: StaffRequest, row: PermitToOperate, profile: PermitRules | None) -> PermitForm:
    if request.method == "POST":
        return PermitForm(request.POST, permit=row, profile=profile)
    form = PermitForm(permit=row, profile=profile)
    if kept := pop_kept(request):
        form.initial.update(typed_in(form, kept))
    return form
