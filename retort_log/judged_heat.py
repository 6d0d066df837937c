"""Findings on temperatures: at the charge, below the minimum, peak, rise, what was not recorded.

The minimum is judged from the charge to burner off, while a person burns inside; how, says the
permit: each instant, or a trailing mean (`retort_log.windows`). A run shorter than the window of
its mean is not judged and somebody has to settle it.
"""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from crematory.units import convert
from retort_log import crossings
from retort_log.crossings import Extreme
from retort_log.finding import Finding, amount, cited, clock, instant, lasted, mean_over, times
from retort_log.permit_rules import Averaging, Limit, PermitRules
from retort_log.readings import Interval, Line
from retort_log.run_record import RunRecord
from retort_log.thermocouples import ThermocoupleError
from retort_log.windows import Means, trailing_means

RISE_WINDOW_S = 300.0  # a choice of this design
CHAMBERS = ("primary", "secondary")


def heat_unit(rules: PermitRules) -> str:
    """The unit in which temperatures are told: that of the permit's minimum, or °C."""
    limit = rules.secondary_minimum or rules.charging
    return limit.unit if limit else "degC"


def window_s(rules: PermitRules) -> float | None:
    """The window of the permit's mean in seconds; None where each instant counts."""
    if rules.averaging is Averaging.INSTANT or not rules.averaging_min:
        return None
    return 60.0 * rules.averaging_min


def judged(record: RunRecord, rules: PermitRules) -> Iterator[Finding]:
    """Yield all findings on temperatures."""
    yield from charge_temperature(record, rules)
    yield from coverage(record, rules)
    yield from minimum(record, rules)
    yield from facts(record, rules)


def at_charge(record: RunRecord, rules: PermitRules, unit: str) -> Extreme | None:
    """Return the charging chamber's temperature at the charge, and when it was read.

    Between two near readings it is that of the line; else the last reading before the charge
    counts, if it is no older than readings may lie apart.
    """
    trace = record.trace(rules.charging_chamber, unit, rules)
    value = record.line(rules.charging_chamber, unit, rules).value_at(record.start)
    if value is not None:
        return Extreme(value, record.start)
    before = trace.until(record.start)
    if not len(before) or record.start - before.seconds[-1] > record.distance_s(rules):
        return None
    return Extreme(float(before.values[-1]), float(before.seconds[-1]))


def charge_temperature(record: RunRecord, rules: PermitRules) -> Iterator[Finding]:
    """Yield the temperature at the charge; a breach below the permit's charging temperature."""
    limit, chamber = rules.charging, rules.charging_chamber
    unit = limit.unit if limit else heat_unit(rules)
    found = at_charge(record, rules, unit)
    if found is None:
        yield Finding(
            "not_recorded_charge",
            "Temperature at the charge not recorded",
            f"No reading of the {chamber} chamber lies near the charge at "
            f"{clock(record.start, record.zone)}, so nothing shows how hot it was.",
            citation=cited(limit) if limit else "",
            since=record.charged_at,
            needs_settling=limit is not None,
        )
        return
    shown = amount(found.value, unit, limit.value if limit else None)
    words = f"The {chamber} chamber was at {shown} at the charge."
    plain = Finding(
        "charge_temperature", "Temperature at the charge", words, value=found.value, unit=unit
    ).during([Interval(found.at, found.at)])
    if limit is None:
        yield plain
        return
    plain = replace(plain, limit=limit.value, citation=cited(limit))
    if found.value >= float(limit.value) - crossings.ON_LIMIT:
        yield plain
        return
    yield replace(
        plain,
        code="charged_cold",
        title="Charged below the charging temperature",
        words=f"The {chamber} chamber was at {shown} at the charge; the permit asks for at least "
        f"{amount(limit.value, unit)}, since gases from a cold chamber leave unburnt.",
        is_breach=True,
        needs_settling=True,
    )


def coverage(record: RunRecord, rules: PermitRules) -> Iterator[Finding]:
    """Yield what the record of the secondary chamber leaves out."""
    line = record.line("secondary", heat_unit(rules), rules)
    stated = rules.recording_interval
    if not record.is_over and line.end - line.start <= record.distance_s(rules):
        return  # nothing is missing yet
    if not len(line.at):
        yield Finding(
            "not_recorded_secondary",
            "Secondary chamber not recorded",
            "No reading of the secondary chamber lies between the charge and "
            f"{clock(record.end, record.zone)}, so nothing about its temperature can be judged.",
            citation=cited(stated) if stated else "",
            needs_settling=True,
        ).during(line.gaps)
        return
    longest = record.distance_s(rules)
    gaps = tuple(gap for gap in line.gaps if gap.seconds > longest)
    if gaps:
        yield _gap(record, rules, line, gaps)
    if line.end > line.start:
        yield _how_much(record, line)


