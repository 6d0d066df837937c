"""At the machine: who is inside, the temperatures, and the one thing to do next."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.cache import patch_vary_headers
from django.utils.safestring import SafeString
from django.views.decorators.http import require_http_methods, require_safe

from cases import holds, overview, waits
from cases.doubt_words import question
from cases.forms.happened import BUTTONS, ONE_TAP
from cases.forms.machine import CorrectReadingForm, ReadingForm
from cases.gates import GATES, REFUSED, Situation, Verdict, ask_all, labels
from cases.heat import temperatures
from cases.heavy import is_heavy
from cases.models import Case, Hold
from cases.one_machine import last_readings, one_machine
from cases.overview import Machine
from cases.steps import STEPS, Step
from cases.views.answering import open_form, record_bad_signature
from cases.views.kept import UNTIL, Kept, first_change
from cases.views.requests import StaffRequest, need_role, signers_else, units_of
from cases.views.sent import clock_words, recorded, refused, tell_time
from crematory import clock
from crematory.middleware import KEPT_SESSION_KEY, wants_json
from crematory.signatures import SignatureRefused
from retort_log.acts import READERS, ReadingDoubted, ReadingRefused, record_reading
from retort_log.corrections import correct_reading
from retort_log.models import Reading, Retort
from retort_log.run_life import kinds_in
from retort_log.run_records import warnings_of
from retort_log.selectors import standing

CHARGE = STEPS["charge"]
# Of the gates of a charge these ask the retort alone, and these the person alone.
RETORT_GATES = (
    "retort_free",
    "retort_fit",
    "upkeep_current",
    "permitted_hours",
    "charging_temperature",
)
PERSON_GATES = ("waiting_period", "mass_limit", "label_scanned")
CANDIDATES = 8
EVENTS = 8
# How often a page asks for news, in seconds; and where a controller writes meanwhile.
EVERY_S, LIVE_EVERY_S = 15, 5
LIVE, FORM = "cases/_machine_live.html", "cases/_reading_form.html"


@dataclass(frozen=True)
class Candidate:
    """A tagged person who could be charged here; `refusals` say what still stands against it."""

    case: Case
    refusals: list[Verdict]
    is_heavy: bool = False


@require_safe
def machines(request: StaffRequest) -> HttpResponse:
    """All retorts side by side."""
    shown = Kept(request).part("cases/_machines.html", lambda: _blocks(request))
    if request.htmx:  # type: ignore[attr-defined]
        response = HttpResponse(shown)
    else:
        response = render(
            request, "cases/machines.html", {"machines": shown, "clock": clock_words()}
        )
    return _of_now(response)


def _blocks(request: StaffRequest) -> dict[str, Any]:
    now = clock.now()
    found = overview.with_life(overview.machines(request.facility, now), now)
    units = units_of(request)
    blocks = [
        {"machine": machine, "temperatures": temperatures(machine, units)} for machine in found
    ]
    return {"blocks": blocks, "every_s": _every_s(found), UNTIL: overview.next_change(found, now)}


def _every_s(found: Iterable[Machine]) -> int:
    return LIVE_EVERY_S if any(m.recorders and m.recorders.wire for m in found) else EVERY_S


def _of_now(response: HttpResponse) -> HttpResponse:
    tell_time(response)
    patch_vary_headers(response, ["HX-Request", "HX-Target"])
    return response


@require_safe
def machine(request: StaffRequest, code: str) -> HttpResponse:
    """One retort. The part that changes by itself is asked for again every 15 seconds."""
    if not request.htmx:  # type: ignore[attr-defined]
        return _of_now(_whole(request, code, _typed(request)))
    kept, now = Kept(request), cache(lambda: _now(request, code))
    if request.htmx.target == "readings":  # type: ignore[attr-defined]
        return _of_now(HttpResponse(_readings(kept, request, code, now)))
    return _of_now(HttpResponse(kept.part(LIVE, now, code)))


@require_http_methods(["GET", "HEAD", "POST"])
def reading(request: StaffRequest, code: str) -> HttpResponse:
    """Store a reading; a second submission of the same values is answered with the first."""
    if request.method != "POST":
        return redirect("machine", code=code)
    retort = _retort_or_404(request, code)
    need_role(request, *READERS)
    form = ReadingForm(units_of(request), request.POST)
    if form.is_valid():
        try:
            _store(request, retort, form)
        except ReadingRefused as refusal:
            form.refuse(refusal, _question(request, refusal))
        else:
            return _recorded(request, retort)
    if wants_json(request):
        html = render_to_string(FORM, _form_parts(request, code, form), request)
        return refused(form.reasons(), 422, html, form.confirmation())
    return _whole(request, code, form, status=422)


def _recorded(request: StaffRequest, retort: Retort) -> HttpResponse:
    told, code = f"Reading of {retort.name} recorded.", retort.place.code
    if wants_json(request):
        html = Kept(request).form(FORM, lambda: _form_parts(request, code), code)
        return recorded(told, html)
    messages.success(request, told)
    return redirect("machine", code=code)


def _store(request: StaffRequest, retort: Retort, form: ReadingForm) -> None:
    stated = form.cleaned_data
    record_reading(
        retort,
        request.user,
        stated["primary"],
        stated["secondary"],
        form.moment(),
        is_confirmed=form.has_confirmed(),
    )


@require_http_methods(["GET", "HEAD", "POST"])
def correct(request: StaffRequest, code: str, pk: int) -> HttpResponse:
    """Put a reading right or withdraw it, signed by an operator or a manager."""
    retort = _retort_or_404(request, code)
    row = get_object_or_404(
        Reading.objects.select_related("read_by", "retort__facility", "retort__place"),
        retort=retort,
        pk=pk,
    )
    stands = standing([row])[0]
    form = open_form(request, CorrectReadingForm, facility=request.facility, stands=stands)
    status = 200
    if form.is_bound:
        status = _correct(request, row, form)
        if status == 302:
            messages.success(request, f"The reading of {retort.name} is corrected.")
            return redirect("machine", code=code)
    form.mark_fields()
    context = {"form": form, "retort": retort, "row": stands, "nav_here": "machine"}
    return render(request, "cases/correct_reading.html", context, status=status)


def _correct(request: StaffRequest, row: Reading, form: CorrectReadingForm) -> int:
    """Correct the reading, or put the reason on the form; return the HTTP status."""
    try:
        if not form.is_valid():
            return 422
        correct_reading(row, form.signer(), form.cleaned_data["why"], form.right())
    except ReadingRefused as refusal:
        form.refuse(refusal, _question(request, refusal))
        return 403 if refusal.code == "reading_role" else 422
    except SignatureRefused as refusal:
        form.add_error(form.refused_at, str(refusal))
        about = {"retort": row.retort.place.code}
        record_bad_signature(request.facility, "correct_reading", refusal, about=about)
        return 403
    return 302


def _question(request: StaffRequest, refusal: ReadingRefused) -> str:
    return question(refusal, units_of(request)) if isinstance(refusal, ReadingDoubted) else ""


def _retort_or_404(request: StaffRequest, code: str) -> Retort:
    return get_object_or_404(
        Retort.objects.select_related("facility", "place"),
        facility=request.facility,
        place__code=code,
    )


def _typed(request: StaffRequest) -> ReadingForm | None:
    """The form with what was typed when the session had ended; given back once."""
    kept = request.session.get(KEPT_SESSION_KEY)
    match = request.resolver_match
    if not kept or match is None or kept["path"] != reverse("cases:reading", kwargs=match.kwargs):
        return None
    del request.session[KEPT_SESSION_KEY]
    typed = {name: values[-1] for name, values in kept["data"].items() if values}
    form = ReadingForm(units_of(request), initial=typed)
    form.is_kept = bool(typed)
    return form


def _whole(
    request: StaffRequest, code: str, form: ReadingForm | None = None, status: int = 200
) -> HttpResponse:
    """The page with this form; an empty one is kept."""
    kept, may_read = Kept(request), bool(request.user.roles & READERS)
    now = cache(lambda: _now(request, code))

    context = {
        "title": kept.words("machine", lambda: now()["machine"].retort.name, code),
        "live": kept.part(LIVE, now, code),
        "readings": _readings(kept, request, code, now),
        "form": form and _marked(form),
        "may_read": may_read,
        "code": code,
        "clock": clock_words(),
    }
    if may_read:
        context["happened"] = kept.form("cases/_happened.html", lambda: _kinds(code), code)
    if form is None and may_read:
        context["empty_form"] = kept.form(FORM, lambda: _form_parts(request, code), code)
    return render(request, "cases/machine.html", context, status=status)


def _readings(
    kept: Kept, request: StaffRequest, code: str, now: Callable[[], dict[str, Any]]
) -> SafeString:
    def readings() -> dict[str, Any]:
        here: Machine = now()["machine"]
        may_read = bool(request.user.roles & READERS)
        return {"may_read": may_read, "machine": here, "readings": last_readings(here.retort)}

    return kept.part("cases/_readings.html", readings, code)


def _form_parts(
    request: StaffRequest, code: str, form: ReadingForm | None = None
) -> dict[str, Any]:
    return {"form": _marked(form or ReadingForm(units_of(request))), "code": code}


def _kinds(code: str) -> dict[str, Any]:
    """The forms behind the buttons of what happened; which are offered says the phase."""
    return {"code": code, "one_tap": [(kind, BUTTONS[kind]) for kind in ONE_TAP]}


def _marked(form: ReadingForm) -> ReadingForm:
    form.mark_fields()
    return form


def _now(request: StaffRequest, code: str) -> dict[str, Any]:
    now = clock.now()
    here = one_machine(request.facility, code, now)
    context: dict[str, Any] = {
        "machine": here,
        "temperatures": temperatures(here, units_of(request)),
        "may_read": bool(request.user.roles & READERS),
        "buttons": [(k, BUTTONS[k]) for k in kinds_in(here.phase) if k in ONE_TAP],
        "events": list(reversed(here.life.events))[:EVENTS] if here.life else [],
        "every_s": _every_s([here]),
        "signers_else": signers_else(request, here.next_step or CHARGE),
    }
    if here.case and here.next_step:
        context |= _inside(here, here.case, here.next_step, now)
        context["early"] = warnings_of(here.run, now) if here.run else ()
    else:
        context |= _candidates(request, here, now)
    return context | {UNTIL: _changes_at(context, now)}


def _changes_at(context: dict[str, Any], now: datetime) -> datetime | None:
    """When time alone changes what is shown; at once where the gates look at what comes in."""
    here: Machine = context["machine"]
    if here.is_overdue or (here.recorders and here.recorders.has_controller):
        return now
    refusals = (v for candidate in context.get("candidates", ()) for v in candidate.refusals)
    verdicts = (verdict.passes_at for verdict in (*context["gates"], *refusals))
    return first_change([*here.changes_at(), *verdicts])


def _inside(here: Machine, case: Case, step: Step, now: datetime) -> dict[str, Any]:
    """What the gates say of the next step of the person inside."""
    gates = ask_all(Situation(case=case, step=step, now=now, retort=here.retort))
    is_held = any(v.gate == "no_hold" and v.state == REFUSED for v in gates)
    return {
        "gates": gates,
        "is_refused": any(v.state == REFUSED for v in gates),
        "meanwhile": holds.meanwhile(case.stage) if is_held else "",
    }


def _candidates(request: StaffRequest, here: Machine, now: datetime) -> dict[str, Any]:
    """Tagged persons, longest wait first, and what stands against charging each of them here.

    A gate that asks the retort gives one answer for all; holds are read for all at once, so
    that the number of queries does not grow with the persons.
    """
    tagged = overview.open_cases(request.facility).filter(stage="tagged")
    rows = tagged.select_related("disc", "delivery").prefetch_related(labels.FETCH, *waits.FETCHED)
    longest = rows.order_by("stage_since")[: CANDIDATES + 1]
    cases = overview.with_facility(longest, request.facility)
    held = set(
        Hold.objects.filter(case__in=cases, lifted_at__isnull=True).values_list("case", flat=True)
    )
    candidates = [_candidate(case, case.pk in held, here, now) for case in cases[:CANDIDATES]]
    return {
        "gates": _ask(RETORT_GATES, cases[0], here, now) if cases else [],
        "candidates": candidates,
        "has_more_candidates": len(cases) > CANDIDATES,
    }


def _candidate(case: Case, is_held: bool, here: Machine, now: datetime) -> Candidate:
    verdicts = _ask(PERSON_GATES, case, here, now)
    if is_held:
        verdicts.insert(
            0, Verdict("no_hold", "No hold", REFUSED, "On hold: a manager must lift it first.")
        )
    refusals = [v for v in verdicts if v.state == REFUSED]
    return Candidate(case, refusals, is_heavy(case, here.retort))


def _ask(names: tuple[str, ...], case: Case, here: Machine, now: datetime) -> list[Verdict]:
    situation = Situation(case=case, step=CHARGE, now=now, retort=here.retort)
    return [GATES[name](situation) for name in names]
