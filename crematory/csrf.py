"""The answer to a form whose token does not hold: what was typed is kept and offered again."""

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import reverse

from crematory.middleware import keep_typed, wants_json

NOTHING_TYPED = ("login", "logout")


def failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Refuse the form with 403. Usual cause: somebody signed in again in another tab."""
    if wants_json(request):
        return JsonResponse({"ok": False, "code": "csrf"}, status=403)
    is_form = request.path not in {reverse(name) for name in NOTHING_TYPED}
    kept = is_form and keep_typed(request)
    return render(request, "403_csrf.html", {"kept_at": request.path if kept else ""}, status=403)
