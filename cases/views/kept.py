"""Parts of a page that are kept in this process's memory for as long as they are true.

Whatever the site writes appends to the facility's trail in the same transaction, so the root of
the trail names one state of the record: after any act the root is another one, and no part kept
before is asked for again. What is shown also depends on the
minute ("3 h ago"), the language, the facility's units and zone and the member's roles: they
belong to the key. A facility without an entry keeps nothing.

A part is rendered without the request: it can hold no token and no message. Where it has a
button that sends something, the part has gaps in the places of the tokens, and each answer fills
them with its own. What gates say is kept for showing only: every act asks them anew.
"""

import hashlib
import re
import secrets
from collections.abc import Callable, Iterable
from datetime import datetime
from typing import Any

from django.core.cache import caches
from django.middleware.csrf import get_token
from django.template.loader import render_to_string
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import get_language

from cases.forms.base import new_token
from cases.views.requests import StaffRequest
from crematory import clock

CACHE = "parts"
# The minute is in the key of a part, the hour in that of a form: what is older is not asked for.
KEPT_S, HOUR_S = 60.0, 3600.0
UNTIL = "true_until"  # what `read` may return beside the context: when time alone changes it
# What stands in a part where each answer has a token of its own. Drawn once a process: nobody
# can write a name or a reason that reads like one of them.
CSRF_GAP, ONCE_GAP = (f"{name}-{secrets.token_hex(16)}" for name in ("csrf", "once"))


class Kept:
    """The kept parts of one page."""

    def __init__(self, request: StaffRequest) -> None:
        facility = self._facility = request.facility
        self._request = request
        # Read with the member, before any row of the page: a row older than the root would be
        # kept as if it were of that state. A newer one does no harm; its root will be another.
        log = getattr(facility, "log", None)
        self._root = log.root if log and log.size else ""
        self._words = (
            self._root,
            facility.pk,
            facility.units,
            facility.time_zone,
            get_language(),
            sorted(request.user.roles),
            clock.now().replace(second=0, microsecond=0),
        )

    def part(
        self, template_name: str, read: Callable[[], dict[str, Any]], about: str = ""
    ) -> SafeString:
        """Return the template rendered with what `read` returns, or as it was kept.

        `about` tells apart the parts of one template: the case, what was looked for. In the
        template `{% csrf_token %}` and `{{ once }}`, a token of one sending, are new each time.
        """
        return self._kept(template_name, read, self._root and (about, *self._words))

    def words(self, name: str, read: Callable[[], str], about: str = "") -> str:
        """Return a few words, such as a title, as they are or as they were kept."""
        key = _key(name, (about, *self._words)) if self._root else ""
        kept: str | None = caches[CACHE].get(key) if key else None
        if kept is None:
            kept = read()
            if key:
                caches[CACHE].set(key, kept, KEPT_S)
        return kept

    def form(
        self, template_name: str, read: Callable[[], dict[str, Any]], about: str = ""
    ) -> SafeString:
        """Return an empty form, or as it was kept: of the record it must show nothing at all.

        It depends on the language, the units, the roles and what it is `about`; with the hour.
        """
        hour = clock.now().replace(minute=0, second=0, microsecond=0)
        return self._kept(template_name, read, (about, *self._words[1:-1], hour), HOUR_S)

    def _kept(
        self,
        template_name: str,
        read: Callable[[], dict[str, Any]],
        words: Any,
        longest_s: float = KEPT_S,
    ) -> SafeString:
        """Return what is kept under these words, or render it; without words nothing is kept."""
        key = _key(template_name, words)
        part: SafeString | None = caches[CACHE].get(key) if words else None
        if part is None:
            context = dict(read())
            seconds = _seconds(context.pop(UNTIL, None), longest_s)
            gaps = {"csrf_token": CSRF_GAP, "once": ONCE_GAP}
            part = render_to_string(template_name, {"facility": self._facility, **gaps, **context})
            if words and seconds > 0:
                caches[CACHE].set(key, part, seconds)
        return self._filled(part)

    def _filled(self, part: SafeString) -> SafeString:
        """Return the part with tokens of this answer in its gaps."""
        if CSRF_GAP not in part:
            return part
        text = part.replace(CSRF_GAP, get_token(self._request))
        filled = re.sub(ONCE_GAP, lambda _gap: new_token(), text)
        return mark_safe(filled)  # noqa: S308 - a rendered template; tokens are letters and digits


def _key(name: str, words: Any) -> str:
    return hashlib.sha256(repr((name, words)).encode()).hexdigest()


def first_change(times: Iterable[datetime | None]) -> datetime | None:
    """Return the first of these times that is still to come: what `read` returns as UNTIL."""
    now = clock.now()
    return min((at for at in times if at is not None and at >= now), default=None)


def _seconds(until: datetime | None, longest_s: float) -> float:
    """How long a part may be kept: to the end of its minute, or until time alone changes it."""
    return min(longest_s, (until - clock.now()).total_seconds()) if until else longest_s
