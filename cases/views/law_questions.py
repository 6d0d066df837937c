"""What the law makes depend on an answer: asked, and shown with what was answered so far."""

from typing import Any

from django.http import Http404, HttpResponse, QueryDict
from django.views.decorators.http import require_http_methods

from cases import law_acts, law_questions
from cases.forms.law_questions import LawQuestionsForm
from cases.law import CHECK_LOCALLY
from cases.models import Case
from cases.roles import WHO, power
from cases.selectors import case_or_404
from cases.views.answering import Page, answer, open_form
from cases.views.requests import StaffRequest


@require_http_methods(["GET", "POST"])
def questions(request: StaffRequest, number: str) -> HttpResponse:
    """Answer what the law of the case asks."""
    case = case_or_404(request, number)
    if not law_questions.has_any(case.law):
        raise Http404("The law of this case asks nothing of the kind.")
    form = open_form(request, LawQuestionsForm, case=case)

    def anew(data: QueryDict | None) -> tuple[LawQuestionsForm, dict[str, Any]]:
        found = case_or_404(request, number)
        return LawQuestionsForm(data, case=found), _context(request, found)

    page = Page(
        "cases/law_questions.html",
        law_acts.ACT,
        "The answers are recorded.",
        _context(request, case),
        anew=anew,
    )

    def act() -> None:
        law_acts.answer_law(case, form.signer(), form.token_sent, form.told(), form.seen_sent)

    return answer(request, case, form, page, act)


def _context(request: StaffRequest, case: Case) -> dict[str, Any]:
    """What stands beside the form."""
    return {
        "case": case,
        "given": case.law_answers.select_related("document"),
        "agreed": case.agreed_times.select_related("document"),
        "limit": law_questions.agreed_limit(case.law),
        "no_form": law_questions.of_no_form(case.law),
        "may": power(request.user, WHO[law_acts.ACT]),
        "check_locally": CHECK_LOCALLY,
    }
