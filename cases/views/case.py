"""The page of a case: who this person is, where, what was done, and what is missing."""

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods

from cases.case_page import case_page
from cases.selectors import case_or_404
from cases.views.requests import StaffRequest
from crematory import clock


@require_http_methods(["GET", "HEAD"])
def detail(request: StaffRequest, number: str) -> HttpResponse:
    """Show one person's case."""
    case = case_or_404(request, number)
    return render(request, "cases/case.html", case_page(case, clock.now()))
