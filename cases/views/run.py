"""The page of a run: its chart, what was found on its record, and a manager's answers."""

from django.contrib import messages
from django.http import Http404, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.cache import patch_vary_headers
from django.views.decorators.http import require_http_methods, require_safe

from cases import run_page, run_told
from cases.errors import ActRefused
from cases.forms.run import SettleFindingForm
from cases.models import Case
from cases.roles import WHO
from cases.run_told import Seen
from cases.selectors import case_or_404
from cases.views.answering import Page, answer, open_form
from cases.views.requests import StaffRequest, need_role
from crematory import clock
from retort_log import chart as drawing
from retort_log import settling
from retort_log.finding import symbol
from retort_log.models import FindingSettled, Run


@require_safe
def run(request: StaffRequest, number: str) -> HttpResponse:
    """Show a run; the part that changes by itself is asked for again while it is open."""
    case, here = _run_or_404(request, number)
    now = clock.now()
    if request.htmx:  # type: ignore[attr-defined]
        part = run_page.now_part(case, here, Seen.of(here, now), now)
        response = render(request, "cases/_run_now.html", part)
    else:
        context = run_page.run_page(case, here, now, request.user)
        response = render(request, "cases/run.html", context)
    patch_vary_headers(response, ["HX-Request"])
    return response


@require_safe
def chart(request: StaffRequest, number: str) -> HttpResponse:
    """Answer with the columns of the chart, in the facility's unit and zone."""
    _, here = _run_or_404(request, number)
    shown = _chart(here)
    told = {
        **drawing.for_screen(shown),
        "unit": symbol(shown.unit),
        "zone": request.facility.time_zone,
        "charged_at": here.charged_at.timestamp(),
        "burner_off_at": here.burner_off_at.timestamp() if here.burner_off_at else None,
        "is_over": here.ended_at is not None,
    }
    return JsonResponse(told, json_dumps_params={"allow_nan": False, "separators": (",", ":")})


@require_safe
def picture(request: StaffRequest, number: str) -> HttpResponse:
    """Answer with the chart as a drawing: for browsers without scripts."""
    _, here = _run_or_404(request, number)
    return HttpResponse(drawing.svg(_chart(here)), content_type="image/svg+xml")


@require_http_methods(["GET", "HEAD", "POST"])
def settle(request: StaffRequest, number: str, digest: str) -> HttpResponse:
    """A manager answers one finding, with a reason and the PIN."""
    need_role(request, *WHO["settle_finding"])
    case, here = _run_or_404(request, number)
    there = {one.digest: one for one in settling.found_of(here, clock.now())}
    found = there.get(digest)
    back = reverse("cases:run", args=[case.number])
    if request.method != "POST" and (found is None or not found.is_open or found.is_growing):
        words = _why_not(found)
        messages.info(request, f"{words} What is found stands below.")
        return redirect(back)
    form = open_form(request, SettleFindingForm, facility=request.facility)
    told = run_told.told_of([found])[0] if found else None
    page = Page(
        "cases/settle_finding.html",
        "settle_finding",
        "The finding is settled.",
        {"run": here, "one": told},
        back=back,
    )
    return answer(request, case, form, page, lambda: _settle(here, digest, form))


def _why_not(found: settling.Found | None) -> str:
    if found is None:
        return "This is not what the record shows now."
    return "This is settled." if found.settled else "This still goes on: settle it later."


def _settle(here: Run, digest: str, form: SettleFindingForm) -> FindingSettled:
    """Settle; a refusal is shown as that of any other act. The act has recorded it already."""
    try:
        return settling.settle(here, digest, form.signer(), form.cleaned_data["reason"])
    except settling.SettlingRefused as refusal:
        raise ActRefused(refusal.code, refusal.text) from refusal


def _chart(here: Run) -> drawing.Chart:
    seen = Seen.of(here, clock.now())
    told = run_told.happenings(here, run_told.entries_of(here))
    return run_told.chart_of(seen, told)


def _run_or_404(request: StaffRequest, number: str) -> tuple[Case, Run]:
    case = case_or_404(request, number)
    here = run_told.run_of(case)
    if here is None:
        raise Http404("Nobody was charged in this case yet: there is no run.")
    return case, here
