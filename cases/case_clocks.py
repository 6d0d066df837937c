"""The clocks of the law that run for a case: until when, from which bound, and by which section.

What is missing to compute a clock is said; a clock that is unknown shows no time.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from cases import deadline_days as days
from cases import deadlines as hours
from cases import lapses, law_questions, waits
from cases.law import clocks, not_asking
from cases.law.after_rules import Unclaimed
from cases.law.base import Rule
from cases.law.rules import Holding, HoldingLimit
from cases.models import Case
from cases.steps import BEFORE_CHARGE, FINAL_STAGES
from chain_of_custody.models import CustodyEntry

LIMITS = {
    "cremate": "Cremate by",
    "explain_delay": "Tell why it is late, by",
    "cool_or_dispose": "Cool, embalm or dispose, by",
    "dispose": "Final disposition by",
    "refrigerated": "May be kept in the cooler until",
    "dry_ice": "May be kept on dry ice until",
    "out_of_cooler": "May be out of the cooler",
}
THEN = {
    "deliver": "May be delivered, unclaimed, from",
    "deliver_to_director": "May go to the funeral director from",
    "release_to_family": "May go to the family from",
    "return_to_deliverer": "May go back to who delivered, from",
    "dispose": "May be disposed of, unclaimed, from",
    "place_recoverably": "May be placed recoverably from",
    "place_for_good": "May be placed for good from",
    "inter": "Must be interred by",
    "begin_contact": "Contact begins from",
    "give_notice": "Notice may be given from",
}
FROM = {
    "death": "death",
    "death_or_release": "death or the release by the coroner",
    "custody": "custody",
    "acceptance": "acceptance",
    "agreed_time": "the agreed time",
    "committal": "the committal",
    "cremation": "cremation",
    "possession": "possession",
    "disposition": "disposition",
    "contact": "the start of contact",
    "inurnment": "inurnment",
    "mailing": "mailing",
    "notice": "the notice",
    "earlier_step": "the step before",
}
LAPSES = "Where nothing was arranged, the right to authorize has lapsed from"
SOON = timedelta(hours=24)
RECEIVED = ("custody", "acceptance", "possession")


@dataclass(frozen=True)
class Clock:
    """One clock: what it is, its time or local day, the sentence that explains it, its source.

    `is_duty` tells a term that must be kept from a time before which something may not be done.
    """

    title: str
    at: datetime | None
    day: str
    why: str
    citation: str
    is_duty: bool
    is_known: bool = True

    def presses(self, now: datetime) -> bool:
        """Whether a term runs out within a day, or has run out."""
        return self.is_duty and self.at is not None and self.at - now < SOON

    def changes_at(self) -> list[datetime]:
        """Return when time alone changes what is said of it: it begins to press, and it passes."""
        return [self.at - SOON, self.at] if self.at is not None else []

    @property
    def on(self) -> date | None:
        """The local day, where the clock names one."""
        return date.fromisoformat(self.day) if self.day[:1].isdigit() else None


class Shown:
    """A clock as a page shows it at one moment."""

    def __init__(self, clock: Clock, now: datetime) -> None:
        self.title, self.at, self.day, self.on = clock.title, clock.at, clock.day, clock.on
        self.why, self.citation = clock.why, not_asking(clock.citation)
        self.is_duty, self.is_known = clock.is_duty, clock.is_known
        self.presses = clock.presses(now)
        self.broken = clock.is_duty and clock.at is not None and now > clock.at


@dataclass(frozen=True)
class Moments:
    """What is known of the moments from which clocks count."""

    death: hours.Moment
    custody: hours.Moment | None
    cremation: hours.Moment | None
    agreed: hours.Moment | None = None

    def of(self, starts: str | None) -> hours.Moment | None:
        """Return the moment from which a rule counts, None where none is recorded."""
        if starts in ("death", "death_or_release"):
            return self.death
        if starts in RECEIVED:
            return self.custody
        if starts == "agreed_time":
            return self.agreed
        return self.cremation if starts == "cremation" else None


def moments_of(case: Case) -> Moments:
    """Read the moments from the case's entries: one query, and one where a time is agreed."""
    entries = case.entries.filter(act__in=("receive", "burner_off"), outcome="done")
    found = entries.only("act", "happened_at", "case_id")
    return moments_in(case, {entry.act: entry for entry in found})


def moments_in(case: Case, entries: Mapping[str, CustodyEntry]) -> Moments:
    """Return the moments, of the entries of the steps that were taken, by their verb."""

    def exact(act: str) -> hours.Moment | None:
        return hours.exactly(entries[act].happened_at) if act in entries else None

    return Moments(case.death, exact("receive"), exact("burner_off"), _agreed(case))


