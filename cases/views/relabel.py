"""New labels on the containers of cremated remains."""

from django.http import HttpResponse
from django.views.decorators.http import require_http_methods

from cases.forms.base import new_token
from cases.forms.relabel import RelabelForm
from cases.papers import KINDS
from cases.relabel import relabel as fix_labels
from cases.selectors import case_or_404
from cases.views.answering import Page, answer, open_form
from cases.views.requests import StaffRequest


@require_http_methods(["GET", "POST"])
def relabel(request: StaffRequest, number: str) -> HttpResponse:
    """Print new labels, and scan the one on each container."""
    case = case_or_404(request, number)
    form = open_form(request, RelabelForm, case=case)
    page = Page(
        "cases/relabel.html",
        "relabel",
        "The new labels are on record.",
        {"kind": KINDS["label"], "print_token": new_token()},
    )
    return answer(
        request,
        case,
        form,
        page,
        lambda: fix_labels(case, form.signer(), form.token_sent, form.scans()),
    )
