"""Gates at the machine: charge, burner off, recover."""

from datetime import date, datetime, timedelta

from django.utils import timezone

from cases import waits
from cases.deadlines import Kind
from cases.gates import discs, labels
from cases.gates.base import (
    Answer,
    Situation,
    asked,
    by_law,
    gate,
    passed,
    refused,
    shown,
)
from crematory import clock
from retort_log import events, recorded, selectors, settling, upkeep
from retort_log.doubts import FRESH
from retort_log.finding import CHECK
from retort_log.models import Retort, Run
from retort_log.permits import interval_min, rules_of, rules_of_run
from retort_log.run_life import Phase
from retort_log.run_record import CLOCK_SLACK_S

OPERATOR = "operator"
OFFICE = "front office"
MANAGER = "manager"


def _retort(s: Situation) -> Retort | None:
    return s.facts.retort if s.facts is not None else s.retort


def _latest_day(s: Situation) -> date:
    """The later of the stated day and the day of recording: what expired by either is refused.

    A charge that is dated back must be covered on both; only the end of a certificate and of a
    permit is on file, so that the later day decides.
    """
    latest = max(s.now, clock.now())
    return timezone.localtime(latest, s.case.facility.zone).date()


@gate("Waiting period over")
def waiting_period(s: Situation) -> Answer:
    case, rules = s.case, s.case.law
    if rules.wait_hours is None:  # unknown, or only remembered: that is never "no wait"
        return refused(
            "The hours between death and cremation are unknown here.",
            "a manager records the local authority's answer, or the house adopts a number",
            citation=by_law(rules.wait_citation),
        )
    due = waits.wait_end(case)
    cited = f"{rules.wait_citation}, {waits.counted(case)}"
    if due.kind is Kind.NONE:
        cited = waits.waiver_citation(case) or cited
    citation = by_law(cited)
    if due.over(s.now):
        return passed(due.why, citation)
    if due.kind is Kind.UNKNOWN:
        return refused(due.why, f"{OFFICE}, from {case.sender}", citation=citation)
    waivers = waits.waiver_words(case)
    return refused(
        " ".join(part for part in ("The waiting period has not ended.", due.why, waivers) if part),
        "time alone, or a lawful waiver that a manager records" if waivers else "time alone",
        due.at,
        citation,
    )


@gate("Operator certified")
def operator_certified(s: Situation) -> Answer:
    if s.signer is None:
        return asked("The operator who signs must hold a current certificate.")
    member = s.signer
    if not member.certificate_number or member.certificate_expires_on is None:
        return refused(f"{member.printed_name} has no certificate on file.", MANAGER)
    if member.certificate_expires_on < _latest_day(s):
        day = member.certificate_expires_on
        return refused(
            f"{member.printed_name}'s certificate expired on {day.day} {day:%b %Y}.",
            "another operator signs, or a manager records the renewed certificate",
        )
    return passed()


@gate("Retort free")
def retort_free(s: Situation) -> Answer:
    retort = _retort(s)
    if retort is None:
        return asked("Choose the retort.")
    run = selectors.open_run(retort)
    if run is None:
        return passed()
    return refused(
        f"{retort.name} is occupied: case {run.case.number}.",
        "recover that person's remains first, or choose another retort",
        since=run.charged_at,
    )


@gate("Retort fit for use")
def retort_fit(s: Situation) -> Answer:
    retort = _retort(s)
    if retort is None:
        return asked("The retort must be fit for use and its permit current.")
    if retort.facility_id != s.case.facility_id:
        return refused("This retort belongs to another facility.", MANAGER)
    retort.refresh_from_db(fields=["is_fit", "unfit_reason"])  # as it is now, not as it was shown
    if not retort.is_fit:
        return refused(f"{retort.name} is out of use: {retort.unfit_reason}.", MANAGER)
    expires = retort.permit.expires_on
    if expires and expires < _latest_day(s):
        return refused(f"The permit expired on {expires.day} {expires:%b %Y}.", MANAGER)
    return passed()


@gate("Upkeep of the retort not overdue")
def upkeep_current(s: Situation) -> Answer:
    retort = _retort(s)
    if retort is None:
        return asked("What the house asks to be kept up must not be overdue.")
    late = upkeep.overdue(retort, s.now)
    if not late:
        return passed()
    what = "; ".join(f"{row.rule.label}: {row.due.words}" for row in late)
    return refused(
        f"Overdue at {retort.name}: {what}.",
        "have it done and record it on the page Upkeep, or choose another retort",
        citation="; ".join(dict.fromkeys(row.rule.source for row in late)),
    )


@gate("Chamber empty by inspection")
def retort_empty(s: Situation) -> Answer:
    if s.facts is None:
        return asked("Look into the chamber: it must be empty and swept.")
    if s.facts.chamber_is_empty:
        return passed()
    return refused("The chamber was not seen to be empty.", OPERATOR)


@gate("Mass within the retort's limit")
def mass_limit(s: Situation) -> Answer:
    retort = _retort(s)
    if retort is None:
        return asked("Each retort has its own limit.")
    mass = s.case.delivery.mass_kg
    if mass <= retort.mass_limit_kg:
        return passed()
    return refused(
        f"{shown(s, mass, 'mass')} with container; {retort.name} takes "
        f"{shown(s, retort.mass_limit_kg, 'mass')}.",
        "choose a retort with a higher limit",
    )


