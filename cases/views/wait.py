"""The waiting period of a case: the grounds that may lift it."""

from django.http import Http404, HttpResponse
from django.views.decorators.http import require_http_methods

from cases import wait_acts, waits
from cases.forms.wait import WaitGroundForm
from cases.law import CHECK_LOCALLY, paper_words
from cases.law.words import BY, GROUNDS
from cases.selectors import case_or_404
from cases.views.answering import Page, answer, open_form
from cases.views.requests import StaffRequest, need_role
from crematory.models import Role


@require_http_methods(["GET", "POST"])
def ground(request: StaffRequest, number: str) -> HttpResponse:
    """State a ground on which the law of the case may lift the wait."""
    need_role(request, Role.MANAGER)
    case = case_or_404(request, number)
    if not waits.grounds_known(case):
        raise Http404("The law of this case knows no ground that lifts the wait.")
    form = open_form(request, WaitGroundForm, case=case)
    waivers = [
        {
            "ground": GROUNDS[w.ground],
            "needs": [paper_words(kind) for kind in w.needs],
            "wants_its_paper": waits.wants_its_paper(w),
            "by": BY.get(w.by or "", ""),
            "citation": w.citation,
        }
        for w in case.law.wait.waivers
        if w.is_enforced
    ]
    page = Page(
        "cases/wait.html",
        wait_acts.ACT,
        "The ground is recorded.",
        {
            "waivers": waivers,
            "stated": case.wait_grounds.select_related("document"),
            "house_hours": waits.house_hours(case.law),
            "check_locally": CHECK_LOCALLY,
        },
    )
    return answer(
        request,
        case,
        form,
        page,
        lambda: wait_acts.state_wait_ground(case, form.signer(), form.token_sent, **form.stated()),
    )
