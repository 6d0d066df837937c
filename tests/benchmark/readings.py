"""Readings: a logger's file against polars, a year of runs against bare numpy, charts, and size."""

import io
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from functools import partial
from typing import Any

import numpy as np
import polars
from django.db.models import Sum
from django.db.models.functions import Length
from numpy.typing import NDArray

from crematory import clock
from retort_log import blocks, recorded
from retort_log.blocks import Channel, Series
from retort_log.chart import Chart, LimitLine, for_screen, svg
from retort_log.findings import findings
from retort_log.logger_acts import Sent, store, take_file
from retort_log.logger_files import look
from retort_log.many import Runs, many
from retort_log.models import Controller, Logger, ReadingBlock, Retort
from retort_log.permit_profiles import profile
from retort_log.readings import Trace
from retort_log.run_record import RunRecord
from tests import cast
from tests.benchmark.table import Row

SAMPLES, CHANNELS = 43_200, 4
AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
RUNS, POINTS = 2_500, 121
ROUNDS = 5
DAY = 86_400
SEED = 20_260_302
Floats = NDArray[np.float64]


def measure(engine: str, quick: bool) -> list[Row]:
    """Return a row for each part."""
    facility = cast.make_facility("QV")
    retort = Retort.objects.filter(facility=facility)[0]
    return [
        _file(retort, engine),
        _year_of_runs(),
        *_charts(),
        _year_of_seconds(retort, engine, days=10 if quick else 60),
    ]


def _noise(size: int, middle: float, seed: int) -> Floats:
    """A chamber's temperature, invented: a slow wave and the noise of a thermocouple."""
    drawn = np.random.default_rng(seed)
    wave = 25 * np.sin(np.arange(size) / 400) + np.cumsum(drawn.normal(0, 0.05, size))
    noisy = middle + wave + drawn.normal(0, 0.4, size)
    return np.round(noisy, 1).astype(np.float64)


def _csv(turn: int) -> bytes:
    begun = AT + timedelta(days=turn)
    first = np.datetime64(begun.replace(tzinfo=None), "ms")
    # Four readings a second make three hours of 43,200 rows.
    times = first + (np.arange(SAMPLES) * 250).astype("timedelta64[ms]")
    columns = [_noise(SAMPLES, m, SEED + turn + n) for n, m in enumerate((820.0, 905.0, 300.0))]
    columns.append(np.round(_noise(SAMPLES, 900.0, SEED + turn) / 100, 1))
    names = "Time,Primary (°C),Secondary (°C),Stack (°C),Oxygen (%)"
    rows = zip(times.astype(str), *(c.tolist() for c in columns), strict=True)
    return "\n".join([names, *(f"{t}Z,{a},{b},{c},{d}" for t, a, b, c, d in rows), ""]).encode()


def _file(retort: Retort, engine: str) -> Row:
    """Understood, checked, findings computed and stored, against polars that merely reads."""
    operator = cast.member(retort.facility, cast.OPERATOR)
    logger = Logger.objects.create(retort=retort, name="bench")
    ours, theirs = [], []
    for turn in range(ROUNDS + 1):
        raw = _csv(turn)
        theirs.append(_seconds(partial(_polars, raw)))
        ours.append(_seconds(partial(_taken, logger, operator, raw, turn)))
    mine, yard = min(ours[1:]), min(theirs[1:])  # the first of each warms what is loaded once
    return Row(
        f"logger's file, {SAMPLES:,} rows of {CHANNELS} channels: understood, checked, "
        f"findings, stored, {engine}",
        f"{mine * 1000:.0f} ms",
        f"{yard * 1000:.0f} ms polars reads it",
        f"{mine / yard:.2f}",
        "≤ 3",
        f"the file kept and synced too; {SAMPLES / mine:,.0f} rows/s",
    )


def _polars(raw: bytes) -> None:
    polars.read_csv(io.BytesIO(raw), try_parse_dates=True)


def _taken(logger: Logger, operator: Any, raw: bytes, turn: int) -> None:
    begun = AT + timedelta(days=turn)
    end = begun + timedelta(hours=3)
    with clock.pinned(end + timedelta(hours=1)):
        seen = look(raw, zone="UTC")
        take_file(logger, operator, Sent("log.csv", raw, seen.mapping()))
        found = recorded.window(logger.retort, begun, end)
        record = RunRecord(
            charged_at=begun,
            now=end,
            burner_off_at=end,
            traces=found.traces,
            hand=found.hand,
            mass_kg=Decimal(80),
        )
        findings(record, profile("us-ny-2020"))


def _year_of_runs() -> Row:
    """Minutes below, longest gap, extremes and the lowest one-hour mean of each run."""
    values = np.stack([_noise(POINTS, 880.0, SEED + n) for n in range(RUNS)])
    begun: Floats = np.arange(RUNS, dtype=np.float64) * 10_800.0
    seconds = begun[:, None] + np.arange(POINTS, dtype=np.float64) * 60.0
    trace = Trace(seconds.ravel(), values.ravel(), "degC")
    ends: Floats = seconds[:, -1].astype(np.float64)
    limit, window = 871.0, 3_600.0

    def ours() -> Any:
        runs = Runs.of_series(trace, "degC", 900.0, begun, ends)
        return many(runs, limit, window)

    mine = min(_seconds(ours) for _ in range(ROUNDS))
    yard = min(_seconds(lambda: _bare(seconds, values, limit, window)) for _ in range(ROUNDS))
    found, bare = ours(), _bare(seconds, values, limit, window)
    agree = np.allclose(found.seconds_below, bare[0]) and np.allclose(found.lowest_mean, bare[1])
    return Row(
        f"findings of a year, {RUNS:,} runs of {POINTS} readings",
        f"{mine * 1000:.0f} ms",
        f"{yard * 1000:.0f} ms bare numpy",
        f"{yard / mine:.2f}",
        "≥ 0.5",
        "the same figures" if agree else "THE FIGURES DIFFER",
    )


