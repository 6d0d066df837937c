"""Personal things of a case: the list, and giving back."""

from typing import Any

from django.http import HttpResponse, QueryDict
from django.views.decorators.http import require_http_methods

from cases import things as stored
from cases.forms.base import new_token
from cases.forms.things import GiveBackForm, ThingsForm
from cases.models import Case, PersonalThing, ThingsReceipt
from cases.papers import KINDS
from cases.selectors import case_or_404
from cases.thing_acts import give_back as give
from cases.thing_acts import list_things
from cases.views.answering import Page, answer, open_form
from cases.views.requests import StaffRequest
from cases.views.right import keep_drawing
from chain_of_custody import uploads_in
from chain_of_custody.upload_handler import dropped
from chain_of_custody.uploads_in import Arrived


@require_http_methods(["GET", "POST"])
def things(request: StaffRequest, number: str) -> HttpResponse:
    """What came with the person, and what becomes of each thing."""
    case = case_or_404(request, number)
    files = {"files": request.FILES} if request.method == "POST" else {}
    form = open_form(request, ThingsForm, case=case, **files)

    def anew(data: QueryDict | None) -> tuple[ThingsForm, dict[str, Any]]:
        found = case_or_404(request, number)
        return ThingsForm(data, case=found), {"case": found, **_beside(found)}

    done = "The list is recorded."
    page = Page("cases/things.html", "list_things", done, _beside(case), anew=anew)
    for name, refusal in dropped(request) if form.is_bound else ():
        form.add_error(None, f"{name}: {refusal.text}")

    def act() -> Any:
        data = form.cleaned_data
        return list_things(
            case,
            request.user,
            form.token_sent,
            form.listed_now(),
            is_complete=data["is_complete"],
            note=data.get("note", ""),
            shown=form.seen_sent,
        )

    try:
        return answer(request, case, form, page, act)
    finally:
        uploads_in.forget_unrecorded(form.arrived())


def _given(case: Case) -> list[tuple[PersonalThing, ThingsReceipt | None]]:
    """What was given back, each with its receipt. The files are fetched with the receipts."""
    rows = case.things_receipts.select_related("drawing", "scan")
    receipts = {row.pk: row for row in rows}
    return [(thing, receipts.get(thing.returned.receipt_id or 0)) for thing in stored.given(case)]


def _beside(case: Case) -> dict[str, Any]:
    """Return what the page of the list shows beside it; a list closed too early is not closed."""
    return {
        "given": _given(case),
        "looked": case.things_looked_for.last(),
        "is_closed": stored.is_looked_for(case),
    }


@require_http_methods(["GET", "POST"])
def give_back(request: StaffRequest, number: str) -> HttpResponse:
    """Give things back against a receipt: signed on the tablet, on paper, or why it is not."""
    case = case_or_404(request, number)
    files = {"files": request.FILES} if request.method == "POST" else {}
    form = open_form(request, GiveBackForm, case=case, **files)
    context = {"paper": (KINDS["things_form"], new_token()), "meaning": stored.meaning(case)}
    page = Page("cases/give_back.html", "give_back", "The things are given back.", context)
    for name, refusal in dropped(request) if form.is_bound else ():
        form.add_error(None, f"{name}: {refusal.text}")
    kept: list[Arrived] = []

    def act() -> Any:
        data, drawing = form.cleaned_data, None
        if data["way"] == ThingsReceipt.Form.TABLET:
            drawing = keep_drawing(data["strokes"])
            kept.append(drawing)
        return give(
            case,
            form.signer(),
            form.token_sent,
            form.chosen(),
            returned_to=data["returned_to"],
            identification=data["identification"],
            receipt=form.receipt(drawing),
        )

    try:
        return answer(request, case, form, page, act)
    finally:
        # What an act recorded has its row by now and stays.
        uploads_in.forget_unrecorded([*kept, *([form.arrived] if form.arrived else [])])