def _agreed(case: Case) -> hours.Moment | None:
    """The time agreed in writing, read only where a term of this law counts from it."""
    if law_questions.agreed_limit(case.law) is None:
        return None
    return law_questions.agreed_moment(case)


def clocks_of(case: Case, moments: Moments | None = None) -> list[Clock]:
    """Return the clocks that run for the case at its stage, what must be kept first."""
    at = moments or moments_of(case)
    if case.stage in BEFORE_CHARGE:
        return [*_wait(case), *_lapse(case), *_holdings(case, at), *_limits(case, at)]
    found = [*_notices(case, at)]
    if case.stage not in FINAL_STAGES:
        found += _unclaimed(case, at)
    return [*found, *_retention(case, at)]


def _wait(case: Case) -> list[Clock]:
    due = waits.wait_end(case)
    clock = _clock("Not to be charged before", due, case, case.law.wait, is_duty=False)
    return [replace(clock, citation=waits.waiver_citation(case) or case.law.wait_citation)]


def _lapse(case: Case) -> list[Clock]:
    """When the right of somebody who arranged nothing lapses: shown until it is authorized."""
    rule, due = lapses.rule_of(case), lapses.lapses_at(case, None)
    if rule is None or due is None or case.stage not in ("expected", "in_care"):
        return []
    clock = _clock(LAPSES, due, case, rule, is_duty=False)
    if not rule.lapse_days_after_notice:
        return [clock]
    sooner = f"Sooner where day {rule.lapse_days_after_notice} after notice of the death ended."
    return [replace(clock, why=f"{clock.why} {sooner}")]


def _clock(title: str, due: hours.Due, case: Case, rule: Rule, *, is_duty: bool) -> Clock:
    cited = case.law.cited(title.lower(), rule)
    known = due.kind is not hours.Kind.UNKNOWN
    return Clock(title, due.at, "", due.why, cited, is_duty, known)


def _holdings(case: Case, at: Moments) -> list[Clock]:
    """Cooling; "not known" to be embalmed counts as not embalmed."""
    found = []
    delivery = getattr(case, "delivery", None)
    for rule in case.law.holdings:
        if not rule.is_enforced or rule.after_hours is None:
            continue
        if "embalmed" in rule.unless and delivery and delivery.is_embalmed:
            continue
        due = _missing(clocks.cool_by(rule, at.death, at.custody), rule.starts)
        clock = _clock(f"Cool {_to(rule)}by", due, case, rule, is_duty=True)
        found.append(_with(clock, rule.unless, is_met=is_cooled(case)))
    return found


_WORDS = {
    "embalmed": "embalmed (not known counts as no)",
    "seep_proof_container": "in a container that does not seep",
    "dry_ice": "kept on dry ice",
    "refrigerated": "in the cooler",
    "emergency": "an emergency",
    "good_cause": "a good cause, recorded",
    "coroner_agrees_in_writing": "the coroner agrees in writing",
    "applicant_consents_in_writing": "the applicant consents in writing",
}


def is_cooled(case: Case) -> bool:
    """True from the receipt to the charge: the person lies in a cooler bay of the house."""
    return case.stage in BEFORE_CHARGE and case.stage != "expected"


def _with(clock: Clock, unless: Iterable[str], *, is_met: bool) -> Clock:
    """Say where the rule does not hold; what is met is no duty that presses."""
    others = [_WORDS[key] for key in unless if key in _WORDS]
    parts = (
        clock.why,
        f"Not where: {' or '.join(others)}." if others else "",
        "The person lies in a cooler bay since the receipt." if is_met else "",
    )
    why = " ".join(part for part in parts if part)
    return replace(clock, why=why, is_duty=clock.is_duty and not is_met)


def _to(rule: Holding) -> str:
    if rule.max_f is not None:
        return f"to {rule.max_f} °F or below "
    return f"to {rule.max_c} °C or below " if rule.max_c is not None else ""


def _missing(due: hours.Due, starts: str | None) -> hours.Due:
    if due.kind is not hours.Kind.UNKNOWN or not starts:
        return due
    return hours.unknown(f"Counted from {FROM[starts]}, which is not recorded.")


def _limits(case: Case, at: Moments) -> list[Clock]:
    found = []
    delivery = getattr(case, "delivery", None)
    for rule in case.law.holding_limits:
        if not rule.is_enforced or rule.what not in LIMITS:
            continue
        if "embalmed" in rule.unless and delivery and delivery.is_embalmed:
            continue
        found.append(
            _with(
                _limit(case, rule, at),
                rule.unless,
                is_met="refrigerated" in rule.unless and is_cooled(case),
            )
        )
    return found


