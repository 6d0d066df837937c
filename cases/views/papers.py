"""Printing a paper of a case or writing it by hand, and reading one back."""

from typing import cast

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from cases.models import Case
from cases.papers import KINDS, Kind, print_for
from cases.selectors import case_or_404
from cases.steps import BEFORE_CHARGE
from cases.views.requests import StaffRequest
from chain_of_custody.models import CustodyEntry, Paper
from chain_of_custody.paper_store import PaperDamaged
from chain_of_custody.press import PrintRefused, is_by_hand, read_paper
from chain_of_custody.typesetter import PressUnavailable
from crematory.check_character import explain

WRITES = ["GET", "HEAD", "POST"]
LONGEST_TOKEN = 64
NO_FONT = (
    "This system has no font for {points}; the paper shows boxes and says so. Whoever runs the "
    "system can install one (Debian or Ubuntu: apt install fonts-noto-core fonts-noto-cjk), then "
    "print again."
)
BY_HAND_INSTEAD = " Until then, write the label by hand: the button stands beside the printing."


@require_http_methods(WRITES)
def print_kind(request: HttpRequest, number: str, kind: str) -> HttpResponseBase:
    """Print one paper and show it; the same token shows the paper that it printed before."""
    return _issue(request, number, kind, by_hand=False)


@require_http_methods(WRITES)
def write_kind(request: HttpRequest, number: str, kind: str) -> HttpResponseBase:
    """Issue a paper to be written by hand, and show what to write."""
    return _issue(request, number, kind, by_hand=True)


def _issue(request: HttpRequest, number: str, kind: str, by_hand: bool) -> HttpResponseBase:
    case, member = case_or_404(request, number), cast(StaffRequest, request).user
    if kind not in KINDS:
        raise Http404
    if request.method != "POST":  # as after signing in again: the button is on the case's page
        return redirect("cases:case", number=case.number)
    token = request.POST.get("token", "")[:LONGEST_TOKEN]
    kept_token = token if token.isprintable() and token else None
    is_asked = by_hand and not request.POST.get("is_confirmed")
    if is_asked and (standing := _in_its_place(case, KINDS[kind], kept_token)):
        context = {"case": case, "kind": KINDS[kind], "paper": standing, "token": token}
        return render(request, "cases/write_confirm.html", context)
    try:
        paper = print_for(case, KINDS[kind], member, kept_token, by_hand=by_hand)
    except (PrintRefused, PressUnavailable) as reason:
        can_write = isinstance(reason, PressUnavailable) and KINDS[kind].by_hand
        messages.error(request, f"{reason}{BY_HAND_INSTEAD if can_write else ''}")
        return redirect("cases:case", number=case.number)
    if points := paper.facts.get("unprintable"):
        messages.warning(request, NO_FONT.format(points=", ".join(points)))
    return redirect(_page_of(paper), number=case.number, paper=paper.number)


def _in_its_place(case: Case, kind: Kind, token: str | None) -> Paper | None:
    """Return the newest paper of this kind that one by hand would put out of use.

    None where there is none, for a form that was sent before, and after the charge: then each
    container carries a label of its own, and a new one puts no other out of use.
    """
    was_sent = token and CustodyEntry.objects.filter(case=case, token=token).exists()
    if was_sent or case.stage not in BEFORE_CHARGE:
        return None
    papers = Paper.objects.filter(case=case, kind=kind.name, superseded__isnull=True)
    return papers.order_by("-copy").first()


def _page_of(paper: Paper) -> str:
    return "cases:by-hand" if is_by_hand(paper) else "cases:paper"


@require_safe
@never_cache
def paper(request: HttpRequest, number: str, paper: str) -> HttpResponseBase:
    """Show a paper that was printed, superseded or not: it is what somebody may hold."""
    case, printed = _paper_or_404(request, number, paper)
    if is_by_hand(printed):
        return redirect("cases:by-hand", number=case.number, paper=printed.number)
    return _bytes_of(request, case, printed, "application/pdf", "pdf")


@require_safe
@never_cache
def paper_text(request: HttpRequest, number: str, paper: str) -> HttpResponseBase:
    """Show the plain text of a paper that was written by hand: the bytes that the trail knows."""
    case, written = _paper_or_404(request, number, paper)
    if not is_by_hand(written):
        return redirect("cases:paper", number=case.number, paper=written.number)
    return _bytes_of(request, case, written, "text/plain; charset=utf-8", "txt")


@require_safe
@never_cache
def by_hand(request: HttpRequest, number: str, paper: str) -> HttpResponseBase:
    """Show in large letters what a person writes on the label."""
    case, written = _paper_or_404(request, number, paper)
    if not is_by_hand(written):
        return redirect("cases:paper", number=case.number, paper=written.number)
    try:
        lines = read_paper(written).decode().splitlines()
    except PaperDamaged as reason:
        return _damaged(request, case, written, reason)
    return render(request, "cases/by_hand.html", {"case": case, "paper": written, "lines": lines})


def _paper_or_404(request: HttpRequest, number: str, paper: str) -> tuple[Case, Paper]:
    case = case_or_404(request, number)
    if problem := explain(paper):
        raise Http404(problem)
    rows = Paper.objects.select_related("superseded")
    return case, get_object_or_404(rows, case=case, number=paper)


def _bytes_of(
    request: HttpRequest, case: Case, paper: Paper, content_type: str, ending: str
) -> HttpResponseBase:
    try:
        data = read_paper(paper)
    except PaperDamaged as reason:
        return _damaged(request, case, paper, reason)
    return HttpResponse(
        data,
        content_type=content_type,
        headers={
            "Content-Disposition": f'inline; filename="{paper.number}.{ending}"',
            "X-Content-Type-Options": "nosniff",
        },
    )


def _damaged(
    request: HttpRequest, case: Case, paper: Paper, reason: PaperDamaged
) -> HttpResponseBase:
    messages.error(request, f"Paper {paper.number}: {reason}")
    return redirect("cases:case", number=case.number)