def _how_much(record: RunRecord, line: Line) -> Finding:
    """Tell which share of the time is recorded, and the longest time without a reading."""
    missing = sum(gap.seconds for gap in line.gaps)
    share = 100 * (1 - missing / (line.end - line.start))
    instants = np.concatenate(([line.start], line.at[line.is_read], [line.end]))
    words = (
        f"The secondary chamber is recorded for {amount(share, 'percent', 100)} of the time from "
        f"the charge to {clock(line.end, record.zone)}. The longest time without a reading was "
        f"{lasted(float(np.diff(instants).max()))}."
    )
    if line.gaps:
        words += f" Left out, and not judged: {times(line.gaps, record.zone)}."
    return Finding("coverage", "How much is recorded", words, value=share, unit="percent").during(
        line.gaps
    )


def _gap(record: RunRecord, rules: PermitRules, line: Line, gaps: tuple[Interval, ...]) -> Finding:
    stated = rules.recording_interval
    words = (
        f"The secondary chamber's record has a gap of {lasted(line.longest_gap_s)} at the "
        f"longest: {times(gaps, record.zone)}. Nothing is judged in a gap."
    )
    if stated:
        words += f" The permit asks for a reading every {amount(stated.value, stated.unit)}."
    return Finding(
        "gap_in_record",
        "Gap in the record",
        words,
        citation=cited(stated) if stated else "",
        value=line.longest_gap_s / (60 if stated is None or stated.unit == "minute" else 1),
        limit=stated.value if stated else None,
        unit=stated.unit if stated else "minute",
        is_breach=stated is not None,
        needs_settling=True,
    ).during(gaps)


def minimum(record: RunRecord, rules: PermitRules) -> Iterator[Finding]:
    """Yield whether the secondary chamber kept its minimum while a person burned inside."""
    limit, window = rules.secondary_minimum, window_s(rules)
    if limit is None:
        return
    line = record.line("secondary", limit.unit, rules)
    if not len(line.at):
        return  # `coverage` says so
    if window is None:
        yield from _kept(
            record, limit, crossings.below(line, float(limit.value)), crossings.lowest(line), None
        )
        return
    means = trailing_means(line, window, rules.averaging)
    if means.is_short:
        yield _short(record, limit, means, window)
        return
    yield from _kept(record, limit, means.below(float(limit.value)), means.lowest(), window)
    if means.not_judged_s > 0:
        # What the permit allows between two readings, at burner off for instance, asks nobody.
        is_long = any(gap.seconds > record.distance_s(rules) for gap in line.gaps)
        yield Finding(
            "means_not_judged",
            "Means that cannot be judged",
            f"For {lasted(means.not_judged_s)} the {mean_over(window)} of the secondary "
            "chamber reaches into a gap of the record and is not judged.",
            citation=cited(limit),
            value=means.not_judged_s / 60,
            unit="minute",
            needs_settling=is_long,
        )


def _kept(
    record: RunRecord,
    limit: Limit,
    found: tuple[Interval, ...],
    lowest: Extreme | None,
    window: float | None,
) -> Iterator[Finding]:
    if lowest is None:
        return
    mean_of = f"{mean_over(window)} of the " if window else ""
    shown, least = amount(lowest.value, limit.unit, limit.value), amount(limit.value, limit.unit)
    plain = Finding(
        "minimum_kept",
        "Minimum of the secondary chamber kept",
        f"The {mean_of}secondary chamber was never below {least} where it was recorded; the "
        f"lowest was {shown} at {clock(lowest.at, record.zone)}.",
        citation=cited(limit),
        value=lowest.value,
        limit=limit.value,
        unit=limit.unit,
    )
    if not found:
        yield plain
        yield from _within_tolerance(record, limit, lowest)
        return
    seconds = sum(one.seconds for one in found)
    how_long = f"for {lasted(seconds)}" if seconds else "at a single instant"
    words = (
        f"The {mean_of}secondary chamber was below {least} {how_long}: "
        f"{times(found, record.zone)}. The lowest was {shown}. Below its minimum the gases "
        "leave unburnt."
    )
    # What pulled a mean down may lie as far back as its window.
    happened = record.happened(found, window or 0.0)
    if happened:
        listed = ", ".join(f"{k.replace('_', ' ')} {clock(at, record.zone)}" for k, at in happened)
        words += f" Recorded in that time: {listed}."
    yield replace(
        plain,
        code="below_minimum",
        title="Secondary chamber below its minimum",
        words=words,
        is_breach=True,
        needs_settling=True,
    ).during(found)


