"""What happened at a machine: entered with one tap or a few words, or signed."""

from datetime import datetime

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from cases.forms.base import new_token
from cases.forms.happened import BUTTONS, EventForm, SignedEventForm
from cases.one_machine import one_machine
from cases.overview import Machine
from cases.views.answering import open_form, pop_kept, record_bad_signature
from cases.views.requests import StaffRequest, need_role
from cases.views.sent import recorded, refused
from crematory import clock
from crematory.middleware import wants_json
from crematory.models import Role
from crematory.signatures import SignatureRefused
from retort_log.acts import READERS
from retort_log.events import EventRefused, Stated, record_event
from retort_log.models import RunEvent
from retort_log.run_life import BY_MANAGER, SIGNED

BY_PERSON = ("reading_role", "event_manager")


@require_http_methods(["GET", "HEAD", "POST"])
def event(request: StaffRequest, code: str) -> HttpResponse:
    """Record what happened; without a form that was sent, ask for something of earlier."""
    need_role(request, *READERS)
    machine = one_machine(request.facility, code, clock.now())
    form = _form(request)
    status = 200
    if form.is_bound:
        status = _record(request, machine, form)
        if status == 302:
            told = _told(form.cleaned_data["kind"], machine)
            if wants_json(request):
                return recorded(told)
            messages.success(request, told)
            return redirect("machine", code=code)
        if wants_json(request):
            return refused(form.reasons(), status)
    form.mark_fields()
    context = {"form": form, "machine": machine, "nav_here": "machine"}
    return render(request, "cases/event.html", context, status=status)


def _form(request: StaffRequest) -> EventForm:
    """The form with what was sent, with what was kept when the session had ended, or empty."""
    if request.method == "POST":
        return EventForm(request.POST)
    kept = pop_kept(request)
    return EventForm(initial={"token": new_token(), **(kept.dict() if kept else {})})


def _record(request: StaffRequest, machine: Machine, form: EventForm) -> int:
    """Record the event, or put the reason on the form; return the HTTP status."""
    if not form.is_valid():
        return 422
    said = form.cleaned_data
    token = said["token"]
    at = form.moment() or _when_first(machine, token) or clock.now()
    stated = Stated(said["kind"], at, said["note"], said["opacity"], token)
    try:
        record_event(machine.retort, stated, request.user)
    except EventRefused as refusal:
        form.refuse(refusal)
        return 403 if refusal.code in BY_PERSON else 422
    return 302


def _when_first(machine: Machine, token: str) -> datetime | None:
    """A form that says "now" and is sent twice means the first time."""
    if not token:
        return None
    first = RunEvent.objects.filter(retort=machine.retort, token=token)
    return first.values_list("at", flat=True).first()


def _told(kind: str, machine: Machine) -> str:
    return f"{machine.retort.name}: {RunEvent.Kind(kind).label.lower()}, recorded."


@require_http_methods(["GET", "HEAD", "POST"])
def signed_event(request: StaffRequest, code: str, kind: str) -> HttpResponse:
    """Record an event that changes what may come next; signed by code and PIN."""
    kind = kind.replace("-", "_")
    machine = one_machine(request.facility, code, clock.now())
    if kind not in SIGNED or machine.case is None:
        raise Http404
    form = open_form(
        request, SignedEventForm, facility=request.facility, kind=kind, person=_person(machine)
    )
    status = 200
    if form.is_bound:
        status = _sign(request, machine, kind, form)
        if status == 302:
            messages.success(request, _told(kind, machine))
            return redirect("machine", code=code)
        form.focus_on_error()
    roles = {Role.MANAGER} if kind in BY_MANAGER else READERS
    context = {
        "form": form,
        "machine": machine,
        "case": machine.case,
        "kind": kind,
        "heading": BUTTONS[kind],
        "machine_code": code,
        "signers_else": "" if request.user.roles & roles else _signers(roles),
        "nav_here": "machine",
    }
    return render(request, "cases/signed_event.html", context, status=status)


def _signers(roles: frozenset[Role] | set[Role]) -> str:
    return " or ".join(sorted(role.label for role in roles))


def _person(machine: Machine) -> str:
    case = machine.case
    assert case is not None
    return f"{case.decedent_name}, case {case.number}, disc {case.disc.number}"


def _sign(request: StaffRequest, machine: Machine, kind: str, form: SignedEventForm) -> int:
    """Record the event, or put the reason on the form; return the HTTP status."""
    if not form.is_valid():
        return 422
    said, token = form.cleaned_data, form.token_sent
    at = said["at"] or _when_first(machine, token) or clock.now()
    try:
        record_event(machine.retort, Stated(kind, at, said["note"], (), token), form.signer())
    except EventRefused as refusal:
        form.refuse(refusal)
        return 403 if refusal.code in BY_PERSON else 422
    except SignatureRefused as refusal:
        form.add_error(form.refused_at, str(refusal))
        about = {"retort": machine.retort.place.code, "kind": kind}
        record_bad_signature(request.facility, "run_event", refusal, about=about)
        return 403
    return 302
