"""What is known of a retort's temperatures, from hands and from recorders together.

Gates, findings and pages ask here. Where a recorder wrote, it says what the chamber did; a
reading by hand counts in its gaps (`retort_log.readings.merged`). Nothing is filled in.
"""

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from itertools import pairwise
from typing import Any

import numpy as np
from django.db.models import QuerySet

from chain_of_custody.canonical import canonical_bytes
from crematory.units import convert
from retort_log import blocks, selectors
from retort_log.blocks import Channel, Series
from retort_log.models import LiveSample, Reading, ReadingBlock, Retort, Run
from retort_log.readings import Trace

CHAMBERS = ("primary", "secondary")
# No recorder writes more seldom than this; a line at the edge of a time may begin so far before.
EDGE = timedelta(hours=1)
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
MS = timedelta(milliseconds=1)
CENT = Decimal("0.01")


@dataclass(frozen=True)
class Newest:
    """The newest temperature of one chamber, in °C; `reading` where a person read it."""

    at: datetime
    celsius: Decimal
    reading: Reading | None


@dataclass(frozen=True)
class Window:
    """All of a retort between two times: by channel what recorders wrote, and hands typed."""

    traces: Mapping[str, Trace]
    hand: Mapping[str, Trace]


def to_ms(at: datetime) -> int:
    """Return milliseconds since 1970 UTC, rounded down."""
    return (at - EPOCH) // MS


def from_ms(ms: int) -> datetime:
    """Return the time of so many milliseconds since 1970 UTC."""
    return EPOCH + int(ms) * MS


def newest(retort: Retort, chamber: str, now: datetime) -> Newest | None:
    """Return the newest temperature of a chamber that is not later than `now`. Four queries."""
    typed = selectors.newest_reading(retort, now)
    found = _newest_recorded(retort, chamber, now)
    if typed and (found is None or typed.at > found.at):
        value = typed.primary_c if chamber == "primary" else typed.secondary_c
        return Newest(typed.at, value, typed.reading)
    return found


def window(retort: Retort, start: datetime, end: datetime) -> Window:
    """Return what was read from a little before `start` to a little after `end`."""
    first, last = start - EDGE, end + EDGE
    rows = selectors.standing(
        selectors.that_count(Reading.objects.filter(retort=retort, at__range=(first, last)))
    )
    hand = {
        name: Trace.of(((row.at, _chamber(row, name)) for row in rows), "degC", is_typed=True)
        for name in CHAMBERS
        if rows
    }
    return Window(_traces(parts(retort, first, last)), hand)


def parts(retort: Retort, start: datetime, end: datetime) -> list[Series]:
    """Return what recorders wrote between two times, both included, in the order of time."""
    if _is_without(retort):
        return []
    held = _blocks(retort.pk, start, end)
    found = [blocks.unpack(bytes(row.body), row.sha256) for row in held]
    found += _live(retort.pk, start, end)
    cut = (_cut(series, to_ms(start), to_ms(end)) for series in found)
    return sorted((s for s in cut if len(s.times_ms)), key=lambda s: int(s.times_ms[0]))


def times(retort: Retort, start: datetime, end: datetime) -> list[datetime]:
    """Return when the secondary chamber was read between two times, by hand or recorder."""
    typed = selectors.that_count(Reading.objects.filter(retort=retort, at__range=(start, end)))
    found = set(typed.values_list("at", flat=True))
    for series in parts(retort, start, end):
        column = _column(series, "secondary")
        if column is not None:
            known = series.steps[:, column] != blocks.NO_VALUE
            found.update(from_ms(ms) for ms in series.times_ms[known].tolist())
    return sorted(found)


def gaps(retort: Retort, start: datetime, end: datetime, every: timedelta) -> list[tuple[Any, Any]]:
    """Return the times longer than `every` without a reading, both ends of the time counted.

    A reading taken just before `start` does not count: averages hold while remains burn.
    """
    edges = [start, *times(retort, start, end), end]
    return [(a, b) for a, b in pairwise(edges) if b - a > every]


def is_read(retort: Retort, after: datetime, until: datetime) -> bool:
    """Return whether a reading that counts was taken after `after`, up to `until`."""
    return any(at > after for at in times(retort, after, until))


def digest(retort: Retort, start: datetime, end: datetime) -> tuple[str, int]:
    """Return the SHA-256 of all readings between two times, and how many there are.

    Over canonical JSON of each channel list's series (`retort_log.blocks.series_sha256`) and of
    the readings by hand as they stand; how recorders' samples are cut into blocks changes
    nothing.
    """
    by_channels: dict[tuple[Channel, ...], list[Series]] = {}
    for series in parts(retort, start, end):
        by_channels.setdefault(series.channels, []).append(series)
    told = [
        {
            "channels": [[c.name, c.unit, c.per_unit] for c in channels],
            "count": sum(len(s.times_ms) for s in found),
            "sha256": blocks.series_sha256(found),
        }
        for channels, found in sorted(by_channels.items(), key=lambda item: repr(item[0]))
    ]
    typed = selectors.standing(
        selectors.that_count(Reading.objects.filter(retort=retort, at__range=(start, end)))
    )
    hand = [[row.at, row.primary_c, row.secondary_c] for row in typed]
    count = sum(part["count"] for part in told) + len(hand)  # type: ignore[misc]
    text = canonical_bytes({"recorded": told, "hand": hand})
    return hashlib.sha256(text).hexdigest(), count