def _limit(case: Case, rule: HoldingLimit, at: Moments) -> Clock:
    title = LIMITS[rule.what]
    starts = "custody" if rule.what == "refrigerated" else rule.starts  # cooled from the receipt
    cited = case.law.cited(title.lower(), rule)
    start = at.of(starts)
    if start is None:
        span = f"{rule.within_hours} hours" if rule.within_hours else f"{rule.within_days} days"
        since = f"counted from {FROM[starts]}" if starts else "counted from when it begins"
        only = " Only by religious custom." if rule.only_for else ""
        why = f"{span}, {since}, which is not recorded.{only}"
        return Clock(title, None, "", why, cited, True, is_known=False)
    if rule.within_hours:
        return _clock(title, hours.within(start, rule.within_hours), case, rule, is_duty=True)
    due = days.not_later_than(start, rule.within_days or 0, case.facility.zone)
    return _day_clock(title, due, case, cited)


def _day_clock(title: str, due: days.DayDue, case: Case, cited: str, more: str = "") -> Clock:
    if due.on is None:
        return Clock(title, None, "", due.why + more, cited, True, is_known=True)
    end = hours.start_of(due.on + hours.DAY, case.facility.zone)
    return Clock(title, end, due.on.isoformat(), due.why + more, cited, True)


def _notices(case: Case, at: Moments) -> list[Clock]:
    found = []
    for rule in case.law.notices:
        if not rule.is_enforced or rule.of != "cremation" or rule.within_hours is None:
            continue
        start = at.of(rule.starts)
        due = clocks.notice_by(rule, start) if start else hours.unknown("")
        found.append(
            _clock(
                f"Notice to the {rule.to} by", _missing(due, rule.starts), case, rule, is_duty=True
            )
        )
    return found


def _unclaimed(case: Case, at: Moments) -> list[Clock]:
    found = []
    for rule in case.law.unclaimed:
        if not rule.is_enforced or not (rule.days or rule.years):
            continue
        start = at.of(rule.starts)
        cited = case.law.cited(THEN[rule.then].lower(), rule)
        if start is None:
            why = f"Counted from {FROM[rule.starts or 'cremation']}, which is not recorded."
            found.append(Clock(THEN[rule.then], None, "", why, cited, False, is_known=False))
        elif rule.earliest == "by_day":
            due = clocks.done_by(rule, start, case.facility.zone)
            found.append(_day_clock(THEN[rule.then], due, case, cited))
        else:
            found.append(_free(case, rule, start))
    return found


def _free(case: Case, rule: Unclaimed, start: hours.Moment) -> Clock:
    due = clocks.free_from(rule, start, case.facility.zone)
    return _clock(THEN[rule.then], due, case, rule, is_duty=False)


def _retention(case: Case, at: Moments) -> list[Clock]:
    found = []
    for rule in case.law.retentions:
        if not rule.is_enforced:
            continue
        title = f"{rule.what.replace('_', ' ').capitalize()} to be kept"
        cited = case.law.cited(title.lower(), rule)
        if rule.rule == "permanent":
            found.append(Clock(title, None, "for ever", "", cited, False))
            continue
        start = at.cremation
        if rule.starts == "release":
            release = getattr(case, "release", None)
            start = hours.exactly(release.released_at) if release else None
        if start is None:
            why = f"Counted from {rule.starts or 'the cremation'}, which is not recorded."
            found.append(Clock(title, None, "", why, cited, False, is_known=False))
            continue
        due = clocks.keep_through(rule, start, case.facility.zone)
        day = due.on.isoformat() if due.on else "for ever"
        found.append(Clock(title, None, day, due.why, cited, False))
    return found


def pressing(cases: Iterable[Case], now: datetime) -> list[tuple[Case, Shown]]:
    """Return the terms that run out within a day, soonest first, without asking the database.

    The cases lie before the charge; each has its delivery at hand and `received_at` or None, and
    its agreed times where the law counts from them.
    """
    found = []
    for case in cases:
        received = getattr(case, "received_at", None)
        custody = hours.exactly(received) if received else None
        at = Moments(case.death, custody, None, _agreed(case))
        clocks_now = [*_holdings(case, at), *_limits(case, at)]
        found += [(case, Shown(clock, now)) for clock in clocks_now if clock.presses(now)]
    return sorted(found, key=lambda pair: (pair[1].at or now, pair[0].pk))
