"""From the rules of a jurisdiction to the clocks that run by them. Pure: no Django, no database.

Times are moments as known (`cases.deadlines`). What is unknown in the law or not recorded gives
an answer that says so, never a time that has passed.
"""

from collections.abc import Collection
from datetime import datetime
from zoneinfo import ZoneInfo

from cases import deadline_days as days
from cases import deadlines as hours
from cases.law.after_rules import Notice, Retention, Unclaimed
from cases.law.rules import Holding, Wait
from cases.law.shape import Jurisdiction


def wait_ends(
    wait: Wait,
    death: hours.Moment | None,
    *,
    discovery: hours.Moment | None = None,
    certified: hours.Moment | None = None,
    is_provisional: bool = False,
    grounds: Collection[str] = (),
    papers: Collection[str] = (),
) -> hours.Due:
    """When the wait between death and cremation is over.

    `certified` is the time of death on the certificate on file, `is_provisional` whether that
    certificate is not the final one; `grounds` and `papers` are those recorded for a waiver.
    """
    if not wait.is_enforced or wait.hours is None or wait.starts is None:
        return hours.unknown("The hours of the wait are unknown here; ask the local authority.")
    if wait.certificate_must_be_final and is_provisional:
        return hours.unknown("The certificate is provisional; the complete one is needed.")
    start = hours.wait_from(hours.From(wait.starts), death, discovery, certified)
    waivers = [
        hours.Waiver(w.ground, frozenset(w.needs), w.citation)
        for w in wait.waivers
        if w.is_enforced
    ]
    return hours.wait_ends(start, wait.hours, waivers, grounds, papers)


def cool_by(
    rule: Holding,
    death: hours.Moment | None,
    custody: hours.Moment | None,
    *,
    planned_start: datetime | None = None,
) -> hours.Due:
    """Until when an un-embalmed body must be cooled by this rule."""
    if not rule.is_enforced or rule.after_hours is None:
        return hours.unknown("No hours until cooling are known here; ask the local authority.")
    start = custody if rule.starts == "custody" else death
    if rule.unless_charged_within_hours is None or start is None:
        return hours.within(start, rule.after_hours)
    return hours.refrigerate_by(
        start,
        rule.after_hours,
        unless_start_within=rule.unless_charged_within_hours,
        planned_start=planned_start,
    )


def unclaimed_step(rules: Jurisdiction, then: str) -> Unclaimed | None:
    """Return the enforced rule for one step with unclaimed remains, or None."""
    return next((s for s in rules.unclaimed if s.then == then and s.is_enforced), None)


def free_from(
    step: Unclaimed, start: hours.Moment | None, zone: ZoneInfo, first: hours.Due | None = None
) -> hours.Due:
    """From when a step with unclaimed remains is allowed; `first` is the clock before it.

    Raises ValueError for a duty that ends with a day: ask `done_by`.
    """
    if step.earliest == "by_day":
        raise ValueError("a duty that ends with a day frees nothing")
    earliest = days.Earliest(step.earliest or "after_day")
    if first is not None:
        return days.free_after_notice(first, start, step.days or 0, zone, earliest)
    if step.years:
        return _free_after_years(start, step.years, zone)
    counting = days.Counting(step.counting or "day")
    return days.free_from(start, step.days or 0, zone, counting, earliest)


def _free_after_years(start: hours.Moment | None, years: int, zone: ZoneInfo) -> hours.Due:
    """From the beginning of the anniversary; years are kept to the day, as retention is."""
    if start is None:
        return hours.unknown("The moment from which the years are counted is not recorded.")
    last = days.keep_through(start, years, zone)
    if last.on is None:
        return hours.unknown(last.why)
    return hours.Due(hours.Kind.AT, hours.start_of(last.on, zone), last.bound, last.why)


def done_by(step: Unclaimed, start: hours.Moment, zone: ZoneInfo) -> days.DayDue:
    """The last local day of a duty with unclaimed remains, such as to inter them."""
    if step.years:
        return days.not_later_than_years(start, step.years, zone)
    return days.not_later_than(start, step.days or 0, zone)


def keep_through(rule: Retention | None, start: hours.Moment, zone: ZoneInfo) -> days.DayDue:
    """The last local day on which a record must be kept; none while the period is unknown."""
    if rule is None or not rule.is_enforced:
        why = "How long it is kept is unknown here; it is not destroyed."
        return days.DayDue(None, hours.Bound.EXACT, why)
    if rule.rule == "permanent" or rule.years is None:
        return days.keep_for_ever()
    if rule.counting == "calendar":
        return days.keep_through_calendar(start, rule.years, zone)
    return days.keep_through(start, rule.years, zone)


def notice_by(rule: Notice, start: hours.Moment) -> hours.Due:
    """Until when a notice that is due in hours must be given."""
    if not rule.is_enforced or rule.within_hours is None:
        return hours.unknown("No hours for this notice are known here.")
    return hours.within(start, rule.within_hours)
