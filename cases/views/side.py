"""The acts beside the steps, one view each."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from cases import acts, device_rules, law_questions, radiation
from cases.corrections import correct as correct_value
from cases.errors import ActRefused
from cases.forms import side as forms
from cases.forms.base import WritingForm
from cases.forms.devices import DevicesForm
from cases.identity import IDENTITY
from cases.law import CHECK_LOCALLY, not_asking
from cases.models import Case
from cases.selectors import case_or_404, correctable_values
from cases.steps import BEFORE_CHARGE
from cases.views.answering import AGAIN_TEXT, Page, answer, fill, open_form, pop_kept, refuse
from cases.views.requests import StaffRequest
from chain_of_custody.models import CustodyEntry, open_placement
from crematory import clock


@require_http_methods(["GET", "POST"])
def announce(request: StaffRequest) -> HttpResponse:
    """A new case: a person who is expected."""
    facility = request.facility
    form = open_form(request, forms.AnnounceForm, facility=facility)
    status, before = 200, None
    if request.method == "POST" and (earlier := _announced_with(request)):
        messages.info(request, AGAIN_TEXT)
        return redirect("cases:case", number=earlier.number)
    if request.method == "POST" and form.is_valid():
        try:
            case = acts.announce(facility, request.user, form.token_sent, **form.stated())
            messages.success(request, f"{case.decedent_name} is announced as case {case.number}.")
            return redirect("cases:case", number=case.number)
        except (ActRefused, ValidationError) as refusal:
            status = refuse(None, form, "announce", refusal)
            if getattr(refusal, "code", "") == "announced_before":
                form.is_asked_again = True
                said = form.cleaned_data
                before = acts.announced_before(facility, said["decedent_name"], said["born_on"])
    elif form.is_bound:
        status = 422
    context = {"form": form, "before": before}
    return render(request, "cases/announce.html", context, status=status)


def _announced_with(request: StaffRequest) -> Case | None:
    """Return the case that this very form has announced before: it was sent again, or gone back."""
    token = request.POST.get("token", "")
    entries = CustodyEntry.objects.filter(facility=request.facility, act="announce", token=token)
    entry = entries.select_related("case").first() if token.isprintable() and token else None
    return entry.case if entry else None


def _add(
    request: StaffRequest,
    number: str,
    form_class: type[WritingForm],
    act: Callable[..., Any],
    page: Page,
) -> HttpResponse:
    """Show what the case holds of one kind, and record one more."""
    case = case_or_404(request, number)
    form = open_form(request, form_class, facility=case.facility)
    return answer(
        request,
        case,
        form,
        page,
        lambda: act(case, request.user, form.token_sent, **form.stated()),
    )


@require_http_methods(["GET", "POST"])
def documents(request: StaffRequest, number: str) -> HttpResponse:
    """Papers on file, and one more."""
    page = Page("cases/documents.html", "file_document", "The paper is on file.")
    return _add(request, number, forms.DocumentForm, acts.file_document, page)


@require_http_methods(["GET", "POST"])
def recipients(request: StaffRequest, number: str) -> HttpResponse:
    """Who may receive the remains, and one more."""
    page = Page("cases/recipients.html", "name_recipient", "The recipient is named.")
    return _add(request, number, forms.RecipientForm, acts.name_recipient, page)


@require_http_methods(["GET", "POST"])
def settle(request: StaffRequest, number: str) -> HttpResponse:
    """The open questions of the authorization."""
    case = case_or_404(request, number)
    form = open_form(request, forms.SettleForm, case=case)

    def act() -> Any:
        if changes := form.changes():
            acts.settle(case, request.user, form.token_sent, **changes)

    context = {"law_asks": law_questions.has_any(case.law)}
    page = Page("cases/settle.html", "settle", "The answers are recorded.", context)
    return answer(request, case, form, page, act)


@require_http_methods(["GET", "POST"])
def devices(request: StaffRequest, number: str) -> HttpResponse:
    """Every device question at once; what changed is recorded together, or nothing is."""
    case = case_or_404(request, number)
    form = open_form(request, DevicesForm, case=case)

    def act() -> None:
        if answers := form.answers():
            acts.answer_devices(
                case,
                request.user,
                form.token_sent,
                answers,
                signed_by=form.signature(),
                why=form.cleaned_data.get("why", ""),
                shown=form.seen_sent,
            )

    def anew(data: QueryDict | None) -> tuple[DevicesForm, dict[str, Any]]:
        found = case_or_404(request, number)
        return DevicesForm(data, case=found), {"case": found, **_beside_devices(found)}

    page = Page(
        "cases/devices.html",
        "answer_device",
        "The answers are recorded.",
        _beside_devices(case),
        anew=anew,
    )
    return answer(request, case, form, page, act)


def _beside_devices(case: Case) -> dict[str, Any]:
    """Return what the page of device questions shows beside its form."""
    return {
        "law_lines": device_rules.told(case.law),
        "devices_citation": not_asking(case.law.devices_citation),
        "radioactive_citation": not_asking(case.law.radioactive_citation),
        "check_locally": CHECK_LOCALLY,
        "radiation": radiation.shown(case, clock.now()),
    }


@require_http_methods(["GET", "POST"])
def band(request: StaffRequest, number: str) -> HttpResponse:
    """Compare the identity band again, by two persons."""
    case = case_or_404(request, number)
    form = open_form(request, forms.BandForm, facility=case.facility)
    page = Page("cases/band.html", "compare_band", "The identity band was compared and agrees.")
    return answer(
        request,
        case,
        form,
        page,
        lambda: acts.compare_band(
            case,
            form.signer(),
            form.signature("witness"),
            form.token_sent,
            form.cleaned_data["band_reads"],
            form.band_date(),
        ),
    )


@require_http_methods(["GET", "POST"])
def move(request: StaffRequest, number: str) -> HttpResponse:
    """Move the person to another place of the same kind."""
    case = case_or_404(request, number)
    placement = open_placement(case)
    current = placement.place if placement else None
    form = open_form(request, forms.MoveForm, case=case, current=current)
    page = Page("cases/move.html", "move", "The move is recorded.", {"current": current})
    return answer(
        request,
        case,
        form,
        page,
        lambda: acts.move_person(case, form.signer(), form.token_sent, **form.stated()),
    )


@require_http_methods(["GET", "POST"])
def correct(request: StaffRequest, number: str) -> HttpResponse:
    """Choose a value that was stated wrongly; then correct it."""
    case = case_or_404(request, number)
    values = correctable_values(case)
    kept = pop_kept(request)
    chosen = request.POST.get("field") or (kept or request.GET).get("field", "")
    if chosen not in values:
        mine = {name for name, stated in values.items() if stated.roles & request.user.roles}
        context = {"case": case, "values": values, "mine": mine}
        return render(request, "cases/correct_choose.html", context)
    form = fill(request, forms.CorrectForm, kept, facility=case.facility, field=chosen)
    page = Page(
        "cases/correct.html",
        "correct",
        "The correction is recorded. Papers printed from the old value are marked superseded.",
        {"old": values[chosen], "chosen": chosen, "band": _band(case, chosen)},
    )
    return answer(request, case, form, page, lambda: _correct(case, form))


def _band(case: Case, field: str) -> str:
    """Say whether a correction of the field calls for the identity band: "before" the charge."""
    if field not in IDENTITY or case.stage in ("expected", "returned"):
        return ""
    return "before" if case.stage in BEFORE_CHARGE else "after"


def _correct(case: Case, form: forms.CorrectForm) -> None:
    data = form.cleaned_data
    correct_value(case, form.signer(), form.token_sent, data["field"], data["value"], data["why"])
