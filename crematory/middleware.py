"""What every request gets: the member's facility, its time zone, and nothing typed is lost."""

import codecs
from collections.abc import Callable
from typing import Any

from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponse, HttpResponseBadRequest
from django.urls import reverse
from django.utils import timezone

NEVER_KEPT = ("csrfmiddlewaretoken", "password", "pin")
KEPT_SESSION_KEY = "typed_before_login"
KEPT_AT_MOST = 100_000  # characters; the largest form is far smaller
Handler = Callable[[HttpRequest], HttpResponse]


def keepable(name: str) -> bool:
    """True for a field whose value may be kept; PINs, passwords and tokens never are."""
    return not any(part in name for part in NEVER_KEPT)


class Utf8Middleware:
    """Answer 400 to a request that names another encoding than UTF-8, the only one sent here.

    Some encodings make characters that no database holds; others are no text encodings at all.
    """

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.encoding and codecs.lookup(request.encoding).name != "utf-8":
            return HttpResponseBadRequest("Send this in UTF-8.", content_type="text/plain")
        return self.get_response(request)


class KeepTypedMiddleware:
    """A form sent after the session ended: keep what was typed, ask to sign in, show it again."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        user = request.user
        if request.method != "POST" or user.is_authenticated or request.path == reverse("login"):
            return self.get_response(request)
        typed = {k: request.POST.getlist(k) for k in request.POST if keepable(k)}
        if sum(len(text) for texts in typed.values() for text in texts) <= KEPT_AT_MOST:
            request.session[KEPT_SESSION_KEY] = {"path": request.path, "data": typed}
        return redirect_to_login(request.path)


class FacilityMiddleware:
    """Put the member's facility on the request and its time zone in force."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        request.facility = request.user.facility if request.user.is_authenticated else None  # type: ignore[attr-defined]
        if request.facility is None:  # type: ignore[attr-defined]
            return self.get_response(request)
        with timezone.override(request.facility.zone):  # type: ignore[attr-defined]
            return self.get_response(request)


def facility_context(request: HttpRequest) -> dict[str, Any]:
    """Give templates the facility of the request."""
    return {"facility": getattr(request, "facility", None)}
