"""Findings on gases: smoke, residence time, concentrations, oxygen. Pure.

A concentration is brought to the rule's oxygen at each reading, and the line is drawn through
what comes out. Where the oxygen is so near that of air that the correction explodes, nothing is
judged, and that is said. A mean is the trailing mean over time; an authority may reckon by the
hours of the clock, which never finds more.
"""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from retort_log import crossings, opacity
from retort_log.combustion import LARGEST_FACTOR, Flow, mg_to_ppm, ppm_to_mg, residence_seconds
from retort_log.crossings import Extreme
from retort_log.finding import Finding, amount, cited, clock, lasted, mean_over, times
from retort_log.pairs import paired, product
from retort_log.permit_rules import Averaging, Concentration, Limit, PermitRules
from retort_log.readings import NOTHING_S, Floats, Interval, Line, Trace, draw, merged
from retort_log.run_record import RunRecord
from retort_log.windows import trailing_means


def judged(record: RunRecord, rules: PermitRules) -> Iterator[Finding]:
    """Yield all findings on gases."""
    yield from smoke(record, rules)
    yield from residence(record, rules)
    for substance, rule in rules.concentrations.items():
        yield from concentration(record, rules, substance, rule)
    yield from oxygen(record, rules)


def not_recorded(what: str, title: str, why: str, limit: Limit) -> Finding:
    """Return that something which the permit limits cannot be judged, for lack of data."""
    return Finding(
        f"not_recorded_{what.replace('/', '_')}",
        f"{title} not recorded",
        why,
        citation=cited(limit),
        limit=limit.value,
        unit=limit.unit,
    )


def _gaps(
    record: RunRecord, rules: PermitRules, line: Line, channel: str, limit: Limit
) -> Iterator[Finding]:
    """Yield what a gas's record leaves out, where that is longer than readings may lie apart."""
    gaps = tuple(gap for gap in line.gaps if gap.seconds > record.distance_s(rules))
    if gaps:
        name = channel if channel == "oxygen" else channel.upper()
        yield Finding(
            f"gap_in_{channel.replace('/', '_')}",
            f"Gap in the record of {name}",
            f"The record of {name} has a gap of {lasted(line.longest_gap_s)} at the longest: "
            f"{times(gaps, record.zone)}. Nothing is judged in a gap.",
            citation=cited(limit),
            value=line.longest_gap_s / 60,
            unit="minute",
            needs_settling=True,
        ).during(gaps)


def smoke(record: RunRecord, rules: PermitRules) -> Iterator[Finding]:
    """Yield the six-minute means of opacity (EPA Method 9)."""
    rule = rules.opacity
    if rule is None:
        return
    read = _in_run(record, record.trace("opacity", "percent", rules))
    means = opacity.six_minute_means(read)
    highest = means.highest
    if highest is None:
        why = "No reading of opacity was taken during the run."
        if means.incomplete:
            why = (
                f"{means.incomplete} readings of opacity are no complete set of "
                f"{opacity.IN_SET}, 15 seconds apart (EPA Method 9)."
            )
        yield not_recorded("opacity", "Opacity", why, rule.limit)
        return
    limit = float(rule.limit.value)
    over = means.over(limit, limit_is_breach=rule.limit_is_breach)
    broken = opacity.unexcused(over, float(rule.exception.value)) if rule.exception else over
    shown = amount(highest.mean, "percent", rule.limit.value)
    excused = " The permit excuses one such mean in an hour." if over and not broken else ""
    plain = Finding(
        "opacity",
        "Opacity",
        f"The highest six-minute mean of opacity was {shown}, from "
        f"{clock(highest.start, record.zone)}.{excused}",
        citation=cited(rule.limit),
        value=highest.mean,
        limit=rule.limit.value,
        unit="percent",
    )
    if not broken:
        yield plain
        return
    spans = tuple(Interval(one.start, one.end) for one in broken)
    at_least = "or more " if rule.limit_is_breach else ""
    bound = amount(rule.limit.value, "percent")
    forbids = f"{bound} {at_least}is a breach" if at_least else f"no more than {bound} is allowed"
    count = "One six-minute mean" if len(broken) == 1 else f"{len(broken)} six-minute means"
    yield replace(
        plain,
        code="opacity_over",
        title="Smoke over its limit",
        words=f"{count} of opacity broke the limit: "
        f"{times(spans, record.zone)}. The highest was {shown}; {forbids}.",
        is_breach=True,
        needs_settling=True,
    ).during(spans)


