"""Those who may authorize the cremation: the answer, the classes, and what each person said."""

import hashlib
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.http import HttpResponse, QueryDict
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from cases import acts, drawing, right_acts, right_page, right_words
from cases.errors import ActRefused
from cases.forms.right import (
    ClassesForm,
    KnownForm,
    NameForm,
    ReviewForm,
    SaidFields,
    SayForm,
)
from cases.forms.seen import SeenForm
from cases.holds import open_holds
from cases.models import AuthorizingAgent, Case, RightHolder
from cases.roles import WHO, may_name_recipient, power
from cases.selectors import case_or_404
from cases.views.answering import Anew, Page, answer, open_form
from cases.views.requests import StaffRequest
from chain_of_custody import uploads_in
from chain_of_custody.uploads import UploadRefused
from chain_of_custody.uploads_in import Arrived
from crematory.models import Role

LONGEST_TOKEN = 43


def _case(request: StaffRequest, number: str) -> Case:
    case = case_or_404(request, number)
    right_page.fetch(case)
    return case


def _back(case: Case) -> str:
    return reverse("cases:agents", args=[case.number])


@require_http_methods(["GET", "POST"])
def agents(request: StaffRequest, number: str) -> HttpResponse:
    """Who may authorize; and one more person, with what is known and what they said."""
    case = _case(request, number)
    may_name = case.is_open and bool(request.user.roles & may_name_recipient(case.stage))
    form = open_form(request, NameForm, case=case, may_name_recipient=may_name)
    context = right_page.page(case) | {
        "then": right_page.then(case),
        "may": power(request.user, WHO["state_agent"]),
        "may_review": power(request.user, frozenset({Role.MANAGER})),
    }
    page = Page(
        "cases/agents.html", "name_holder", "What was stated is recorded.", context, _back(case)
    )
    return answer(request, case, form, page, lambda: _name(request, case, form))


def _name(request: StaffRequest, case: Case, form: NameForm) -> None:
    known = form.known(form.told_by)
    with _said(form) as said:
        right_acts.name_holder(
            case, request.user, form.token_sent, form.named(), known, said, form.complete()
        )
    if recipient := form.recipient():
        acts.name_recipient(case, request.user, _second(form.token_sent), **recipient)


def _second(token: str) -> str:
    """Return the token of the second act of one form: always the same one for the same form."""
    return hashlib.sha256(f"recipient {token}".encode()).hexdigest()[:LONGEST_TOKEN]


@contextmanager
def _said(form: SaidFields) -> Iterator[right_acts.Said | None]:
    """Give what was said; a drawing is stored before the act, and forgotten if that is refused."""
    data, arrived = form.cleaned_data, None
    if not data["position"]:
        yield None
        return
    if data["way"] == AuthorizingAgent.Form.TABLET and data["strokes"]:
        arrived = keep_drawing(data["strokes"])
    try:
        yield right_acts.Said(
            position=data["position"],
            said_at=form.said_when,
            how=data["how"],
            form=data["way"] or AuthorizingAgent.Form.PAPER,
            document=data["document"],
            drawing=arrived,
            strokes=data["strokes"] if arrived else None,
            by_delegate=data.get("by_delegate"),
        )
    finally:
        if arrived:
            uploads_in.forget_unrecorded([arrived])


def keep_drawing(strokes: list[drawing.Stroke]) -> Arrived:
    """Store the picture of a drawn signature. Raises ActRefused where it cannot be stored."""
    try:
        return uploads_in.arrive(drawing.as_png(strokes), "signature.png")
    except UploadRefused as refusal:
        raise ActRefused(refusal.code, refusal.text) from refusal


def _anew(request: StaffRequest, number: str, form: type[ClassesForm | ReviewForm]) -> Anew:
    """Return what reads a page of the whole family again."""

    def anew(data: QueryDict | None) -> tuple[SeenForm, dict[str, Any]]:
        found = _case(request, number)
        return form(data, case=found), {"case": found, **right_page.page(found)}

    return anew


def _holder(case: Case, pk: int) -> RightHolder:
    holder = get_object_or_404(RightHolder, pk=pk, case=case)
    # The same rows that the case has read already, so that nothing is asked twice.
    return next(h for h in case.right_holders.all() if h.pk == holder.pk)


@require_http_methods(["GET", "POST"])
def say(request: StaffRequest, number: str, pk: int) -> HttpResponse:
    """What somebody named says now: signs, objects, takes the signature back."""
    case = _case(request, number)
    holder = _holder(case, pk)
    held = [h for h in open_holds(case) if h.holder and h.holder.person == holder.person]
    may_settle = Role.MANAGER in request.user.roles and not held
    form = open_form(request, SayForm, holder=holder, may_settle=may_settle)
    context = {
        "line": right_page.line(holder),
        "held": held,
        "meaning": right_words.meaning(case),
        "may_lift": power(request.user, WHO["lift_hold"]),
    }
    page = Page(
        "cases/agent_say.html", "state_agent", "What was said is recorded.", context, _back(case)
    )

    def act() -> None:
        with _said(form) as said:
            assert said is not None  # a position is required here
            right_acts.state_agent(holder, request.user, form.token_sent, said)

    return answer(request, case, form, page, act)


@require_http_methods(["GET", "POST"])
def known(request: StaffRequest, number: str, pk: int) -> HttpResponse:
    """What is known of somebody named."""
    case = _case(request, number)
    holder = _holder(case, pk)
    form = open_form(request, KnownForm, holder=holder)

    def anew(data: QueryDict | None) -> tuple[KnownForm, dict[str, Any]]:
        found = _case(request, number)
        of_now = _holder(found, pk)
        context = {"case": found, "line": right_page.line(of_now)}
        return KnownForm(data, holder=of_now), context

    page = Page(
        "cases/agent_known.html",
        "state_known",
        "What is known is recorded.",
        {"line": right_page.line(holder)},
        _back(case),
        anew,
    )

    def act() -> None:
        right_acts.state_known(
            holder, request.user, form.token_sent, form.stated_known(), form.seen_sent
        )

    return answer(request, case, form, page, act)


@require_http_methods(["GET", "POST"])
def classes(request: StaffRequest, number: str) -> HttpResponse:
    """Of which classes everybody is named, or there is nobody: several at once."""
    case = _case(request, number)
    form = open_form(request, ClassesForm, case=case)
    page = Page(
        "cases/agent_classes.html",
        "state_ranks",
        "What was said of the classes is recorded.",
        right_page.page(case),
        _back(case),
        _anew(request, number, ClassesForm),
    )

    def act() -> None:
        if changed := form.changed():
            informant = form.cleaned_data["informant"]
            right_acts.state_ranks(
                case, request.user, form.token_sent, changed, informant, form.seen_sent
            )

    return answer(request, case, form, page, act)


@require_http_methods(["GET", "POST"])
def review(request: StaffRequest, number: str) -> HttpResponse:
    """A manager records how what the rules leave open was answered."""
    case = _case(request, number)
    form = open_form(request, ReviewForm, case=case)
    page = Page(
        "cases/agent_review.html",
        "review_authority",
        "The review is recorded. It holds until something more is stated.",
        right_page.page(case),
        _back(case),
        _anew(request, number, ReviewForm),
    )

    def act() -> None:
        data = form.cleaned_data
        right_acts.review_authority(
            case, form.signer(), form.token_sent, data["reason"], data["document"], form.seen_sent
        )

    return answer(request, case, form, page, act)
