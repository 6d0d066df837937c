"""How every page with a form answers: the form, the act, its refusal, or the way back."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, TypeVar

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.datastructures import MultiValueDict

from cases import seen
from cases.errors import ActRefused
from cases.forms.base import SignedForm, WritingForm
from cases.forms.seen import SeenForm
from cases.gates import Verdict
from cases.models import Case
from cases.views.requests import StaffRequest
from chain_of_custody import trail
from chain_of_custody.models import CustodyEntry
from crematory.middleware import KEPT_SESSION_KEY
from crematory.models import Facility
from crematory.signatures import SignatureRefused
from crematory.templatetags.crematory import when

AGAIN_TEXT = (
    "This form was already sent: what was recorded the first time stands, and nothing was added. "
    "To record something else, open the form again."
)
BY_PERSON = {
    "role",
    "member",
    "signature_wrong",
    "signature_locked",
    "signature_inactive",
    "pin_given",
}
F = TypeVar("F", bound=WritingForm)


# Reads all of a page anew and returns its form, holding this data, and its context.
Anew = Callable[[QueryDict | None], tuple[SeenForm, dict[str, Any]]]


@dataclass(frozen=True)
class Page:
    """What one page shows and what its act is called in the trail; `back` leads to the case."""

    template: str
    act: str
    done: str
    context: dict[str, Any] = field(default_factory=dict)
    back: str = ""  # where it leads when it is done; the page of the case where empty
    anew: Anew | None = None  # reads the page again, for a form that says what it was beside


def pop_kept(request: StaffRequest) -> MultiValueDict[str, str] | None:
    """Return, once, what was typed on this page before a sign-in or a refusal."""
    kept = request.session.get(KEPT_SESSION_KEY)
    if request.method != "GET" or not kept or kept["path"] != request.path:
        return None
    del request.session[KEPT_SESSION_KEY]
    data = QueryDict(mutable=True)
    for name, values in kept["data"].items():
        data.setlist(name, values)
    return data


def fill(
    request: StaffRequest, form: type[F], kept: MultiValueDict[str, str] | None, **kwargs: Any
) -> F:
    """Return the form with what was sent, or with what was kept, or empty."""
    if request.method == "POST":
        return form(request.POST, **kwargs)
    filled = form(**kwargs)
    if "signer_code" in filled.fields:
        filled.initial.setdefault("signer_code", request.user.staff_code)
    filled.focus_on_empty()
    if kept:
        filled.keep(kept)
        filled.is_kept = True
        filled.focus(None)  # the page opens at the words that nothing is recorded yet
    return filled


def open_form(request: StaffRequest, form: type[F], **kwargs: Any) -> F:
    """`fill` with what was kept for this page."""
    return fill(request, form, pop_kept(request), **kwargs)


def answer(
    request: StaffRequest, case: Case, form: WritingForm, page: Page, act: Callable[[], Any]
) -> HttpResponse:
    """Do the act of a valid form and go to the case, or `page.back`; else show the form and why.

    A form that was sent before is answered with what it did then, before anything is checked:
    by now its place is taken, by its own doing.
    """
    status, done = 200, page.back or reverse("cases:case", args=[case.number])
    if form.is_bound:
        if _was_sent(case, page.act, form):
            messages.info(request, AGAIN_TEXT)
            return redirect(done)
        try:
            if form.is_valid():
                act()
                messages.success(request, page.done)
                return redirect(done)
            status = 422
        except (ActRefused, SignatureRefused, ValidationError) as refusal:
            status = refuse(case, form, page.act, refusal)
        form.focus_on_error()
    context = {"case": case, "form": form, **page.context}
    if form.is_bound and page.anew and isinstance(form, SeenForm):
        context |= _beside_what_stands(form, page.anew)
    return render(request, page.template, context, status=status)


def _beside_what_stands(sent: SeenForm, anew: Anew) -> dict[str, Any]:
    """Return what the page shows where more stands now than stood on it; else nothing new.

    What the person changed is as they typed it, and all else as it stands.
    """
    fresh, _ = anew(None)
    if fresh.stands == sent.seen_sent:
        return {}
    form, context = anew(sent.over(fresh))
    form.tell_meanwhile(sent)
    for words in dict.fromkeys([seen.TEXT, *sent.non_field_errors()]):
        form.add_error(None, words)
    form.focus_on_error()
    return {**context, "form": form}


def _was_sent(case: Case, act: str, form: WritingForm) -> bool:
    token = str(form.data.get("token", ""))
    return (
        token.isprintable()
        and CustodyEntry.objects.filter(case=case, act=act, token=token).exists()
    )


def refuse(
    case: Case | None,
    form: WritingForm,
    act: str,
    refusal: ActRefused | SignatureRefused | ValidationError,
) -> int:
    """Put the reason on the form, record a bad signature, and return the HTTP status."""
    if isinstance(refusal, ValidationError):
        _show_invalid(form, refusal)
        return 422
    if isinstance(refusal, SignatureRefused):
        at = form.refused_at if isinstance(form, SignedForm) else None
        form.add_error(at, str(refusal))
        record_bad_signature(form.facility, act, refusal, case)
    elif refusal.verdicts:
        for verdict in refusal.verdicts:
            form.add_error(None, told(verdict))
    else:
        form.add_error(None, refusal.text)
    return 403 if getattr(refusal, "code", "") in BY_PERSON else 409


def record_bad_signature(
    facility: Facility,
    act: str,
    refusal: SignatureRefused,
    case: Case | None = None,
    about: dict[str, Any] | None = None,
) -> None:
    """Record that somebody tried to sign and could not.

    Of a code that nobody has only that is recorded: it may be a slip of any kind, even a PIN.
    """
    if refusal.code == "signature_missing":
        return
    facts = (about or {}) | ({} if refusal.member else {"staff_code": "unknown"})
    trail.record_refusal(facility, act, [refusal.code], refusal.member, case=case, facts=facts)


def told(verdict: Verdict) -> str:
    """Return a refusal in words: what is missing, since when, who settles it, when it passes."""
    parts = [f"{verdict.title}: {verdict.reason}"]
    if verdict.since:
        parts.append(f"Since {when(verdict.since)}.")
    if verdict.who:
        parts.append(f"Who can settle it: {verdict.who}.")
    if verdict.passes_at:
        parts.append(f"It passes by itself {when(verdict.passes_at)}.")
    return " ".join(parts)


def _show_invalid(form: WritingForm, error: ValidationError) -> None:
    """Show what a model refused, beside the field that the form has for it."""
    if not hasattr(error, "error_dict"):
        form.add_error(None, error)
        return
    for name, errors in error.message_dict.items():
        form.add_error(name if name in form.fields else None, errors)
