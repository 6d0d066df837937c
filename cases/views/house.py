"""House: the facility, its rules, machines and staff; what a manager changes about the staff."""

from collections.abc import Callable
from datetime import date
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_safe

from cases import law, staffing
from cases.errors import ActRefused
from cases.forms import staff as staff_forms
from cases.views.requests import StaffRequest, need_role
from crematory import clock
from crematory.models import Role, StaffMember
from crematory.signatures import Signature, SignatureRefused, sign
from retort_log.models import Retort

SECRETS = ("own_pin", "pin", "pin_again", "password", "password_again")
WRITES = ("GET", "HEAD", "POST")


def _today(request: StaffRequest) -> date:
    return timezone.localtime(clock.now(), request.facility.zone).date()


@require_safe
def house(request: StaffRequest) -> HttpResponse:
    """The facility, the rules it works under, its machines and its staff."""
    facility, today = request.facility, _today(request)
    rules = law.jurisdiction(facility.jurisdiction)
    staff = [
        (member, staff_forms.is_expired(member.certificate_expires_on, today))
        for member in StaffMember.objects.filter(facility=facility).order_by(
            "-is_active", "staff_code"
        )
    ]
    retorts = [
        (retort, staff_forms.is_expired(retort.permit.expires_on, today))
        for retort in Retort.objects.filter(facility=facility).select_related("permit", "place")
    ]
    return render(
        request,
        "cases/house.html",
        {
            "law": rules,
            "documents": [(law.paper_words(d.kind), d.citation) for d in rules.documents],
            "check_locally": law.CHECK_LOCALLY,
            "retorts": retorts,
            "staff": staff,
            "is_manager": Role.MANAGER in request.user.roles,
        },
    )


@sensitive_post_parameters(*SECRETS)
@require_http_methods(WRITES)
def my_pin(request: StaffRequest) -> HttpResponse:
    """Everybody changes the own signing PIN here; the current one must be known."""
    form = staff_forms.OwnPinForm(request.POST or None)

    def change(signed_by: Signature, stated: dict[str, Any]) -> None:
        staffing.change_own_pin(signed_by, stated["pin"])

    if request.method == "POST" and _done(request, form, change):
        messages.success(request, "Your PIN is changed. Sign with the new one from now on.")
        return redirect("house")
    return _form_page(request, form, "Change my PIN", "Change my PIN")


@sensitive_post_parameters(*SECRETS)
@require_http_methods(WRITES)
def add_member(request: StaffRequest) -> HttpResponse:
    """A manager adds a member."""
    need_role(request, Role.MANAGER)
    form = staff_forms.MemberForm(request.POST or None)

    def add(signed_by: Signature, stated: dict[str, Any]) -> None:
        roles = frozenset(Role(role) for role in stated["roles"])
        staffing.add(signed_by, staffing.NewMember(**{**stated, "roles": roles}))

    if request.method == "POST" and _done(request, form, add):
        messages.success(request, f"{form.cleaned_data['printed_name']} is added.")
        return redirect("house")
    return _form_page(request, form, "Add a member", "Add this member")


@require_safe
def member(request: StaffRequest, code: str) -> HttpResponse:
    """What a manager may change about one member."""
    need_role(request, Role.MANAGER)
    return _member_page(request, _member(request, code))


# Each act: its form, its heading, what it does, and what is said when it is done.
Change = Callable[[Signature, StaffMember, dict[str, Any]], None]
ACTS: dict[str, tuple[type[forms.Form], str, Change, str]] = {
    "certificate": (
        staff_forms.CertificateForm,
        "Record a renewed certificate",
        lambda s, m, f: staffing.renew_certificate(s, m, f["number"], f["expires_on"]),
        "The certificate is recorded.",
    ),
    "pin": (
        staff_forms.PinForm,
        "Give a new PIN",
        lambda s, m, f: staffing.give_pin(s, m, f["pin"]),
        "The new PIN holds from now on.",
    ),
    "password": (
        staff_forms.PasswordForm,
        "Give a new password",
        lambda s, m, f: staffing.give_password(s, m, f["password"]),
        "The new password holds from now on; open sessions of this member have ended.",
    ),
    "deactivate": (
        staff_forms.SwitchForm,
        "Deactivate",
        lambda s, m, f: staffing.deactivate(s, m),
        "This member can no longer sign in or sign.",
    ),
    "activate": (
        staff_forms.SwitchForm,
        "Activate",
        lambda s, m, f: staffing.activate(s, m),
        "This member can sign in and sign again.",
    ),
}


@sensitive_post_parameters(*SECRETS)
@require_http_methods(WRITES)
def member_act(request: StaffRequest, code: str, act: str) -> HttpResponse:
    """One change to one member."""
    need_role(request, Role.MANAGER)
    if act not in ACTS:
        raise Http404
    subject = _member(request, code)
    form_class, _title, change, done = ACTS[act]
    if request.method != "POST":
        return redirect("member", code=code)
    form = form_class(request.POST, prefix=act)
    if _done(request, form, lambda signed_by, stated: change(signed_by, subject, stated)):
        messages.success(request, done)
        return redirect("member", code=code)
    return _member_page(request, subject, {act: form}, status=422)


def _member(request: StaffRequest, code: str) -> StaffMember:
    return get_object_or_404(StaffMember, facility=request.facility, staff_code=code)


def _done(
    request: StaffRequest, form: forms.Form, change: Callable[[Signature, dict[str, Any]], None]
) -> bool:
    """Sign and make the change; what stands against it becomes an error of the form."""
    if not form.is_valid():
        return False
    stated = dict(form.cleaned_data)
    for again in ("pin_again", "password_again"):
        stated.pop(again, None)
    try:
        signed_by = sign(request.facility, request.user.staff_code, stated.pop("own_pin"))
        change(signed_by, stated)
    except SignatureRefused as refusal:
        form.add_error("own_pin", refusal.text)
    except ActRefused as refusal:
        form.add_error(None, refusal.text)
    except ValidationError as error:
        _add_errors(form, error)
    else:
        return True
    return False


def _add_errors(form: forms.Form, error: ValidationError) -> None:
    """Put each message beside its field, or above the form where it has none."""
    by_field = error.message_dict if hasattr(error, "error_dict") else {"": error.messages}
    for name, texts in by_field.items():
        for text in texts:
            form.add_error(name if name in form.fields else None, text)


def _form_page(request: StaffRequest, form: forms.Form, title: str, button: str) -> HttpResponse:
    context = {"form": form, "title": title, "button": button}
    status = 422 if form.is_bound else 200
    return render(request, "cases/house_form.html", context, status=status)


def _member_page(
    request: StaffRequest,
    subject: StaffMember,
    bound: dict[str, forms.Form] | None = None,
    status: int = 200,
) -> HttpResponse:
    switch = "deactivate" if subject.is_active else "activate"
    forms_shown = [
        (act, title, (bound or {}).get(act) or form_class(prefix=act))
        for act, (form_class, title, _change, _done_text) in ACTS.items()
        if act not in ("activate", "deactivate") or act == switch
    ]
    context = {
        "subject": subject,
        "forms": forms_shown,
        "is_expired": staff_forms.is_expired(subject.certificate_expires_on, _today(request)),
    }
    return render(request, "cases/member.html", context, status=status)
