"""One drawing of a run: columns of numbers for the screen, lines of SVG for paper. Pure.

Thousands of readings become a lowest and a highest value for each column of the drawing, so that
every peak and dip stays visible. A gap breaks the line: nothing is drawn where nothing was read.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from html import escape
from typing import Any

import numpy as np
from numpy.typing import NDArray

from retort_log.readings import Trace

# More points than this are thinned for the screen; peaks and dips stay.
SCREEN_POINTS = 40_000
WIDTH, HEIGHT = 720, 300
LEFT, RIGHT, TOP, BOTTOM = 56, 12, 10, 34
COLUMNS = WIDTH - LEFT - RIGHT
# Every line has its own dashes as well as its colour: papers are copied in black and white.
STYLES = {
    "primary": ("#7a3b10", ""),
    "secondary": ("#123f66", ""),
    "stack": ("#5b5b5b", "2 3"),
}
WEIGHTS = {"primary": 1.0, "secondary": 2.0, "stack": 1.0}
LIMIT_DASHES = "7 4"
LETTER = 4.7  # about the width of a letter of text, for the pale field behind words
STEPS_MIN = (1, 2, 5, 10, 15, 30, 60, 120, 240)

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class LimitLine:
    """A limit that is drawn across: its value in the chart's unit, and its words."""

    value: float
    words: str


@dataclass(frozen=True)
class Mark:
    """Something that happened: when (seconds since the epoch), and in words."""

    at: float
    words: str


@dataclass(frozen=True)
class Chart:
    """A run to be drawn, from `start` to `end` in seconds since the epoch, in one unit."""

    traces: Mapping[str, Trace]
    unit: str
    start: float
    end: float
    max_gap_s: float
    limits: tuple[LimitLine, ...] = ()
    marks: tuple[Mark, ...] = ()
    zone: tzinfo = UTC
    title: str = "Temperatures of the run"
    words: Mapping[str, str] | None = None  # what each channel is called

    def drawn(self) -> dict[str, tuple[Floats, Floats]]:
        """Return times and values within the drawing by channel, with NaN in every gap."""
        return {name: self._drawn(trace) for name, trace in self.traces.items()}

    def name_of(self, channel: str) -> str:
        """Return what a channel is called."""
        return (self.words or {}).get(channel, channel.capitalize())

    def _drawn(self, trace: Trace) -> tuple[Floats, Floats]:
        trace = trace.to(self.unit)
        keep = (trace.seconds >= self.start) & (trace.seconds <= self.end)
        at, values = trace.seconds[keep], trace.values[keep]
        broken = np.flatnonzero(np.diff(at) > self.max_gap_s) + 1
        middle = (at[broken] + at[broken - 1]) / 2
        return np.insert(at, broken, middle), np.insert(values, broken, np.nan)


def for_screen(chart: Chart) -> dict[str, Any]:
    """Return plain columns for the drawing on screen: one list of times, one of each channel.

    Times are seconds since the epoch; None where a channel has no value. JSON without NaN.
    """
    drawn = {
        name: thinned(at, values, SCREEN_POINTS // max(1, len(chart.traces)))
        for name, (at, values) in chart.drawn().items()
    }
    times = np.unique(np.concatenate([at for at, _ in drawn.values()] or [np.empty(0)]))
    columns = []
    for at, values in drawn.values():
        column = np.full(len(times), np.nan)
        column[np.searchsorted(times, at)] = values
        # A time of another channel only is no gap of this one: uPlot joins over undefined, so
        # that a gap is an explicit null and every other hole is filled along the line.
        hole = ~np.isin(times, at)
        if len(at) > 1:
            column[hole] = np.interp(times[hole], at, values, left=np.nan, right=np.nan)
        columns.append([None if math.isnan(v) else round(v, 1) for v in column.tolist()])
    return {
        "times": times.tolist(),
        "channels": [{"name": name, "words": chart.name_of(name)} for name in drawn],
        "columns": columns,
        "limits": [{"value": line.value, "words": line.words} for line in chart.limits],
        "marks": [{"at": mark.at, "words": mark.words} for mark in chart.marks],
        "start": chart.start,
        "end": chart.end,
    }


def thinned(at: Floats, values: Floats, most: int) -> tuple[Floats, Floats]:
    """Keep the lowest and the highest value of each of `most / 2` stretches of time."""
    if len(at) <= most:
        return at, values
    edges = np.linspace(at[0], at[-1], most // 2 + 1)
    column = np.clip(np.searchsorted(edges, at, side="right") - 1, 0, most // 2 - 1)
    keep = np.isnan(values)
    keep[0] = keep[-1] = True
    known = np.flatnonzero(~keep)
    order = known[np.lexsort((values[known], column[known]))]
    ends = np.flatnonzero(np.diff(column[order], append=-1))
    starts = np.concatenate(([0], ends[:-1] + 1)) if len(ends) else ends
    keep[order[starts]] = keep[order[ends]] = True
    return at[keep], values[keep]


def svg(chart: Chart) -> str:
    """Return the chart as an SVG drawing for paper, with its title as alternative text."""
    drawn = chart.drawn()
    top = _top([*(values for _, values in drawn.values())], chart.limits)
    sheet = _Sheet(chart, top, drawn)
    parts = [f"<title>{escape(chart.title)}</title>", *_grid(sheet, chart), *_limits(sheet, chart)]
    parts += [
        line for name, (at, values) in drawn.items() for line in _line(sheet, name, at, values)
    ]
    parts += _marks(sheet, chart)
    parts += _legend(chart)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" '
        f'width="{WIDTH}" height="{HEIGHT}" font-family="Source Sans 3" font-size="10" '
        f'fill="#1c1c1c">{"".join(parts)}</svg>'
    )


@dataclass(frozen=True)
class _Box:
    """A field for words on the drawing."""

    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: "_Box") -> bool:
        """True where words in both would lie on one another."""
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )


