"""The one place that says what time it is.

Code asks `now()` and never the operating system, so that a demonstration or a test can hold the
time still with `pinned(...)`.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, datetime

_pinned_at: ContextVar[datetime | None] = ContextVar("pinned_at", default=None)


def now() -> datetime:
    """The present moment, aware, in UTC; the pinned moment inside `pinned`."""
    return _pinned_at.get() or datetime.now(UTC)


@contextmanager
def pinned(at: datetime) -> Iterator[datetime]:
    """Hold `now()` at one moment inside a `with` block; blocks may be nested.

    The pin belongs to the running context: other threads, among them those of a live test
    server, keep the real time. Raises ValueError for a time without a zone.
    """
    if at.utcoffset() is None:
        raise ValueError(f"the clock needs a time with its zone, got {at!r}")
    token = _pinned_at.set(at.astimezone(UTC))
    try:
        yield at
    finally:
        _pinned_at.reset(token)
