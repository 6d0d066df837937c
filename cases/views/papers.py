"""Printing a paper of a case, and reading one back."""

from typing import cast

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from cases.papers import KINDS, print_for
from cases.selectors import case_or_404
from cases.views.requests import StaffRequest
from chain_of_custody.models import Paper
from chain_of_custody.paper_store import PaperDamaged
from chain_of_custody.press import PrintRefused, read_paper
from chain_of_custody.typesetter import PressUnavailable
from crematory.check_character import explain

LONGEST_TOKEN = 64
NO_FONT = (
    "This system has no font for {points}; the paper shows boxes and says so. Whoever runs the "
    "system can install one (Debian or Ubuntu: apt install fonts-noto-core fonts-noto-cjk), then "
    "print again."
)


@require_POST
def print_kind(request: HttpRequest, number: str, kind: str) -> HttpResponseBase:
    """Print one paper and show it; the same token shows the paper that it printed before."""
    case, member = case_or_404(request, number), cast(StaffRequest, request).user
    if kind not in KINDS:
        raise Http404
    token = request.POST.get("token", "")[:LONGEST_TOKEN]
    try:
        paper = print_for(
            case, KINDS[kind], member, token if token.isprintable() and token else None
        )
    except (PrintRefused, PressUnavailable) as reason:
        messages.error(request, str(reason))
        return redirect("cases:case", number=case.number)
    if points := paper.facts["unprintable"]:
        messages.warning(request, NO_FONT.format(points=", ".join(points)))
    return redirect("cases:paper", number=case.number, paper=paper.number)


@require_safe
@never_cache
def paper(request: HttpRequest, number: str, paper: str) -> HttpResponseBase:
    """Show a paper that was printed, superseded or not: it is what somebody may hold."""
    case = case_or_404(request, number)
    if problem := explain(paper):
        raise Http404(problem)
    printed = get_object_or_404(Paper, case=case, number=paper)
    try:
        data = read_paper(printed)
    except PaperDamaged as reason:
        messages.error(request, f"Paper {printed.number}: {reason}")
        return redirect("cases:case", number=case.number)
    return HttpResponse(
        data,
        content_type="application/pdf",
        headers={
            "Content-Disposition": f'inline; filename="{printed.number}.pdf"',
            "X-Content-Type-Options": "nosniff",
        },
    )
