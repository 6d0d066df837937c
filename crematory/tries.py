"""Counting tries at a secret, so that nobody finds it by guessing, not even many at once.

A try is counted before it is checked, by one conditional UPDATE: of fifty guesses that come in
the same moment, the database lets `MAX_FAILURES` through. A right answer ends the count.

Signing in is counted here too, and not by django-axes (looked at in its version 8.3.1): that
counts after the password was checked, which guesses in parallel get past (its issue 592, marked
as known and not to be fixed), and by default it stores and logs what was typed as a name: a
password, where somebody types it into the wrong field.
"""

import hashlib
import hmac
from datetime import timedelta
from typing import Any

from django.conf import settings
from django.db.models import Case, F, Q, QuerySet, Value, When
from django.http import HttpRequest

from crematory import clock
from crematory.models import SignInTries

MAX_FAILURES = 5
LOCKED_FOR = timedelta(minutes=15)
KEPT_FOR = timedelta(days=1)


def spend(rows: QuerySet[Any], prefix: str = "") -> bool:
    """Count one try on the row, and lock it with the last one; False while it is locked.

    `rows` holds one row with the columns `{prefix}failures` and `{prefix}locked_until`. Must not
    run inside a transaction that a refusal rolls back: the count stays.
    """
    now = clock.now()
    failures, until = f"{prefix}failures", f"{prefix}locked_until"
    is_last = Q(**{f"{failures}__gte": MAX_FAILURES - 1})
    unlocked = rows.filter(Q(**{f"{until}__isnull": True}) | Q(**{f"{until}__lte": now}))
    counted = unlocked.update(
        **{
            failures: Case(When(is_last, then=Value(0)), default=F(failures) + 1),
            until: Case(When(is_last, then=Value(now + LOCKED_FOR)), default=Value(None)),
        }
    )
    return bool(counted)


def forgive(rows: QuerySet[Any], prefix: str = "") -> None:
    """End the count after a right answer."""
    rows.update(**{f"{prefix}failures": 0, f"{prefix}locked_until": None})


def client_address(request: HttpRequest) -> str:
    """Return the address of the client; behind our own proxy, the one that the proxy saw.

    Only the last name in `X-Forwarded-For` is the proxy's own; those before it come from the
    client, who may write anything there.
    """
    if settings.BEHIND_TLS_PROXY:
        seen = request.META.get("HTTP_X_FORWARDED_FOR", "").rpartition(",")[2].strip()
        if seen:
            return seen
    return str(request.META.get("REMOTE_ADDR", ""))


def sign_in_tries(request: HttpRequest, staff_code: str) -> QuerySet[SignInTries]:
    """Return the row that counts the tries at this code from this client's address.

    The row has a keyed digest of the two: what was typed is stored nowhere. A code that nobody
    has is counted like any other, so that the answer does not tell which codes there are.
    """
    text = f"{staff_code.strip().upper()}\n{client_address(request)}"
    key = hmac.new(settings.SECRET_KEY.encode(), text.encode(), hashlib.sha256).hexdigest()
    now = clock.now()
    _row, is_new = SignInTries.objects.get_or_create(key=key, defaults={"since": now})
    if is_new:
        old = SignInTries.objects.filter(since__lt=now - KEPT_FOR)
        old.exclude(locked_until__gt=now).delete()
    return SignInTries.objects.filter(key=key)