def _bare(at: Floats, values: Floats, limit: float, window: float) -> tuple[Floats, Floats]:
    """The same arithmetic on a full table without gaps: crossings and trailing means exact."""
    lengths = np.diff(at, axis=1)
    over = values - limit
    a, b = over[:, :-1], over[:, 1:]
    crosses = (a < 0) != (b < 0)
    share = np.where(crosses, a / np.where(crosses, a - b, 1.0), 0.0)
    below = np.where(crosses, np.where(a < 0, share, 1 - share), (a < 0) & (b < 0)) * lengths
    np.diff(at, axis=1).max(axis=1)
    values.max(axis=1), values.min(axis=1)
    area = np.concatenate(
        [np.zeros((len(at), 1)), np.cumsum((values[:, 1:] + values[:, :-1]) / 2 * lengths, axis=1)],
        axis=1,
    )
    step = int(window // (at[0, 1] - at[0, 0]))
    means = (area[:, step:] - area[:, :-step]) / window
    # Between two readings the mean is a parabola; its lowest point may lie within.
    slope = (values[:, step:] - values[:, :-step]) / window
    tilt, bend = slope[:, :-1], np.diff(slope, axis=1) / 60.0
    apex = np.where(bend > 0, -tilt / np.where(bend > 0, bend, 1.0), -1.0)
    inside = (apex > 0) & (apex < 60.0)
    dips = np.where(inside, means[:, :-1] + tilt * apex + bend * apex * apex / 2, np.inf)
    _seconds_of_means_below(means[:, :-1] - limit, tilt, bend).sum(axis=1)
    reached = over >= 0
    np.where(reached.any(axis=1), at[np.arange(len(at)), reached.argmax(axis=1)], np.nan)
    return below.sum(axis=1), np.minimum(means.min(axis=1), dips.min(axis=1))


def _seconds_of_means_below(first: Floats, tilt: Floats, bend: Floats) -> Floats:
    """How long each parabola lies below nought within its minute: between its roots, cut there."""
    with np.errstate(divide="ignore", invalid="ignore"):
        root = np.sqrt(tilt * tilt - 2 * bend * first)
        one, other = (-tilt - root) / bend, (-tilt + root) / bend
        low, high = np.minimum(one, other), np.maximum(one, other)
        between = np.clip(np.minimum(high, 60.0) - np.maximum(low, 0.0), 0.0, 60.0)
        straight = np.clip(np.where(tilt > 0, -first / tilt, 60.0 + first / tilt), 0.0, 60.0)
    none = np.where(first < 0, 60.0, 0.0)
    curved = np.where(np.isnan(root), none, np.where(bend > 0, between, 60.0 - between))
    flat = np.where(tilt == 0, none, straight)
    return np.where(bend == 0, flat, curved)


def _charts() -> list[Row]:
    at: Floats = np.arange(40_000, dtype=np.float64) * 0.27
    traces = {
        name: Trace(at, _noise(len(at), middle, SEED), "degC")
        for name, middle in (("primary", 820.0), ("secondary", 905.0))
    }
    chart = Chart(traces, "degC", 0.0, float(at[-1]), 60.0, (LimitLine(871.1, "least"),))
    screen = min(_seconds(lambda: for_screen(chart)) for _ in range(ROUNDS))
    paper = min(_seconds(lambda: svg(chart)) for _ in range(ROUNDS))
    drawn = len(svg(chart))
    return [
        Row(
            "chart for the screen, 40,000 times of 2 channels",
            f"{screen * 1000:.0f} ms",
            notes="on the server; the browser draws it after that",
        ),
        Row(
            "chart for paper, drawn",
            f"{paper * 1000:.0f} ms",
            wanted="≤ 300 ms",
            notes=f"{drawn // 1000} kB of SVG",
        ),
    ]


def _year_of_seconds(retort: Retort, engine: str, days: int) -> Row:
    """How large a year of one reading a second of four channels becomes."""
    controller = Controller.objects.create(retort=retort, host="127.0.0.1")
    names = ("primary", "secondary", "stack", "oxygen")
    channels = tuple(Channel(n, "percent" if n == "oxygen" else "degC") for n in names)
    begun = AT - timedelta(days=400)
    took = 0.0
    for day in range(days):
        columns = [_noise(DAY, m, SEED + day + n) for n, m in enumerate((820.0, 905.0, 300.0, 9.0))]
        steps = np.column_stack([blocks.in_steps(column) for column in columns])
        first = recorded.to_ms(begun + timedelta(days=day))
        series = Series(channels, first + np.arange(DAY, dtype=np.int64) * 1000, steps)
        took += _seconds(partial(store, retort, series, clock.now(), controller=controller))
    kept = ReadingBlock.objects.filter(controller=controller)
    size = kept.aggregate(size=Sum(Length("body")))["size"] + 500 * kept.count()
    year = size / days * 365 / 1e6
    return Row(
        f"a year of one reading a second, {CHANNELS} channels, {engine}",
        f"{year:.0f} MB",
        wanted="≤ 200 MB",
        notes=f"from {days} days; 500 bytes a row for the rest of it; "
        f"{DAY * days / took:,.0f} samples/s stored",
    )


def _seconds(work: Callable[[], object]) -> float:
    began = time.perf_counter()
    work()
    return time.perf_counter() - began
