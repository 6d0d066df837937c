"""Findings on the run as such: how much was charged, and when the retort was at work. Pure."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta, tzinfo
from decimal import Decimal

from crematory.units import convert
from retort_log.finding import Finding, amount, cited, clock, lasted, times
from retort_log.permit_rules import PermitRules
from retort_log.readings import Interval
from retort_log.run_record import RunRecord


def judged(record: RunRecord, rules: PermitRules) -> Iterator[Finding]:
    """Yield all findings on the charge and the hours."""
    yield from charge(record, rules)
    yield from hours(record, rules)


def charge(record: RunRecord, rules: PermitRules) -> Iterator[Finding]:
    """Yield the mass charged beside the hourly capacity.

    All of it goes in at once, so it counts whole for the hour of its charge.
    """
    limit = rules.charge_rate
    if limit is None:
        return
    if record.mass_kg is None:
        yield Finding(
            "not_recorded_charge_mass",
            "Mass of the charge not recorded",
            "Without the mass of the charge its rate cannot be judged.",
            citation=cited(limit),
            limit=limit.value,
            unit=limit.unit,
            needs_settling=True,
        )
        return
    unit = limit.unit.removesuffix("/hour")
    mass = convert(record.mass_kg, "kg", unit)
    # What was typed in pounds is stored to the gram, which is finer than a hundredth of a pound.
    is_over = mass.quantize(Decimal("0.01")) > limit.value
    shown = amount(mass, unit, limit.value if is_over else None)
    plain = Finding(
        "charge_rate",
        "Charge within the rated capacity",
        f"{shown} were charged; the permit allows {amount(limit.value, limit.unit)}.",
        citation=cited(limit),
        value=float(mass),
        limit=limit.value,
        unit=limit.unit,
    )
    if not is_over:
        yield plain
        return
    yield replace(
        plain,
        code="charge_rate_over",
        title="Charged above the rated capacity",
        words=f"{shown} were charged; the permit allows {amount(limit.value, limit.unit)}. More "
        "than the unit is made for overheats it and smokes.",
        since=record.charged_at,
        is_breach=True,
        needs_settling=True,
    )


def hours(record: RunRecord, rules: PermitRules) -> Iterator[Finding]:
    """Yield whether a person burned inside outside the hours of operation, in the given zone."""
    if rules.hours is None:
        return
    first, last = rules.hours
    outside = _outside(record.start, record.end, first, last, record.zone)
    zone = record.charged_at.astimezone(record.zone).tzname() or str(record.zone)
    allowed = f"{first:%H:%M}–{last:%H:%M} ({zone})"
    if not outside:
        yield Finding(
            "hours_kept",
            "Within the hours of operation",
            f"From {clock(record.start, record.zone)} to {clock(record.end, record.zone)} the "
            f"retort was at work within its hours, {allowed}.",
            citation=rules.hours_citation,
        )
        return
    seconds = sum(one.seconds for one in outside)
    yield Finding(
        "outside_hours",
        "Outside the hours of operation",
        f"The retort was at work outside its hours, {allowed}, for {lasted(seconds)}: "
        f"{times(outside, record.zone)}.",
        citation=rules.hours_citation,
        value=seconds / 60,
        unit="minute",
        is_breach=True,
        needs_settling=True,
    ).during(outside)


def _outside(
    start: float, end: float, first: time, last: time, zone: tzinfo
) -> tuple[Interval, ...]:
    """Return what of start to end lies in no day's hours; hours may run past midnight."""
    day = datetime.fromtimestamp(start, zone).date() - timedelta(days=1)
    final = datetime.fromtimestamp(end, zone).date()
    left, found = start, []
    while day <= final:
        closing = day if last > first else day + timedelta(days=1)
        opens = datetime.combine(day, first, zone).astimezone(UTC).timestamp()
        closes = datetime.combine(closing, last, zone).astimezone(UTC).timestamp()
        if opens > left:
            found.append(Interval(left, min(opens, end)))
        left = max(left, closes)
        if left >= end:
            break
        day += timedelta(days=1)
    else:
        found.append(Interval(left, end))
    return tuple(one for one in found if one.seconds > 0)
