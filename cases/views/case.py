"""The page of a case: who this person is, where, what was done, and what is missing."""

from functools import cache
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods

from cases import case_page
from cases.case_rows import case_of
from cases.models import Case
from cases.views import scans
from cases.views.kept import UNTIL, Kept, first_change
from cases.views.requests import StaffRequest, signers_else
from crematory import clock

AT_MACHINE = ("in_retort", "cooling")


@require_http_methods(["GET", "HEAD"])
def detail(request: StaffRequest, number: str) -> HttpResponse:
    """Show one person's case: kept as a whole, for what its gates say is for showing only."""
    kept = Kept(request)

    @cache
    def case() -> Case:
        return case_of(request.facility, number)

    context = {
        "title": kept.words("case", lambda: f"{case().decedent_name} · {case().number}", number),
        "page": kept.part("cases/_case.html", lambda: _page(request, case()), number),
    }
    return render(request, "cases/case.html", context)


def _page(request: StaffRequest, case: Case) -> dict[str, Any]:
    now, member = clock.now(), request.user
    context = case_page.case_page(case, now, member)
    return {
        **context,
        **scans.sending(case, member),
        "signers_else": signers_else(request, context["next_step"]),
        # Beside a retort the gates look at readings, which may come in without an act.
        UNTIL: now if case.stage in AT_MACHINE else first_change(context["changes"]),
    }