@dataclass(frozen=True)
class _Sheet:
    """Where a time and a value lie on the drawing."""

    chart: Chart
    top: float
    drawn: Mapping[str, tuple[Floats, Floats]]

    def x(self, at: float) -> float:
        span = max(self.chart.end - self.chart.start, 1.0)
        return LEFT + (at - self.chart.start) / span * COLUMNS

    def y(self, value: float) -> float:
        return HEIGHT - BOTTOM - value / self.top * (HEIGHT - TOP - BOTTOM)

    def readings_in(self, box: "_Box") -> int:
        """Count the readings that words in this box would hide."""
        span = max(self.chart.end - self.chart.start, 1.0)
        first, last = (
            self.chart.start + (x - LEFT) / COLUMNS * span for x in (box.left, box.right)
        )
        per = self.top / (HEIGHT - TOP - BOTTOM)
        high, low = ((HEIGHT - BOTTOM - y) * per for y in (box.top, box.bottom))
        return sum(
            int(np.count_nonzero((at > first) & (at < last) & (values > low) & (values < high)))
            for at, values in self.drawn.values()
        )


def _top(columns: Sequence[Floats], limits: Iterable[LimitLine]) -> float:
    known = [float(np.nanmax(c)) for c in columns if len(c) and not np.isnan(c).all()]
    highest = max([*known, *(line.value for line in limits), 100.0])
    return math.ceil(highest * 1.05 / 100) * 100


def _grid(sheet: _Sheet, chart: Chart) -> list[str]:
    step = next(s for s in (100, 200, 250, 500, 1000) if sheet.top / s <= 8 or s == 1000)
    unit = {"degC": "°C", "degF": "°F"}.get(chart.unit, chart.unit)
    parts = []
    for value in range(0, int(sheet.top) + 1, step):
        y = sheet.y(value)
        parts.append(_rule(LEFT, y, WIDTH - RIGHT, y, "#d5d5d5"))
        label = f"{value:,} {unit}"
        parts.append(f'<text x="{LEFT - 5}" y="{y + 3:.1f}" text-anchor="end">{label}</text>')
    for at, label in _ticks(chart):
        x = sheet.x(at)
        parts.append(_rule(x, HEIGHT - BOTTOM, x, HEIGHT - BOTTOM + 4, "#555"))
        y = HEIGHT - BOTTOM + 14
        parts.append(f'<text x="{x:.1f}" y="{y}" text-anchor="middle">{label}</text>')
    return parts


def _ticks(chart: Chart) -> list[tuple[float, str]]:
    minutes = (chart.end - chart.start) / 60
    step = next((s for s in STEPS_MIN if minutes / s <= 9), STEPS_MIN[-1]) * 60
    begun = datetime.fromtimestamp(chart.start, UTC).astimezone(chart.zone)
    offset = (begun.utcoffset() or datetime.resolution * 0).total_seconds()
    first = math.ceil((chart.start + offset) / step) * step - offset
    found = []
    at = first
    while at <= chart.end:
        clock = datetime.fromtimestamp(at, UTC).astimezone(chart.zone)
        found.append((at, f"{clock:%H:%M}"))
        at += step
    return found


