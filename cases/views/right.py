"""Those who may authorize the cremation: the answer, the classes, and what each person said."""

from django.http import HttpResponse
from django.views.decorators.http import require_http_methods

from cases import right_acts
from cases.forms.right import NameForm
from cases.models import Case
from cases.selectors import case_or_404
from cases.views.answering import Page, answer, open_form
from cases.views.requests import StaffRequest
from crematory import clock


@require_http_methods(["GET", "POST"])
def agents(request: StaffRequest, number: str) -> HttpResponse:
    """Who may authorize; and one more person, with what they said."""
    case = case_or_404(request, number)
    form = open_form(request, NameForm, case=case)
    page = Page("cases/agents.html", "name_holder", "What this person stated is recorded.")
    return answer(request, case, form, page, lambda: _name(request, case, form))


def _name(request: StaffRequest, case: Case, form: NameForm) -> None:
    data = form.cleaned_data
    said = None
    if data["position"]:
        said = right_acts.Said(position=data["position"], said_at=clock.now(), how=data["how"])
    who = right_acts.Named(name=data["name"], rank=data["rank"], relationship=data["relationship"])
    right_acts.name_holder(case, request.user, form.token_sent, who, said=said)