@gate("Chamber at its charging temperature")
def charging_temperature(s: Situation) -> Answer:
    retort = _retort(s)
    if retort is None:
        return asked("The newest reading of the retort counts.")
    limit = retort.permit.charging_temperature_c
    chamber = rules_of(retort.permit).charging_chamber
    citation = f"Permit {retort.permit.number}. Check with the authority."
    reading = recorded.newest(retort, chamber, s.now)
    if reading is None or reading.at < s.now - FRESH:
        return refused(
            f"No reading of {retort.name} in the last 15 minutes.", OPERATOR, citation=citation
        )
    if reading.celsius < limit:
        return refused(
            f"{chamber.capitalize()} chamber at {shown(s, reading.celsius, 'temperature')}; "
            f"{shown(s, limit, 'temperature')} is needed.",
            "wait for the preheat and read again",
            citation=citation,
        )
    return passed(shown(s, reading.celsius, "temperature"), citation)


@gate("Within the hours of operation")
def permitted_hours(s: Situation) -> Answer:
    retort = _retort(s)
    if retort is None:
        return asked("The permit may name the hours in which a person may be charged.")
    rules = rules_of(retort.permit)
    if rules.hours is None:
        return passed()
    first, last = rules.hours
    citation = f"{rules.hours_citation or f'Permit {retort.permit.number}'}. {CHECK}"
    at = timezone.localtime(s.now, s.case.facility.zone)
    is_within = first <= at.time() < last if first <= last else not last <= at.time() < first
    if is_within:
        return passed(f"{first:%H:%M} to {last:%H:%M}", citation)
    return refused(
        f"The permit allows a charge from {first:%H:%M} to {last:%H:%M} ({at:%Z}) only.",
        "wait for the hours that the permit names",
        citation=citation,
    )


@gate("Disc scanned: this person's")
def disc_scanned(s: Situation) -> Answer:
    if s.facts is None:
        # What to read is never said beside the field: it must come from the container.
        return asked("Scan the disc on the container.")
    return discs.matches(s, s.facts.disc_scan)


@gate("Container label scanned: this person's")
def label_scanned(s: Situation) -> Answer:
    if refusal := labels.on_record(s):
        return refusal
    if s.facts is None:
        return asked("Scan the newest label on the container.")
    return labels.read(s, s.facts.label_scan) or passed()


@gate("Run not interrupted")
def not_interrupted(s: Situation) -> Answer:
    here = events.now_at(s.case.run.retort, s.now, s.case.run)
    if here.phase is not Phase.INTERRUPTED:
        return passed()
    return refused(
        "The run is interrupted, with the person inside.",
        "operator resumes it with the same person inside; where that is not possible, a manager "
        "ends it by the fault",
        since=here.since,
    )


@gate("Readings reach from charge to now")
def readings_cover(s: Situation) -> Answer:
    run = s.case.run
    rules = rules_of_run(run)
    citation = f"Permit {rules.title}. {CHECK}"
    every = timedelta(minutes=interval_min(rules), seconds=CLOCK_SLACK_S)
    gaps = recorded.gaps(run.retort, run.charged_at, s.now, every)
    if not gaps:
        if s.now - run.charged_at > every or recorded.is_read(run.retort, run.charged_at, s.now):
            return passed()
        return refused(
            "No reading was taken since the charge.",
            "read the chambers and enter it; burner off comes after the charge",
            citation=citation,
        )
    if _gap_accepted(run, s.now):
        return passed("A manager accepted the gap.", citation)
    longest = max(end - start for start, end in gaps)
    minutes = -(-longest // timedelta(minutes=1))  # rounded up: 15 min 20 s are more than 15 min
    return refused(
        f"A gap of {minutes} min in the readings; at most {every.seconds // 60} min may lie "
        "between two readings, from charge to now.",
        "enter the readings as the machine recorded them; where there are none, read the chambers "
        "now, and a manager settles the gap on the page of the run; it is never filled by guess",
        citation=citation,
    )


def _gap_accepted(run: Run, now: datetime) -> bool:
    """True where a manager answered to just these gaps, and none has come since."""
    found = settling.found_of(run, now)
    return any(one.finding.code == settling.CLOSED_GAP and one.settled for one in found)


@gate("End of visible flame confirmed")
def flame_ended(s: Situation) -> Answer:
    if s.facts is None:
        return asked("Look through the port: no flame.")
    if s.facts.flame_has_ended:
        return passed()
    return refused("Visible flame has not ended.", "wait, and look again")


@gate("Cool enough to sweep")
def cool_enough(s: Situation) -> Answer:
    run = s.case.run
    limit = run.retort.sweep_limit_c
    reading = recorded.newest(run.retort, "primary", s.now)
    if reading is None or reading.at < s.now - FRESH:
        return refused(f"No reading of {run.retort.name} in the last 15 minutes.", OPERATOR)
    if reading.celsius > limit:
        return refused(
            f"Primary chamber at {shown(s, reading.celsius, 'temperature')}; sweep at "
            f"{shown(s, limit, 'temperature')} or below.",
            "wait; never reach into a hot chamber",
        )
    return passed(shown(s, reading.celsius, "temperature"))


@gate("Chamber swept clear")
def swept_clear(s: Situation) -> Answer:
    if s.facts is None:
        return asked("Sweep the chamber clear; check brushes and tools for fragments.")
    if s.facts.chamber_is_swept:
        return passed()
    return refused("The chamber is not swept clear.", OPERATOR)


@gate("The disc found among the remains")
def disc_found(s: Situation) -> Answer:
    if s.facts is None:
        return asked("Find the disc among the remains and read it again.")
    if s.facts.disc_state and not s.facts.disc_scan:
        return passed("Not read: what was found instead is on record.")
    answer = discs.matches(s, s.facts.disc_scan)
    if s.facts.disc_state and not answer.is_wrong_person:
        return refused("The disc was read: it needs no other in its place.", OPERATOR)
    return answer
