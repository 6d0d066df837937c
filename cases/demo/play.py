"""Playing many lives in the order of time, with the clock held at each moment."""

import heapq
from collections.abc import Callable, Iterable, Iterator
from datetime import datetime

from crematory import clock

Lives = Iterable[Iterator[datetime]]


def play(lives: Lives, now: datetime, seen: Callable[[], None] = lambda: None) -> None:
    """Let everything happen that lies not later than `now`; call `seen` after each event.

    What is recorded later gets a later time, also where one life fell behind by a few minutes.
    """
    queue: list[tuple[datetime, int, Iterator[datetime]]] = []
    for number, life in enumerate(lives):
        _queue(queue, number, life)
    at = min(queue)[0] if queue else now
    while queue:
        due, number, life = heapq.heappop(queue)
        at = max(at, due)
        if at > now:
            return
        with clock.pinned(at):
            _queue(queue, number, life)
            seen()


def _queue(
    queue: list[tuple[datetime, int, Iterator[datetime]]], number: int, life: Iterator[datetime]
) -> None:
    due = next(life, None)
    if due is not None:
        heapq.heappush(queue, (due, number, life))
