"""What every request gets: the member's facility, its time zone, and nothing typed is lost."""

import codecs
from collections.abc import Callable
from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponse, HttpResponseBadRequest, JsonResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django_htmx.http import HttpResponseClientRefresh

NEVER_KEPT = ("csrfmiddlewaretoken", "password", "pin")
KEPT_SESSION_KEY = "typed_before_login"
KEPT_AT_MOST = 100_000  # characters; the largest form is far smaller
Handler = Callable[[HttpRequest], HttpResponse]


def keepable(name: str) -> bool:
    """True for a field whose value may be kept; PINs, passwords and tokens never are."""
    return not any(part in name for part in NEVER_KEPT)


def wants_json(request: HttpRequest) -> bool:
    """True where a page sent this by itself; it keeps what was typed until it hears otherwise."""
    return request.headers.get("Accept") == "application/json"


def is_from_own_page(request: HttpRequest) -> bool:
    """False where the browser says that a page of another site sent this form."""
    origin = request.headers.get("Origin")
    own = f"{request.scheme}://{request.get_host()}"
    return origin is None or origin in (own, *settings.CSRF_TRUSTED_ORIGINS)


def keep_typed(request: HttpRequest, cleared: tuple[str, ...] = ()) -> bool:
    """Keep what was typed (never PINs) for the next time this page is opened; True if anything.

    Fields whose names end with one of `cleared` are left out: what was wrong is typed anew.
    What another site put into a form is not kept: it would be shown as if it had been typed here.
    """
    typed = {
        name: request.POST.getlist(name)
        for name in request.POST
        if keepable(name) and not name.endswith(cleared)
    }
    if not any(text for name in typed if name != "token" for text in typed[name]):
        return False
    length = sum(len(text) for texts in typed.values() for text in texts)
    if length > KEPT_AT_MOST or not is_from_own_page(request):
        return False
    request.session[KEPT_SESSION_KEY] = {"path": request.path, "data": typed}
    return True


class NoStoreMiddleware:
    """Let no browser and no proxy keep a copy of an answer: pages name persons in care.

    Static files are answered further out and may be kept.
    """

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault("Cache-Control", "no-store")
        return response


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
        if wants_json(request):
            return JsonResponse({"ok": False, "code": "signed_out"}, status=401)
        keep_typed(request)
        return redirect_to_login(request.get_full_path())


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


class OwnPasswordMiddleware:
    """Lead a member whose password was given by a manager to choose an own one, and nowhere else.

    Until then two people could sign in as this member.
    """

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        user = request.user
        if not user.is_authenticated or not user.password_is_given:
            return self.get_response(request)
        choose = reverse("my-password")
        if request.path in (choose, reverse("logout")):
            return self.get_response(request)
        if request.htmx:  # type: ignore[attr-defined]
            return HttpResponseClientRefresh()
        if wants_json(request):
            return JsonResponse({"ok": False, "code": "signed_out"}, status=401)
        if request.method == "POST":
            keep_typed(request)
        return redirect(f"{choose}?{urlencode({'next': request.path})}")


def facility_context(request: HttpRequest) -> dict[str, Any]:
    """Give templates the facility of the request."""
    return {"facility": getattr(request, "facility", None)}