def _in_run(record: RunRecord, trace: Trace) -> Trace:
    keep = (trace.seconds >= record.start) & (trace.seconds <= record.end)
    return Trace(trace.seconds[keep], trace.values[keep], trace.unit)


def residence(record: RunRecord, rules: PermitRules) -> Iterator[Finding]:
    """Yield how long the gas stays in the secondary chamber, at its shortest."""
    limit = rules.residence
    if limit is None:
        return
    heat = record.line("secondary", "degC", rules)
    missing = [
        name
        for name, is_there in (
            ("the chamber's volume", record.chamber_volume_m3),
            ("the flow, and how it is stated", record.flow),
            ("the secondary chamber's temperature", len(heat.at)),
        )
        if not is_there
    ]
    if missing or record.flow is None or record.chamber_volume_m3 is None:
        why = f"Residence time cannot be reckoned without {' and '.join(missing)}."
        yield not_recorded("residence", "Residence time", why, limit)
        return
    line, flows = _flows(record, rules, heat, record.flow)
    if not len(line.at):
        why = "Flow and temperature were never recorded at the same time."
        yield not_recorded("residence", "Residence time", why, limit)
        return
    # The share of the asked residence that is used up: over 1 is too short, linear in the flow.
    asked = float(limit.value)
    base = residence_seconds(record.chamber_volume_m3, "m**3", record.flow, 0.0, "degC")
    growth = np.array([record.flow.at(t, "degC") for t in line.values]) / record.flow.at(
        0.0, "degC"
    )
    used = product(replace(line, values=growth), flows / record.flow.per_minute * asked / base)
    most = used.highest()
    if most is not None:
        yield _residence(record, limit, used.above(1.0), Extreme(asked / most.value, most.at))


def _flows(record: RunRecord, rules: PermitRules, heat: Line, flow: Flow) -> tuple[Line, Floats]:
    """Return the temperatures with the flow at the same instants, as stated, a minute."""
    if not record.is_recorded("flow"):
        return heat, np.full(len(heat.at), flow.per_minute)
    return paired(heat, record.line("flow", f"{flow.volume_unit}/minute", rules))


def _residence(
    record: RunRecord, limit: Limit, found: tuple[Interval, ...], shortest: Extreme
) -> Finding:
    shown, least = amount(shortest.value, "second", limit.value), amount(limit.value, "second")
    plain = Finding(
        "residence",
        "Residence time",
        f"By volume, flow and temperature the gas stayed {shown} in the secondary chamber at its "
        f"shortest; the permit asks for {least}.",
        citation=cited(limit),
        value=shortest.value,
        limit=limit.value,
        unit="second",
    )
    if not found:
        return plain
    seconds = sum(one.seconds for one in found)
    return replace(
        plain,
        code="residence_short",
        title="Residence time too short",
        words=f"By volume, flow and temperature the gas stayed less than {least} for "
        f"{lasted(seconds)}: {times(found, record.zone)}. The shortest was {shown}: gas that "
        "leaves early is not burnt out.",
        is_breach=True,
        needs_settling=True,
    ).during(found)


def concentration(
    record: RunRecord, rules: PermitRules, substance: str, rule: Concentration
) -> Iterator[Finding]:
    """Yield whether a substance kept its limit, where its channel is recorded."""
    channel, limit = substance.lower(), rule.limit
    if not record.is_recorded(channel):
        why = f"{substance} was not recorded during the run; a stack test may have to show it."
        yield not_recorded(channel, substance, why, limit)
        return
    trace = in_unit(record, rules, channel, limit.unit)
    line = draw(trace, limit.unit, record.distance_s(rules), record.start, record.end)
    yield from _gaps(record, rules, line, channel, limit)
    not_judged_s = 0.0
    if rule.reference_oxygen is not None:
        before = line.covered_s
        line = _corrected(record, rules, rule, line)
        not_judged_s = before - line.covered_s
    if not_judged_s > NOTHING_S or not len(line.at):
        yield replace(
            not_recorded(
                f"{channel}_oxygen",
                f"{substance} at the reference oxygen",
                f"For {lasted(not_judged_s)} {substance} is not judged: the oxygen was not "
                "recorded, or so near that of air that the correction would grow beyond "
                f"{LARGEST_FACTOR:g} times.",
                limit,
            ),
            needs_settling=True,
        )
    yield from _limited(record, substance, rule, line)


