"""Recovery where the disc cannot be read or is not found."""

from django.http import HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from cases.forms.lost_disc import LostDiscForm
from cases.selectors import case_or_404
from cases.steps import STEPS
from cases.taking import take
from cases.views.answering import Page, answer, open_form
from cases.views.requests import StaffRequest, signers_else
from cases.views.steps import gates_shown, machine_of
from chain_of_custody import uploads_in
from chain_of_custody.upload_handler import dropped

DONE = "Recovered, and the new disc is on record. From now on it says whose remains these are."


@require_http_methods(["GET", "POST"])
def lost_disc(request: StaffRequest, number: str) -> HttpResponse:
    """Recover without the disc: photograph, witness, a manager's reason, and a new disc."""
    case, step = case_or_404(request, number), STEPS["recover"]
    files = {"files": request.FILES} if request.method == "POST" else {}
    form = open_form(request, LostDiscForm, case=case, **files)
    machine = machine_of(request)
    context = {
        "can_follow": case.stage in step.stages_from,
        "gates": lambda: gates_shown(case, step, form),
        "machine_code": machine,
        "nav_here": "machine" if machine else "",
        "signers_else": signers_else(request, step),
    }
    back = reverse("machine", args=[machine]) if machine else ""
    page = Page("cases/lost_disc.html", "recover", DONE, context, back=back)
    for name, refusal in dropped(request) if form.is_bound else ():
        form.add_error(None, f"{name}: {refusal.text}")
    try:
        return answer(request, case, form, page, lambda: _recover(form))
    finally:
        # What the step recorded has its row by now and stays.
        uploads_in.forget_unrecorded([form.arrived] if form.arrived else [])


def _recover(form: LostDiscForm) -> None:
    take(
        "recover",
        form.case,
        form.facts(),
        signed_by=form.signer(),
        witness=form.signature("witness"),
        token=form.token_sent,
    )
