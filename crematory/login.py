"""Signing in by staff code and password."""

from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView
from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.urls import reverse
from django.utils.decorators import method_decorator
from django.utils.translation import gettext_lazy as _
from django_htmx.http import HttpResponseClientRefresh

from crematory import tries
from crematory.models import Facility

TOO_MANY = 429  # RFC 6585


class StaffLoginForm(AuthenticationForm):
    """Takes the staff code in any case; who is not active is refused like a wrong password."""

    error_messages = {
        "locked": _(
            "Too many wrong passwords for this code from here: it is locked for up to 15 minutes. "
            "Wait, then try again. If you do not know your password, ask a manager for a new one."
        ),
        "invalid_login": _("Staff code and password do not match. Both are needed; try again."),
        "inactive": _("This member is not active. A manager can change that."),
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["username"].label = _("Staff code")

    def clean_username(self) -> str:
        """Return the code as it is stored."""
        return str(self.cleaned_data["username"]).strip().upper()

    def clean(self) -> dict[str, Any]:
        """Check the password; each try is counted before, and a right one ends the count."""
        code, password = self.cleaned_data.get("username"), self.cleaned_data.get("password")
        if not code or not password:
            return dict(super().clean())
        assert self.request is not None
        counted = tries.sign_in_tries(self.request, code)
        if not tries.spend(counted):
            raise ValidationError(self.error_messages["locked"], code="locked")
        cleaned = dict(super().clean())
        tries.forgive(counted)
        return cleaned


# Said again for this class: the page must be open although `dispatch` is its own.
@method_decorator(login_not_required, name="dispatch")
class StaffLoginView(LoginView):
    """The page for signing in."""

    authentication_form = StaffLoginForm
    redirect_authenticated_user = True

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """A page that asks for news of itself must not get a form for signing in as the news."""
        if request.htmx:  # type: ignore[attr-defined]
            return HttpResponseClientRefresh()
        return super().dispatch(request, *args, **kwargs)

    def form_invalid(self, form: AuthenticationForm) -> HttpResponse:
        """Show what is wrong; a locked code is told by its status too."""
        response = super().form_invalid(form)
        if form.has_error(NON_FIELD_ERRORS, "locked"):
            response.status_code = TOO_MANY
        return response

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the name of the house, where the installation serves only one."""
        names = list(Facility.objects.values_list("name", flat=True)[:2])
        return super().get_context_data(house_name=names[0] if len(names) == 1 else "", **kwargs)

    def get_redirect_url(self, request: HttpRequest | None = None) -> str:
        """Never lead back to signing out, where an ended session may have come from."""
        url: str = super().get_redirect_url()
        return "" if url == reverse("logout") else url
