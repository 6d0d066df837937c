"""Answers to what a page sends by itself: as data, with the time by the house's clock.

A page that was cut off from the network sends later what was entered meanwhile. It asks for JSON
and is told whether it was recorded, or why not; never is it led to another page.
"""

from typing import Any

from django.http import HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.utils import timezone
from django.views.decorators.http import require_safe

from cases.views.requests import StaffRequest
from crematory import clock


def clock_words() -> dict[str, Any]:
    """Return the time by the house's clock, for a page to go on from."""
    now = clock.now()
    local = timezone.localtime(now)
    return {"now_ms": int(now.timestamp() * 1000), "zone": local.tzname() or "", "local": local}


def recorded(text: str, html: str = "") -> JsonResponse:
    """Say that it is recorded; `html` is the form for the next one."""
    return _answer({"ok": True, "text": text, "html": html})


def refused(
    text: str, status: int = 422, html: str = "", confirm: dict[str, str] | None = None
) -> JsonResponse:
    """Say why it is not recorded; `confirm` is what is sent with it where it is right after all."""
    told = {"ok": False, "text": text, "html": html, "confirm": confirm}
    return _answer(told, status)


def _answer(told: dict[str, Any], status: int = 200) -> JsonResponse:
    words = clock_words()
    return JsonResponse(told | {"now_ms": words["now_ms"], "zone": words["zone"]}, status=status)


def tell_time(response: HttpResponse) -> None:
    """Let an answer say the time by the house's clock."""
    words = clock_words()
    response.headers["X-House-Now"] = str(words["now_ms"])
    response.headers["X-House-Zone"] = words["zone"]


@require_safe
def time(request: StaffRequest) -> HttpResponse:
    """Answer the time, who is signed in, and a token for the forms of a page that stood open."""
    return _answer({"ok": True, "staff": request.user.pk, "csrf": get_token(request)})
