"""What is about to happen in a run that goes on: said before a limit is crossed, not after. Pure.

The trend of the last minutes is drawn on as a straight line, and the permit's own way of judging
is used on it: each instant, or the mean over its window. A furnace does not follow a straight line
for long, so it is drawn no further than `HORIZON_S`. All figures here are choices of this design,
without a source.
"""

from collections.abc import Iterator

import numpy as np

from retort_log import crossings, judged_heat
from retort_log.finding import Finding, amount, cited, clock, instant, lasted, mean_over
from retort_log.permit_rules import Averaging, Limit, PermitRules
from retort_log.readings import Interval, Line, Trace, draw
from retort_log.run_record import RunRecord, interval_s
from retort_log.windows import trailing_means

TREND_S = 600.0  # how far back the trend looks
HORIZON_S = 900.0  # how far ahead it is drawn
STEP_S = 15.0  # the points of the line drawn ahead
MARGIN = {"degF": 25.0, "degC": 14.0, "percent": 0.5}  # close to a limit
DUE_SHARE = 0.8  # of the recording interval, after which the next reading is called for


def warnings(record: RunRecord, rules: PermitRules) -> tuple[Finding, ...]:
    """Return what is about to happen; nothing once the burner is off or the run has ended.

    None of them is a breach. A limit that is already crossed is `findings`' to tell.
    """
    if record.is_over:
        return ()
    found: list[Finding] = [*_reading_due(record, rules)]
    if rules.secondary_minimum:
        found += _falling(record, rules, "secondary", rules.secondary_minimum)
    if rules.oxygen_minimum:
        found += _falling(record, rules, "oxygen", rules.oxygen_minimum)
    return tuple(found)


def _reading_due(record: RunRecord, rules: PermitRules) -> Iterator[Finding]:
    """Yield that the recording interval is about to pass without a reading."""
    interval, limit = interval_s(rules), rules.recording_interval
    if interval is None or limit is None:
        return
    trace = record.trace("secondary", judged_heat.heat_unit(rules), rules).until(record.end)
    last = max(float(trace.seconds[-1]) if len(trace) else record.start, record.start)
    age = record.end - last
    if not DUE_SHARE * interval <= age <= interval:
        return
    since = "reading" if len(trace) else "charge"
    yield Finding(
        "reading_due",
        "Next reading is due",
        f"The last {since} was {lasted(age)} ago, at {clock(last, record.zone)}. The permit asks "
        f"for a reading every {amount(limit.value, limit.unit)}: read by "
        f"{clock(last + interval, record.zone)}.",
        citation=cited(limit),
        value=age / (60 if limit.unit == "minute" else 1),
        limit=limit.value,
        unit=limit.unit,
        since=instant(last),
        until=instant(last + interval),
    )


def _falling(
    record: RunRecord, rules: PermitRules, channel: str, limit: Limit
) -> Iterator[Finding]:
    """Yield that a channel is about to go below its minimum, or is close to it."""
    trace = record.trace(channel, limit.unit, rules).until(record.end)
    distance, least = record.distance_s(rules), float(limit.value)
    if not len(trace) or record.end - trace.seconds[-1] > distance:
        return  # too old to say anything
    line = draw(trace, limit.unit, distance, record.start, record.end)
    window = judged_heat.window_s(rules) if channel == "secondary" else None
    by = rules.averaging
    if _is_below_now(line, window, by, least):
        return
    slope = _trend(trace, distance)
    ahead = _drawn_on(trace, slope, record.end + HORIZON_S)
    after = draw(ahead, limit.unit, distance, record.start, record.end + HORIZON_S)
    crossed = _first_below(after, window, least, record.end)
    last = float(trace.values[-1])
    shown, least_shown = amount(last, limit.unit, limit.value), amount(limit.value, limit.unit)
    what = "The secondary chamber" if channel == "secondary" else "Oxygen"
    keeps = f"its {mean_over(window)}" if window else "it"
    if crossed is not None:
        left = max(60.0, round((crossed - record.end) / 60) * 60)
        words = (
            f"{what} is at {shown} and falls by {amount(-60 * slope, f'{limit.unit}/minute')}: at "
            f"this rate {keeps} is below {least_shown} in {lasted(left)}."
        )
        code, title = f"falling_{channel}", f"{what} is about to go below its minimum"
    elif last - least <= MARGIN[limit.unit] and slope <= 0:
        words = f"{what} is at {shown}, close to its minimum of {least_shown}."
        if window and last < least:
            words = f"{what} is at {shown}, below the {least_shown} that {keeps} has to keep."
        code, title = f"close_{channel}", f"{what} is close to its minimum"
    else:
        return
    yield Finding(
        code,
        title,
        words,
        citation=cited(limit),
        value=last,
        limit=limit.value,
        unit=limit.unit,
        since=instant(float(trace.seconds[-1])),
        until=None if crossed is None else instant(crossed),
    )


def _is_below_now(line: Line, window: float | None, by: Averaging, least: float) -> bool:
    """True where the limit is already crossed by the newest that can be judged."""
    if not len(line.at):
        return False
    if window is None:
        return bool(line.values[-1] < least - crossings.ON_LIMIT)
    means = trailing_means(line, window, by)
    found = means.below(least)
    return bool(found and len(means.starts) and found[-1].end >= means.starts[-1])


def _trend(trace: Trace, distance_s: float) -> float:
    """Return the slope of the last readings in the unit a second; nought where none is seen.

    The best straight line through the readings of the last TREND_S, or through the last two
    where they lie further apart but are joined.
    """
    at, values = trace.seconds, trace.values
    first = min(int(np.searchsorted(at, at[-1] - TREND_S)), max(0, len(at) - 2))
    at, values = at[first:] - at[-1], values[first:]
    if len(at) < 2 or np.diff(at).max() > distance_s:
        return 0.0
    centred = at - at.mean()
    return float(np.dot(centred, values) / np.dot(centred, centred))


def _drawn_on(trace: Trace, slope: float, until: float) -> Trace:
    """Return the readings with the trend's points after the last one."""
    last = float(trace.seconds[-1])
    ahead = np.append(np.arange(last + STEP_S, until, STEP_S), until)
    return Trace(
        np.concatenate((trace.seconds, ahead)),
        np.concatenate((trace.values, trace.values[-1] + slope * (ahead - last))),
        trace.unit,
    )


def _first_below(line: Line, window: float | None, least: float, now: float) -> float | None:
    """Return the instant after now at which the limit is first crossed, or None."""
    found: tuple[Interval, ...]
    if window is None:
        found = crossings.below(line, least)
    else:
        # Samples ahead would depend on the step chosen here, so the mean is over time.
        found = trailing_means(line, window, Averaging.TIME).below(least)
    later = [max(one.start, now) for one in found if one.end > now]
    return min(later, default=None)
