"""Signing in by staff code and password."""

from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView
from django.http import HttpRequest, HttpResponseBase
from django.urls import reverse
from django.utils.decorators import method_decorator
from django.utils.translation import gettext_lazy as _
from django_htmx.http import HttpResponseClientRefresh


class StaffLoginForm(AuthenticationForm):
    """Takes the staff code in any case; who is not active is refused like a wrong password."""

    error_messages = {
        "invalid_login": _("Staff code and password do not match. Both are needed; try again."),
        "inactive": _("This member is not active. A manager can change that."),
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["username"].label = _("Staff code")

    def clean_username(self) -> str:
        """Return the code as it is stored."""
        return str(self.cleaned_data["username"]).strip().upper()


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

    def get_redirect_url(self, request: HttpRequest | None = None) -> str:
        """Never lead back to signing out, where an ended session may have come from."""
        url: str = super().get_redirect_url()
        return "" if url == reverse("logout") else url