def _short(record: RunRecord, limit: Limit, means: Means, window: float) -> Finding:
    mean = means.provisional
    is_low = mean is None or mean < float(limit.value) - crossings.ON_LIMIT
    so_far = "No mean is known"
    if mean is not None:
        so_far = f"The mean since the charge is {amount(mean, limit.unit, limit.value)}"
    return Finding(
        "shorter_than_window",
        "Too short for the permit's mean" if record.is_over else "No full window of the mean yet",
        f"From the charge to {clock(record.end, record.zone)} is less than the {lasted(window)} "
        f"over which the permit averages. {so_far}; the permit asks for "
        f"{amount(limit.value, limit.unit)}. That is not judged.",
        citation=cited(limit),
        value=mean,
        limit=limit.value,
        unit=limit.unit,
        needs_settling=record.is_over and is_low,
    )


def _within_tolerance(record: RunRecord, limit: Limit, lowest: Extreme) -> Iterator[Finding]:
    """Yield the advice that the thermocouple cannot prove what it shows."""
    if record.thermocouple is None:
        return
    slope = 1.8 if limit.unit == "degF" else 1.0
    lowest_c = (lowest.value - 32) / 1.8 if limit.unit == "degF" else lowest.value
    minimum_c = float(convert(limit.value, limit.unit, "degC"))
    try:
        if record.thermocouple.proves(lowest_c, minimum_c):
            return
        off = record.thermocouple.tolerance_c(lowest_c) * slope
    except ThermocoupleError:
        return
    yield Finding(
        "within_tolerance",
        "Kept by less than the thermocouple's tolerance",
        f"The lowest, {amount(lowest.value, limit.unit, limit.value)}, is above the minimum by "
        f"less than a new thermocouple of type {record.thermocouple.type} may be off, "
        f"{amount(off, limit.unit)}. A higher set point would prove it.",
        citation="ASTM E230",
        value=lowest.value,
        limit=limit.value,
        unit=limit.unit,
        since=instant(lowest.at),
    )


def facts(record: RunRecord, rules: PermitRules) -> Iterator[Finding]:
    """Yield what is told and not judged: time to reach the minimum, peaks, steepest rises."""
    unit, limit = heat_unit(rules), rules.secondary_minimum
    for chamber in CHAMBERS:
        line = record.line(chamber, unit, rules)
        if limit and chamber == "secondary":
            yield from _reached(record, line, limit)
        top = crossings.peak(line)
        if top is None:
            continue
        yield Finding(
            f"peak_{chamber}",
            f"Peak of the {chamber} chamber",
            f"The {chamber} chamber was hottest at {clock(top.at, record.zone)}, with "
            f"{amount(top.value, unit)}.",
            value=top.value,
            unit=unit,
            since=instant(top.at),
        )
        rise = crossings.steepest_rise(line, RISE_WINDOW_S)
        if rise is not None and rise.value > 0:
            yield Finding(
                f"rise_{chamber}",
                f"Steepest rise of the {chamber} chamber",
                f"The {chamber} chamber rose fastest over the {lasted(RISE_WINDOW_S)} until "
                f"{clock(rise.at, record.zone)}, by {amount(rise.value, f'{unit}/minute')}.",
                value=rise.value,
                unit=f"{unit}/minute",
                since=instant(rise.at - RISE_WINDOW_S),
                until=instant(rise.at),
            )


def _reached(record: RunRecord, line: Line, limit: Limit) -> Iterator[Finding]:
    seconds = crossings.time_to_reach(line, float(limit.value))
    if not len(line.at) or seconds == 0:
        return
    least = amount(limit.value, limit.unit)
    words = f"The secondary chamber did not reach {least} after the charge."
    if seconds is not None:
        words = f"The secondary chamber reached {least} {lasted(seconds)} after the charge."
    yield Finding(
        "time_to_reach",
        "Time to reach the minimum",
        words,
        citation=cited(limit),
        value=None if seconds is None else seconds / 60,
        unit="minute",
        since=record.charged_at,
        until=None if seconds is None else instant(record.start + seconds),
    )
