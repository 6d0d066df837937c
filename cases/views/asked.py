"""What was looked for: kept in the session under a key, so that no address holds a name.

Addresses stand in browser histories and in the logs of proxies; the session does not. The key
keeps reload, the back button and a second tab each with its own search.
"""

import secrets
from urllib.parse import urlencode

from django.http import HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.datastructures import MultiValueDict

from cases.search import IN_CARE, Search
from cases.steps import STAGES
from cases.views.answering import pop_kept
from cases.views.requests import StaffRequest

SESSION_KEY = "searches"
KEPT = 20
STATES = {"open": "expected or in care now", "closed": "closed", "all": "everybody"}


def sent(request: StaffRequest) -> MultiValueDict[str, str] | None:
    """Return what was sent to be looked for, also before a sign-in; None where nothing was."""
    return request.POST if request.method == "POST" else pop_kept(request)


def text_of(sent: MultiValueDict[str, str]) -> str:
    """Return the text to look for, in one line of at most 100 characters."""
    return " ".join(sent.get("q", "").replace("\0", "").split())[:100]


def keep(request: StaffRequest, text: str) -> str:
    """Keep this text with the member's last 20 searches; return the key that names it."""
    kept = dict(request.session.get(SESSION_KEY, {}))
    key = next((key for key, other in kept.items() if other == text), secrets.token_urlsafe(6))
    kept.pop(key, None)
    request.session[SESSION_KEY] = dict([*kept.items(), (key, text)][-KEPT:])
    return key


def lead(request: StaffRequest, text: str, state: str) -> HttpResponse:
    """Keep the text and lead to the list that shows what it finds."""
    key = keep(request, text) if text else ""
    return to_list(query(search=key, state=state if _is_known(state) else IN_CARE))


def to_list(asked: str = "") -> HttpResponse:
    """Lead to the list, with these parts of its address."""
    return HttpResponseRedirect(reverse("cases:list") + (f"?{asked}" if asked else ""))


def query(**parts: str) -> str:
    """Return the part of an address behind its question mark; what goes without saying is left."""
    said = {name: value for name, value in parts.items() if value}
    if said.get("state") == IN_CARE:
        del said["state"]
    return urlencode(said)


def _is_known(state: str) -> bool:
    return state in STATES or state in STAGES


def key_of(request: StaffRequest) -> str:
    """Return the key of the search that the address names, or nothing."""
    return request.GET.get("search", "")


def is_forgotten(request: StaffRequest) -> bool:
    """True where the address names a search that is no longer kept."""
    key = key_of(request)
    return bool(key) and key not in request.session.get(SESSION_KEY, {})


def read(request: StaffRequest) -> Search:
    """Return what the address asks for, its text taken from the session."""
    after, state = request.GET.get("after", ""), request.GET.get("state", "")
    return Search(
        facility=request.facility,
        text=request.session.get(SESSION_KEY, {}).get(key_of(request), ""),
        state=state if _is_known(state) else IN_CARE,
        everywhere=request.GET.get("everywhere") == "1",
        after=int(after) if after.isascii() and after.isdigit() and len(after) < 19 else 0,
    )
