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
import ipaddress
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
# Choices of this design: more than an office mistypes, less than guessing needs.
MOST_FROM_ADDRESS = 100
MOST_AT_CODE = 50


def spend(rows: QuerySet[Any], prefix: str = "", most: int = MAX_FAILURES) -> bool:
    """Count one try on the row, and lock it with the `most`th one; False while it is locked.

    `rows` holds one row with the columns `{prefix}failures` and `{prefix}locked_until`. Must not
    run inside a transaction that a refusal rolls back: the count stays.
    """
    now = clock.now()
    failures, until = f"{prefix}failures", f"{prefix}locked_until"
    is_last = Q(**{f"{failures}__gte": most - 1})
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


def network(address: str) -> str:
    """Return what one guesser can change freely cut off: of IPv6 only the first 64 bits count."""
    try:
        parsed = ipaddress.ip_address(address)
    except ValueError:
        return address
    if parsed.version == 4:
        return address
    if parsed.ipv4_mapped:
        return str(parsed.ipv4_mapped)
    return str(ipaddress.ip_network((int(parsed) >> 64 << 64, 64)))


def spend_sign_in(request: HttpRequest, staff_code: str) -> bool:
    """Count a try at signing in; False while this address, this code, or both are locked.

    Three counts: of one code from one address; of one code from anywhere (guessers with many
    addresses); of everything from one address (an office behind one types many codes). Where the
    first is locked the others do not count on, so that nobody locks a code for all from one
    place. A code that nobody has is counted alike: the answer does not tell which there are.
    """
    counts = _counts(request, staff_code)
    return all(spend(_row(text), most=most) for text, most in counts)


def forgive_sign_in(request: HttpRequest, staff_code: str) -> None:
    """End the counts after a right password, but for that of the whole address."""
    for text, _most in _counts(request, staff_code)[:2]:
        forgive(_row(text))


def _counts(request: HttpRequest, staff_code: str) -> list[tuple[str, int]]:
    address, code = network(client_address(request)), staff_code.strip().upper()
    return [
        (f"{code}\n{address}", MAX_FAILURES),
        (f"code\n{code}", MOST_AT_CODE),
        (f"from\n{address}", MOST_FROM_ADDRESS),
    ]


def _row(text: str) -> QuerySet[SignInTries]:
    """Return the row of a count: it has a keyed digest only, what was typed is stored nowhere."""
    key = hmac.new(settings.SECRET_KEY.encode(), text.encode(), hashlib.sha256).hexdigest()
    now = clock.now()
    _found, is_new = SignInTries.objects.get_or_create(key=key, defaults={"since": now})
    if is_new:
        old = SignInTries.objects.filter(since__lt=now - KEPT_FOR)
        old.exclude(locked_until__gt=now).delete()
    return SignInTries.objects.filter(key=key)
