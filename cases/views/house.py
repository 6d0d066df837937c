"""House: the facility, its rules, machines and staff; what a manager changes about the staff."""

from collections.abc import Callable, Iterator
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

from cases import house_rules, law, staffing
from cases.errors import ActRefused
from cases.forms import staff as staff_forms
from cases.forms.base import typed_in
from cases.views.answering import pop_kept, record_bad_signature
from cases.views.kept import Kept
from cases.views.requests import StaffRequest, need_role
from cases.waits import wait_words
from crematory import clock
from crematory.models import Role, StaffMember
from crematory.signatures import Signature, SignatureRefused, sign
from crematory.written import Part, Written
from retort_log.models import Retort

SECRETS = ("own_pin", "pin", "pin_again", "password", "password_again")
WRITES = ("GET", "HEAD", "POST")


_STAFF = Written(
    "SELECT {m} FROM crematory_staffmember m WHERE m.facility_id = %s"
    " ORDER BY m.is_active DESC, m.staff_code",
    m=Part(
        "crematory.StaffMember",
        *("staff_code", "printed_name", "is_front_office", "is_operator", "is_manager"),
        *("certificate_number", "certificate_expires_on", "is_active"),
    ),
)
_RETORTS = Written(
    "SELECT {r}, {p}, {t} FROM retort_log_retort r"
    " JOIN chain_of_custody_place p ON p.id = r.place_id"
    " JOIN retort_log_permittooperate t ON t.id = r.permit_id"
    " WHERE r.facility_id = %s ORDER BY r.name",
    r=Part("retort_log.Retort"),
    p=Part("chain_of_custody.Place"),
    t=Part("retort_log.PermitToOperate"),
)


def _today(request: StaffRequest) -> date:
    return timezone.localtime(clock.now(), request.facility.zone).date()


@require_safe
def house(request: StaffRequest) -> HttpResponse:
    """The facility, the rules it works under, its machines and its staff."""
    house = request.facility
    about = repr((house.name, house.address, house.telephone, house.licence_number,
                  house.get_units_display(), house.log_origin, house.jurisdiction,
                  house.added_rules))  # fmt: skip
    shown = Kept(request).part("cases/_house.html", lambda: _shown(request), about)
    is_manager = Role.MANAGER in request.user.roles
    return render(request, "cases/house.html", {"shown": shown, "is_manager": is_manager})


def _shown(request: StaffRequest) -> dict[str, Any]:
    facility, today = request.facility, _today(request)
    rules = house_rules.rules_of(facility)
    return {
        "law": rules,
        "wait": wait_words(rules),
        "added": house_rules.standing(facility),
        "documents": [(law.paper_words(d.kind), d.citation) for d in rules.documents],
        "check_locally": law.CHECK_LOCALLY,
        "retorts": list(_retorts(facility.pk, today)),
        "staff": [(m, staff_forms.is_expired(m.certificate_expires_on, today))
                  for (m,) in _STAFF(facility.pk)],
        "is_manager": Role.MANAGER in request.user.roles,
    }  # fmt: skip


def _retorts(facility: int, today: date) -> Iterator[tuple[Retort, bool]]:
    """Yield each retort, and whether its permit has expired."""
    for retort, place, permit in _RETORTS(facility):
        retort.place, retort.permit = place, permit
        yield retort, staff_forms.is_expired(permit.expires_on, today)


@sensitive_post_parameters(*SECRETS)
@require_http_methods(WRITES)
def my_pin(request: StaffRequest) -> HttpResponse:
    """Everybody changes the own signing PIN here; the current one must be known."""
    form = staff_forms.OwnPinForm(request.POST or None)

    def change(signed_by: Signature, stated: dict[str, Any]) -> None:
        staffing.change_own_pin(signed_by, stated["pin"])

    act = "staff.change_own_pin"
    if request.method == "POST" and done(request, form, act, change, to_choose_own=True):
        messages.success(request, "Your PIN is changed. Sign with the new one from now on.")
        return redirect("house")
    return form_page(request, form, "Change my PIN", "Change my PIN")


