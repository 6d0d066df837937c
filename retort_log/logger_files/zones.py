"""From the clock on the wall to UTC, many times at once. Pure.

Of the hour that comes twice when the clocks go back, the order of the lines tells which one is
meant, if the file shows both. Nothing else does.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from retort_log.logger_files.stamps import DAY_MS

_FEW_DAYS = 31
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Moments:
    """UTC times in ms, and which of them never were or came twice and are not settled."""

    ms: NDArray[np.int64]
    skipped: NDArray[np.bool_]
    unsettled: NDArray[np.bool_]


def to_utc(local: NDArray[np.int64], zone: str, repeated: str, newest_first: bool) -> Moments:
    """The UTC time of each local one, in the order of the file's lines.

    `repeated` is "first" or "second" for the hour that comes twice, or "ask": then the order
    decides where it can. `newest_first` is true for a file whose lines run backwards.
    """
    info = ZoneInfo(zone)
    ms, nowhere = local.copy(), np.zeros(len(local), np.bool_)
    if len(local) == 0:
        return Moments(ms, nowhere, nowhere)
    ahead = _same_for_all(local, info)
    if ahead is not None:
        return Moments(ms - ahead, nowhere, nowhere)
    skipped, unsettled = nowhere.copy(), nowhere.copy()
    day = local // DAY_MS
    heads = np.concatenate(([0], np.flatnonzero(np.diff(day)) + 1))
    days, which = np.unique(day[heads], return_inverse=True)
    offsets = [_offsets(int(number), info) for number in days]
    before = np.array([offset[0] for offset in offsets])[which]
    ms -= before[0] if len(heads) == 1 else np.repeat(before, np.diff([*heads, len(local)]))
    for number, offset in zip(days, offsets, strict=True):
        if offset[0] != offset[1]:
            here = np.flatnonzero(day == number)
            settled = _change_day(local[here], offset, repeated, newest_first)
            ms[here], skipped[here], unsettled[here] = (
                settled.ms,
                settled.skipped,
                settled.unsettled,
            )
    return Moments(ms, skipped, unsettled)


def _same_for_all(local: NDArray[np.int64], zone: ZoneInfo) -> int | None:
    """How far the clock is ahead if that is the same on all days, as far as quickly seen."""
    first, last = int(local.min()) // DAY_MS, int(local.max()) // DAY_MS
    if last - first > _FEW_DAYS:
        return None
    offsets = {_offsets(day, zone)[:2] for day in range(first, last + 1)}
    before, after = next(iter(offsets))
    return before if len(offsets) == 1 and before == after else None


def _change_day(
    wall: NDArray[np.int64], offset: tuple[int, int, int], repeated: str, newest_first: bool
) -> Moments:
    """The times of one day on which the clocks change."""
    before, after, change = offset
    ms = wall - np.where(wall < change + max(before, after), before, after)
    nowhere = np.zeros(len(wall), np.bool_)
    if after > before:
        return Moments(ms, (wall >= change + before) & (wall < change + after), nowhere)
    twice = (wall >= change + after) & (wall < change + before)
    second, is_open = _second_pass(wall[twice], before - after, repeated, newest_first)
    ms[twice] += np.where(second, before - after, 0)
    return Moments(ms, nowhere, twice & is_open)


def _second_pass(
    wall: NDArray[np.int64], length: int, repeated: str, newest_first: bool
) -> tuple[NDArray[np.bool_], bool]:
    """Which lines belong to the second pass, and whether that stays open.

    Both passes show where the time goes back once, and by at least half the `length` (ms) of
    what is repeated: a line written a little late must not send all that follow an hour on.
    """
    if repeated in ("first", "second"):
        return np.full(len(wall), repeated == "second"), False
    ordered = wall[::-1] if newest_first else wall
    back = np.flatnonzero(np.diff(ordered) < 0)
    if len(back) != 1 or ordered[back[0]] - ordered[back[0] + 1] < length // 2:
        return np.zeros(len(wall), np.bool_), True
    second = np.arange(len(wall)) > back[0]
    return (second[::-1] if newest_first else second), False


def _offsets(day: int, zone: ZoneInfo) -> tuple[int, int, int]:
    """How far (ms) the clock is ahead of UTC before and after a change on this day, and when.

    The change is the first UTC ms of the new offset; without a change both offsets are one.
    """
    low, high = day * DAY_MS - DAY_MS // 2, day * DAY_MS + DAY_MS * 3 // 2
    before, after = _ahead(low, zone), _ahead(high, zone)
    if before == after:
        return before, after, 0
    while high - low > 1:
        middle = (low + high) // 2
        if _ahead(middle, zone) == before:
            low = middle
        else:
            high = middle
    return _within(day, before, after, high)


def _within(day: int, before: int, after: int, change: int) -> tuple[int, int, int]:
    """The offsets as they concern this day: one of them if the change falls on another one."""
    start, end = day * DAY_MS, (day + 1) * DAY_MS
    first, last = sorted((change + before, change + after))
    if last <= start:
        return after, after, 0
    if first >= end:
        return before, before, 0
    return before, after, change


def _ahead(ms: int, zone: ZoneInfo) -> int:
    offset = (_EPOCH + timedelta(milliseconds=ms)).astimezone(zone).utcoffset()
    return (offset or timedelta()) // timedelta(milliseconds=1)
