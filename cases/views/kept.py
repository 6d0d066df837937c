"""Parts of a page that are kept in this process's memory for as long as they are true.

Whatever the site writes appends to the facility's trail in the same transaction, so the root of
the trail names one state of the record: after any act the root is another one, and no part kept
before is asked for again. What is shown also depends on the
minute ("3 h ago"), the language, the facility's units and zone and the member's roles: they
belong to the key. A facility without an entry keeps nothing.

A part is rendered without the request: it can hold no token, no message and no form. Gates are
asked anew each time and never kept.
"""

import hashlib
from collections.abc import Callable
from datetime import datetime
from typing import Any

from django.core.cache import caches
from django.template.loader import render_to_string
from django.utils.safestring import SafeString
from django.utils.translation import get_language

from cases.views.requests import StaffRequest
from crematory import clock

CACHE = "parts"
KEPT_S = 60.0  # the minute is in the key: what is older is never asked for
UNTIL = "true_until"  # what `read` may return beside the context: when time alone changes it


class Kept:
    """The kept parts of one page."""

    def __init__(self, request: StaffRequest) -> None:
        facility = self._facility = request.facility
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

        `about` tells apart the parts of one template: the case, what was looked for.
        """
        words = repr((template_name, about, *self._words))
        key = hashlib.sha256(words.encode()).hexdigest()
        kept: SafeString | None = caches[CACHE].get(key) if self._root else None
        if kept is None:
            context = read()
            seconds = _seconds(context.pop(UNTIL, None))
            kept = render_to_string(template_name, {"facility": self._facility, **context})
            if self._root and seconds > 0:
                caches[CACHE].set(key, kept, seconds)
        return kept


def _seconds(until: datetime | None) -> float:
    """How long a part may be kept: to the end of its minute, or until time alone changes it."""
    return min(KEPT_S, (until - clock.now()).total_seconds()) if until else KEPT_S