@sensitive_post_parameters(*SECRETS)
@require_http_methods(WRITES)
def add_member(request: StaffRequest) -> HttpResponse:
    """A manager adds a member."""
    need_role(request, Role.MANAGER)
    form = staff_forms.MemberForm(
        request.POST or None, facility=request.facility, initial=_kept(request)
    )

    def add(signed_by: Signature, stated: dict[str, Any]) -> None:
        staffing.add(signed_by, form.new_member())

    if request.method == "POST" and done(request, form, "staff.add", add):
        name = form.cleaned_data["printed_name"]
        messages.success(
            request, f"{name} is added, and chooses an own password and PIN at the first sign-in."
        )
        return redirect("house")
    return form_page(request, form, "Add a member", "Add this member")


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
        "The new PIN is given. It signs nothing until this member has chosen an own one.",
    ),
    "password": (
        staff_forms.PasswordForm,
        "Give a new password",
        lambda s, m, f: staffing.give_password(s, m, f["password"]),
        "The new password is given: this member chooses an own one right after signing in. "
        "Open sessions of this member have ended.",
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


TRAIL_NAMES = {
    "certificate": "renew_certificate",
    "pin": "give_pin",
    "password": "give_password",
}


@sensitive_post_parameters(*SECRETS)
@require_http_methods(WRITES)
def member_act(request: StaffRequest, code: str, act: str) -> HttpResponse:
    """One change to one member."""
    need_role(request, Role.MANAGER)
    if act not in ACTS:
        raise Http404
    subject = _member(request, code)
    form_class, _title, change, said = ACTS[act]
    if request.method != "POST":
        if not (kept := pop_kept(request)):
            return redirect("member", code=code)
        shown = form_class(prefix=act)
        shown.initial.update(typed_in(shown, kept))
        return _member_page(request, subject, {act: shown})
    form = form_class(request.POST, prefix=act)
    name = f"staff.{TRAIL_NAMES.get(act, act)}"
    if done(request, form, name, lambda signed_by, stated: change(signed_by, subject, stated)):
        messages.success(request, said)
        return redirect("member", code=code)
    return _member_page(request, subject, {act: form}, status=422)


def _kept(request: StaffRequest) -> dict[str, Any]:
    """What was typed on this page before the session ended; given back once."""
    kept = pop_kept(request)
    return {n: v if n == "roles" else v[-1] for n, v in kept.lists() if v} if kept else {}


def _member(request: StaffRequest, code: str) -> StaffMember:
    return get_object_or_404(StaffMember, facility=request.facility, staff_code=code)


def done(
    request: StaffRequest,
    form: forms.Form,
    act: str,
    change: Callable[[Signature, dict[str, Any]], None],
    *,
    to_choose_own: bool = False,
) -> bool:
    """Sign and make the change; what stands against it becomes an error of the form."""
    if not form.is_valid():
        return False
    stated = dict(form.cleaned_data)
    for again in ("pin_again", "password_again"):
        stated.pop(again, None)
    try:
        pin, code = stated.pop("own_pin"), request.user.staff_code
        change(sign(request.facility, code, pin, to_choose_own=to_choose_own), stated)
    except SignatureRefused as refusal:
        record_bad_signature(request.facility, act, refusal)
        form.add_error("own_pin", refusal.text)
    except ActRefused as refusal:
        form.add_error(None, refusal.text)
    except ValidationError as error:
        add_errors(form, error)
    else:
        return True
    return False


def add_errors(form: forms.Form, error: ValidationError) -> None:
    """Put each message beside its field, or above the form where it has none."""
    by_field = error.message_dict if hasattr(error, "error_dict") else {"": error.messages}
    for name, texts in by_field.items():
        for text in texts:
            form.add_error(name if name in form.fields else None, text)


def form_page(request: StaffRequest, form: forms.Form, title: str, button: str) -> HttpResponse:
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