def in_unit(record: RunRecord, rules: PermitRules, channel: str, unit: str) -> Trace:
    """Return a channel's readings in the limit's unit; ppm of CO by its mass at 0 °C."""

    def one(trace: Trace | None) -> Trace | None:
        if trace is None or (trace.unit == "ppm") == (unit == "ppm") or channel != "co":
            return trace
        if unit == "ppm":
            mg = trace.to("mg/m**3")
            return Trace(mg.seconds, mg_to_ppm(1.0) * mg.values, "ppm", mg.is_typed)
        return Trace(trace.seconds, trace.values * ppm_to_mg(1.0), "mg/m**3", trace.is_typed)

    recorder, hand = (one(given.get(channel)) for given in (record.traces, record.hand))
    return merged(recorder, hand, unit, record.distance_s(rules))


def _corrected(record: RunRecord, rules: PermitRules, rule: Concentration, line: Line) -> Line:
    """Return the line at the reference oxygen, without what lies too near the oxygen of air."""
    both, measured = paired(line, record.line("oxygen", "percent", rules))
    ambient, reference = float(rule.ambient_oxygen), float(rule.reference_oxygen or 0)
    is_usable = (measured >= 0) & (ambient - measured >= (ambient - reference) / LARGEST_FACTOR)
    keep = np.flatnonzero(is_usable)
    values = both.values[keep] * (ambient - reference) / (ambient - measured[keep])
    is_joined = (
        both.is_joined[keep[:-1]] & (np.diff(keep) == 1) if len(keep) else both.is_joined[:0]
    )
    return Line(line.start, line.end, both.at[keep], values, is_joined, both.is_read[keep])


def _limited(
    record: RunRecord, substance: str, rule: Concentration, line: Line
) -> Iterator[Finding]:
    limit, of = rule.limit, ""
    if rule.over_min is None:
        found, most = crossings.above(line, float(limit.value)), crossings.peak(line)
    else:
        means = trailing_means(line, 60.0 * rule.over_min, Averaging.TIME)
        found, most = means.above(float(limit.value)), means.highest()
        of = f"{mean_over(60.0 * rule.over_min)} of "
    if most is None:
        if len(line.at):
            why = f"No full window of the {of}{substance} lies within the run without a gap."
            yield not_recorded(
                f"{substance.lower()}_mean", f"A full mean of {substance}", why, limit
            )
        return
    shown, bound = amount(most.value, limit.unit, limit.value), amount(limit.value, limit.unit)
    oxygen_words = ""
    if rule.reference_oxygen is not None:
        oxygen_words = f" at {amount(rule.reference_oxygen, 'percent')} oxygen"
    plain = Finding(
        f"{substance.lower()}_kept",
        f"{substance} within its limit",
        f"The highest {of}{substance}{oxygen_words} was {shown}; the permit allows {bound}.",
        citation=cited(limit),
        value=most.value,
        limit=limit.value,
        unit=limit.unit,
    )
    if not found:
        yield plain
        return
    yield replace(
        plain,
        code=f"{substance.lower()}_over",
        title=f"{substance} over its limit",
        words=f"The {of}{substance}{oxygen_words} was above {bound} for "
        f"{lasted(sum(one.seconds for one in found))}: {times(found, record.zone)}. The highest "
        f"was {shown}.",
        is_breach=True,
        needs_settling=True,
    ).during(found)


def oxygen(record: RunRecord, rules: PermitRules) -> Iterator[Finding]:
    """Yield whether the oxygen kept its minimum."""
    limit = rules.oxygen_minimum
    if limit is None:
        return
    line = record.line("oxygen", "percent", rules)
    lowest = crossings.lowest(line)
    if lowest is None:
        why = "No reading of oxygen was taken during the run."
        yield not_recorded("oxygen", "Oxygen", why, limit)
        return
    yield from _gaps(record, rules, line, "oxygen", limit)
    found = crossings.below(line, float(limit.value))
    shown, least = amount(lowest.value, "percent", limit.value), amount(limit.value, "percent")
    words = f"The lowest oxygen was {shown}; the permit asks for {least}."
    if found:
        words = (
            f"Oxygen was below {least} for {lasted(sum(one.seconds for one in found))}: "
            f"{times(found, record.zone)}. The lowest was {shown}: without oxygen nothing burns "
            "out."
        )
    yield Finding(
        "oxygen_low" if found else "oxygen_kept",
        "Oxygen below its minimum" if found else "Oxygen",
        words,
        citation=cited(limit),
        value=lowest.value,
        limit=limit.value,
        unit="percent",
        is_breach=bool(found),
        needs_settling=bool(found),
    ).during(found)
