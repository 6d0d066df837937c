"""A member's own password: changed by choice, or because a manager gave it."""

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from cases import staffing
from cases.errors import ActRefused
from cases.forms.staff import OwnPasswordForm
from cases.views.answering import record_bad_signature
from cases.views.house import SECRETS, WRITES, add_errors
from cases.views.requests import StaffRequest
from chain_of_custody import trail
from crematory import tries
from crematory.middleware import KEPT_SESSION_KEY
from crematory.models import StaffMember
from crematory.signatures import SignatureRefused, sign

ACT = "staff.change_own_password"
WRONG = "This is not your current password. Try again."
LOCKED = "Too many wrong passwords: this is locked for up to 15 minutes. Wait, then try again."
GIVEN = (
    "A manager gave you this password and knows it. Choose one that only you know; until then "
    "no other page opens."
)


@sensitive_post_parameters("current", *SECRETS)
@require_http_methods(WRITES)
def my_password(request: StaffRequest) -> HttpResponse:
    """Everybody changes the own password here; who was given one comes here first of all."""
    member = request.user
    form = OwnPasswordForm(request.POST or None, with_pin=member.pin_is_given)
    if form.is_bound and form.is_valid() and _knows_current(request, form):
        after = _after(request)
        if _change(request, form):
            what = "password and PIN are" if member.pin_is_given else "password is"
            messages.success(request, f"Your {what} changed. Other open sessions have ended.")
            return redirect(after)
    context = {
        "form": form,
        "title": "Choose your own password" if member.password_is_given else "Change my password",
        "button": "Change",
        "note": GIVEN if member.password_is_given else "",
        "is_led_here": member.password_is_given,
    }
    status = 422 if form.is_bound else 200
    return render(request, "cases/house_form.html", context, status=status)


def _knows_current(request: StaffRequest, form: OwnPasswordForm) -> bool:
    """True if the current password is right; each try counts like one at signing in."""
    counted = tries.sign_in_tries(request, request.user.staff_code)
    if not tries.spend(counted):
        _refuse(request, form, "password_locked", LOCKED)
        return False
    if not request.user.check_password(form.cleaned_data["current"]):
        _refuse(request, form, "password_wrong", WRONG)
        return False
    tries.forgive(counted)
    return True


def _refuse(request: StaffRequest, form: OwnPasswordForm, code: str, text: str) -> None:
    trail.record_refusal(request.facility, ACT, [code], request.user)
    form.add_error("current", text)


def _change(request: StaffRequest, form: OwnPasswordForm) -> bool:
    stated = form.cleaned_data
    try:
        signed_by = None
        if request.user.pin_is_given:
            code, pin = request.user.staff_code, stated["own_pin"]
            signed_by = sign(request.facility, code, pin, to_choose_own=True)
        staffing.change_own_password(
            request.user, stated["password"], signed_by, stated.get("pin", "")
        )
    except SignatureRefused as refusal:
        record_bad_signature(request.facility, ACT, refusal)
        form.add_error("own_pin", refusal.text)
    except ActRefused as refusal:
        form.add_error(None, refusal.text)
    except ValidationError as error:
        add_errors(form, error)
    else:
        # This browser goes on; a session elsewhere holds the digest of the old password.
        update_session_auth_hash(request, StaffMember.objects.get(pk=request.user.pk))
        return True
    return False


def _after(request: StaffRequest) -> str:
    """Return where the member wanted to go: what was typed is kept there, or the page asked for."""
    kept = request.session.get(KEPT_SESSION_KEY)
    wanted = str(kept["path"]) if kept else request.GET.get("next", "")
    is_ours = url_has_allowed_host_and_scheme(wanted, allowed_hosts=None)
    return wanted if is_ours and request.user.password_is_given else reverse("house")