def _limits(sheet: _Sheet, chart: Chart) -> list[str]:
    """Draw the limits; the words stand at that end, above or below, where they hide the least."""
    lines = [sheet.y(line.value) for line in chart.limits]
    parts: list[str] = []
    taken: list[_Box] = []
    for line, y in zip(chart.limits, lines, strict=True):
        parts.append(_rule(LEFT, y, WIDTH - RIGHT, y, "#8a1f11", LIMIT_DASHES))
        width = LETTER * len(line.words)
        ends, tops = (WIDTH - RIGHT - width, LEFT + 2.0), (y - 12, y + 2)
        spots = [_Box(x, top, x + width, top + 11) for x in ends for top in tops]
        best = min(spots, key=lambda spot: _hidden(sheet, spot, lines, taken))
        taken.append(best)
        parts.append(
            f'<rect x="{best.left:.1f}" y="{best.top:.1f}" width="{width:.1f}" height="11" '
            f'fill="#fff" fill-opacity="0.8"/>'
            f'<text x="{best.left + 2:.1f}" y="{best.top + 9:.1f}" fill="#8a1f11">'
            f"{escape(line.words)}</text>"
        )
    return parts


def _hidden(sheet: _Sheet, box: _Box, lines: Iterable[float], taken: Iterable[_Box]) -> int:
    """Count the readings under words; another limit's line or words count for more than all."""
    crossing = sum(box.top < y < box.bottom for y in lines)
    return sheet.readings_in(box) + (crossing + sum(map(box.meets, taken))) * SCREEN_POINTS


def _line(sheet: _Sheet, name: str, at: Floats, values: Floats) -> list[str]:
    """One polyline for each stretch without a gap, a lowest and a highest point a column."""
    colour, dashes = STYLES.get(name, ("#5b5b5b", "1 2"))
    at, values = thinned(at, values, COLUMNS * 2)
    breaks = np.flatnonzero(np.isnan(values))
    parts = []
    for stretch in np.split(np.arange(len(at)), breaks):
        rows = stretch[~np.isnan(values[stretch])]
        if not len(rows):
            continue
        points = " ".join(f"{sheet.x(at[i]):.1f},{sheet.y(values[i]):.1f}" for i in rows)
        if len(rows) == 1:  # a single reading between two gaps is a dot, not nothing
            x, y = points.split(",")
            parts.append(f'<circle cx="{x}" cy="{y}" r="1.5" fill="{colour}"/>')
            continue
        parts.append(
            f'<polyline points="{points}" fill="none" stroke="{colour}" '
            f'stroke-width="{WEIGHTS.get(name, 1.0)}"'
            + (f' stroke-dasharray="{dashes}"' if dashes else "")
            + "/>"
        )
    return parts


def _marks(sheet: _Sheet, chart: Chart) -> list[str]:
    parts, taken = [], -math.inf
    for number, mark in enumerate(chart.marks, start=1):
        if not chart.start <= mark.at <= chart.end:
            continue
        x = sheet.x(mark.at)
        parts.append(_rule(x, TOP + 10, x, HEIGHT - BOTTOM, "#555", "1 3"))
        # Two numbers never lie on one another: the second stands a little to the right.
        taken = max(x, taken + 9)
        parts.append(f'<text x="{taken:.1f}" y="{TOP + 7}" text-anchor="middle">{number}</text>')
    return parts


def _legend(chart: Chart) -> list[str]:
    parts, x, y = [], LEFT, HEIGHT - 6
    for name in chart.traces:
        colour, dashes = STYLES.get(name, ("#5b5b5b", "1 2"))
        parts.append(_rule(x, y - 3, x + 22, y - 3, colour, dashes, WEIGHTS.get(name, 1.0)))
        words = chart.name_of(name)
        parts.append(f'<text x="{x + 26}" y="{y}">{escape(words)}</text>')
        x += 40 + 6 * len(words)
    return parts


def _rule(
    x1: float, y1: float, x2: float, y2: float, colour: str, dashes: str = "", weight: float = 1.0
) -> str:
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return (
        f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{colour}" '
        f'stroke-width="{weight}"{dashed}/>'
    )