def _chamber(row: selectors.Standing, name: str) -> Decimal:
    return row.primary_c if name == "primary" else row.secondary_c


def _blocks(retort: int, start: datetime, end: datetime) -> QuerySet[Any]:
    rows = ReadingBlock.objects.filter(retort=retort, ends_at__gte=start, starts_at__lte=end)
    return rows.only("body", "sha256").order_by("starts_at")


def _live(retort: int, start: datetime, end: datetime) -> list[Series]:
    rows = LiveSample.objects.filter(retort=retort, at_ms__range=(to_ms(start), to_ms(end)))
    return packable(rows.order_by("at_ms").values_list("at_ms", "tenths"))


def packable(rows: Iterable[tuple[int, Mapping[str, Any]]]) -> list[Series]:
    """Make series of live samples: a new one wherever the channels change.

    Each row is (ms since 1970 UTC, {"channel unit": tenths or None}), in the order of time.
    """
    found: list[Series] = []
    names: tuple[str, ...] = ()
    times_ms: list[int] = []
    steps: list[list[int]] = []

    def close() -> None:
        if times_ms:
            channels = tuple(_channel(name) for name in names)
            found.append(Series(channels, np.array(times_ms, np.int64), np.array(steps, np.int32)))

    for ms, tenths in rows:
        if tuple(sorted(tenths)) != names:
            close()
            names, times_ms, steps = tuple(sorted(tenths)), [], []
        times_ms.append(ms)
        steps.append([blocks.NO_VALUE if tenths[n] is None else tenths[n] for n in names])
    close()
    return found


def _channel(told: str) -> Channel:
    name, unit = told.split(" ", 1)
    return Channel(name, unit)


def _cut(series: Series, first_ms: int, last_ms: int) -> Series:
    lo = int(np.searchsorted(series.times_ms, first_ms))
    hi = int(np.searchsorted(series.times_ms, last_ms, side="right"))
    return Series(series.channels, series.times_ms[lo:hi], series.steps[lo:hi])


def _column(series: Series, name: str) -> int | None:
    return next((i for i, c in enumerate(series.channels) if c.name == name), None)


def _traces(found: list[Series]) -> dict[str, Trace]:
    pieces: dict[str, list[Trace]] = {}
    for series in found:
        values = series.values()
        seconds = series.times_ms / 1000
        for i, channel in enumerate(series.channels):
            piece = Trace(seconds, values[:, i], channel.unit)
            earlier = pieces.setdefault(channel.name, [])
            earlier.append(piece.to(earlier[0].unit) if earlier else piece)
    return {
        name: Trace(
            np.concatenate([p.seconds for p in of_one]),
            np.concatenate([p.values for p in of_one]),
            of_one[0].unit,
        )
        for name, of_one in pieces.items()
    }


def _is_without(retort: Retort) -> bool:
    """A page may have seen that no recorder ever wrote of this retort; an act never has."""
    return "nothing_recorded" in vars(retort)


def _newest_recorded(retort: Retort, chamber: str, now: datetime) -> Newest | None:
    """Look into the newest live samples, then into the block that reaches furthest."""
    if _is_without(retort):
        return None
    live = LiveSample.objects.filter(retort=retort, at_ms__lte=to_ms(now)).order_by("-at_ms")[:60]
    recent = packable(list(live.values_list("at_ms", "tenths"))[::-1])
    held = ReadingBlock.objects.filter(retort=retort, starts_at__lte=now).only("body", "sha256")
    for row in held.order_by("-starts_at")[:1]:
        recent.insert(0, blocks.unpack(bytes(row.body), row.sha256))
    return newest_in(recent, chamber, now)


def newest_in(found: list[Series], chamber: str, now: datetime) -> Newest | None:
    """Return the newest temperature of a chamber in series that stand in the order of time."""
    for series in reversed(found):
        cut = _cut(series, 0, to_ms(now))
        column = _column(cut, chamber)
        if column is None:
            continue
        known = np.flatnonzero(cut.steps[:, column] != blocks.NO_VALUE)
        if len(known):
            channel, row_at = cut.channels[column], int(known[-1])
            value = Decimal(int(cut.steps[row_at, column])) / channel.per_unit
            celsius = convert(value, channel.unit, "degC").quantize(CENT)
            return Newest(from_ms(int(cut.times_ms[row_at])), celsius, None)
    return None


def of_run(run: Run, now: datetime) -> tuple[datetime, datetime]:
    """Return from when until when a person burned inside: to burner off, the end, or now."""
    return run.charged_at, run.burner_off_at or run.ended_at or now
