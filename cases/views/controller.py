"""The controller of a retort: how it answers, for all; and a manager's form to state it."""

from collections.abc import Iterable, Mapping
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from cases.forms.base import typed_in
from cases.forms.controller import ControllerForm
from cases.forms.loggers import channel_words
from cases.selectors import retort_or_404
from cases.views.answering import pop_kept
from cases.views.house import done
from cases.views.requests import StaffRequest, need_role
from crematory import clock
from crematory.models import Role
from crematory.signatures import Signature
from retort_log import controllers, live
from retort_log.controllers import ControllerRefused
from retort_log.logger_units import unit_words
from retort_log.modbus.asking import Asker, NoAnswer, Tried
from retort_log.modbus.registers import ChannelError, RegisterChannel, channels_of
from retort_log.models import Controller, ControllerState, Retort


@sensitive_post_parameters("own_pin")
@require_http_methods(["GET", "HEAD", "POST"])
def controller(request: StaffRequest, code: str) -> HttpResponse:
    """How the controller answers; a manager states it, or asks it once without storing."""
    retort = retort_or_404(request, code)
    row = Controller.objects.filter(retort=retort).select_related("state").first()
    if request.method == "POST":
        need_role(request, Role.MANAGER)
    form, tried, trouble = _form(request, row), None, ""
    if form.is_bound and request.POST.get("do") == "ask":
        tried, trouble = _ask(form)
    elif form.is_bound and done(request, form, controllers.ACT, _change(retort, form)):
        messages.success(request, f"The controller of {retort.name} is stated.")
        return redirect("cases:controller", code=code)
    is_wrong = form.is_bound and (tried is None or bool(form.errors))
    context = {
        "retort": retort,
        "controller": row,
        "form": form,
        "is_manager": Role.MANAGER in request.user.roles,
        "tried": tried,
        "trouble": trouble,
        "nav_here": "machine",
        **_standing(row),
    }
    return render(request, "cases/controller.html", context, status=422 if is_wrong else 200)


def _change(retort: Retort, form: ControllerForm) -> Any:
    def change(signed_by: Signature, stated: dict[str, Any]) -> None:
        try:
            controllers.state(retort, signed_by, form.stated())
        except ControllerRefused as refusal:
            raise ValidationError(refusal.text) from refusal

    return change


def _form(request: StaffRequest, row: Controller | None) -> ControllerForm:
    channels = {channel.name: channel for channel in _channels(row)}
    if request.method == "POST":
        is_trial = request.POST.get("do") == "ask"
        return ControllerForm(request.POST, stands=row, channels=channels, is_trial=is_trial)
    form = ControllerForm(stands=row, channels=channels)
    if kept := pop_kept(request):
        for part in (form, *form.channels):
            part.initial.update(typed_in(part, kept))
    return form


def _channels(row: Controller | None) -> Iterable[RegisterChannel]:
    try:
        return channels_of(row.channels) if row else ()
    except ChannelError:  # stated by an earlier form of the program
        return ()


def _ask(form: ControllerForm) -> tuple[list[dict[str, Any]] | None, str]:
    """Ask each channel once; return what came, or the trouble. Nothing is stored."""
    if not form.is_valid():
        return None, ""
    stated = form.stated()
    try:
        controllers.check(stated)
    except ControllerRefused as refusal:
        form.add_error(None, refusal.text)
        return None, ""
    try:
        with Asker(stated.host, stated.port, stated.device_id, stated.channels) as asker:
            return [_told(one) for one in asker.try_out()], ""
    except NoAnswer as silence:
        return [], str(silence)


def _told(tried: Tried) -> dict[str, Any]:
    return {
        "name": channel_words(tried.channel.name),
        "registers": [f"{one} (0x{one:04X})" for one in tried.registers],
        "value": _value(tried.tenths, tried.channel.unit),
        "trouble": tried.trouble,
    }


def _value(tenths: int | None, unit: str) -> str:
    return "no value" if tenths is None else f"{tenths / 10:,.1f} {unit_words(unit)}"


def _standing(row: Controller | None) -> dict[str, Any]:
    """How it answers now: its last answer, its trouble, and whether anybody asks at all."""
    state: ControllerState | None = getattr(row, "state", None)
    if row is None or not row.is_on:
        return {"state": state, "values": _values(state.values) if state else []}
    now = clock.now()
    return {
        "state": state,
        "values": _values(state.values) if state else [],
        "is_silent": live.is_silent(state, now),
        "nobody_asks": state is None or now - state.asked_at > live.SILENT_AFTER,
    }


def _values(values: Mapping[str, int | None]) -> list[tuple[str, str]]:
    parts = ((*key.partition(" "), tenths) for key, tenths in values.items())
    return [(channel_words(name), _value(tenths, unit)) for name, _, unit, tenths in parts]
