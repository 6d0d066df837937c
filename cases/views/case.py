"""The page of a case: who this person is, where, what was done, and what is missing."""

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods

from cases import case_page, documents
from cases.run_facts import run_facts
from cases.selectors import case_or_404
from cases.views import scans
from cases.views.kept import Kept
from cases.views.requests import StaffRequest, signers_else
from crematory import clock


@require_http_methods(["GET", "HEAD"])
def detail(request: StaffRequest, number: str) -> HttpResponse:
    """Show one person's case."""
    kept, case = Kept(request), case_or_404(request, number)
    now = clock.now()
    context = case_page.case_page(case, now, request.user)
    context["run_facts"] = run_facts(case, now)
    context["signers_else"] = signers_else(request, context["next_step"])
    context.update(scans.sending(case, request.user))
    context["files_waiting"] = documents.waiting(case).count() if context["can_file"] else 0
    context["path"] = kept.part("cases/_path.html", lambda: case_page.path_part(case), case.number)
    context["record"] = kept.part(
        "cases/_record.html", lambda: case_page.record_part(case, request.user), case.number
    )
    context["clocks"] = kept.part(
        "cases/_clocks.html",
        lambda: case_page.clocks_part(case, now, request.user),
        case.number,
    )
    context["printed"] = kept.part(
        "cases/_printed.html", lambda: case_page.printed_part(case), case.number
    )
    return render(request, "cases/case.html", context)
