"""What is told of one run, on its page and on its sheet: times, hands, readings, findings.

Nothing is judged here: findings come from `retort_log.settling`, the chart from
`retort_log.chart`. All texts are in the facility's units and in the zone in force.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

import numpy as np

from cases.models import Case
from cases.steps import STEPS
from chain_of_custody.models import CustodyEntry
from crematory.models import Facility, StaffMember
from crematory.units import NBSP, UnitSystem, convert
from retort_log import events, recorded
from retort_log.chart import Chart, LimitLine, Mark
from retort_log.finding import amount, symbol
from retort_log.models import Run, RunEvent
from retort_log.permit_rules import PermitRules
from retort_log.permits import rules_of_run
from retort_log.readings import Trace
from retort_log.run_record import RunRecord
from retort_log.settling import Found

STEPS_OF_A_RUN = ("charge", "burner_off", "recover")
CHAMBERS = ("secondary", "primary")
NAMES = {"secondary": "Secondary chamber", "primary": "Primary chamber"}
LATE = timedelta(minutes=1)  # forms state times to the minute
# The chart begins a little before the charge: what the charge stood on is then in sight.
BEFORE = timedelta(minutes=15)
QUARTER_S = 900


@dataclass(frozen=True)
class Happening:
    """One thing that happened in a run, by its number in list and chart."""

    number: int
    at: datetime
    words: str
    hands: str
    note: str = ""
    recorded_at: datetime | None = None  # where it was entered later than it happened


@dataclass(frozen=True)
class Row:
    """A reading of both chambers as it is listed; "" where a chamber was not read then."""

    at: datetime
    secondary: str
    primary: str
    note: str = ""


@dataclass(frozen=True)
class Told:
    """A finding as it is shown: its mark and word, its figures in words, and its answer."""

    found: Found
    kind: str  # "breach", "open" or "told"
    value: str
    limit: str

    @property
    def word(self) -> str:
        """What kind of finding it is, in words."""
        is_settled = self.kind == "open" and self.found.settled is not None
        return "Settled" if is_settled else WORDS[self.kind]


WORDS = {"breach": "Breach", "open": "To be settled", "told": "Told"}


def run_of(case: Case) -> Run | None:
    """Return the run of a case with its retort and permit; None before the charge. One query."""
    run = Run.objects.filter(case=case).select_related("retort__permit", "retort__place").first()
    if run is not None:
        run.case, run.retort.facility = case, case.facility
    return run


def units_of(facility: Facility) -> UnitSystem:
    """Return the units in which a facility reads."""
    return "metric" if facility.units == Facility.Units.METRIC else "us"


def entries_of(run: Run) -> dict[str, CustodyEntry]:
    """Return the entries of charge, burner off and recovery by their verbs. One query."""
    rows = CustodyEntry.objects.filter(
        case=run.case_id, act__in=STEPS_OF_A_RUN, outcome=CustodyEntry.Outcome.DONE
    ).select_related("signed_by", "witness")
    return {entry.act: entry for entry in rows}


def happenings(run: Run, entries: dict[str, CustodyEntry]) -> list[Happening]:
    """Return steps and events in the order of time, numbered. Two queries."""
    told = [_step(verb, entries[verb]) for verb in STEPS_OF_A_RUN if verb in entries]
    cleared = (
        Run.objects.filter(retort=run.retort_id, ended_at__lte=run.charged_at)
        .order_by("-ended_at")
        .values_list("ended_at", flat=True)
        .first()
    )
    # A preheat belongs to the first run after it.
    told += [_event(e) for e in events.events_of(run) if not cleared or e.at >= cleared]
    order = sorted(told, key=lambda one: one.at)
    return [
        Happening(number, one.at, one.words, one.hands, one.note, one.recorded_at)
        for number, one in enumerate(order, start=1)
    ]


def _step(verb: str, entry: CustodyEntry) -> Happening:
    hands = _hand(entry.signed_by)
    if entry.witness:
        hands += f"; witness {_hand(entry.witness)}"
    late = _late(entry.happened_at, entry.recorded_at)
    return Happening(0, entry.happened_at, STEPS[verb].label, hands, recorded_at=late)


def _event(event: RunEvent) -> Happening:
    words = str(event.get_kind_display())
    if event.opacity:
        words += f", opacity up to {max(event.opacity)} %"
    late = _late(event.at, event.recorded_at)
    return Happening(0, event.at, words, _hand(event.recorded_by), event.note, late)


def _hand(member: StaffMember | None) -> str:
    return f"{member.printed_name} ({member.staff_code})" if member else "not known"


def _late(at: datetime, recorded_at: datetime) -> datetime | None:
    return recorded_at if recorded_at - at > LATE else None


@dataclass(frozen=True)
class Seen:
    """All temperatures of a run, from before the charge to `end`, both hands and recorders."""

    run: Run
    rules: PermitRules
    record: RunRecord
    unit: str
    end: datetime

    @classmethod
    def of(cls, run: Run, now: datetime) -> "Seen":
        """Read them up to the recovery, or to now. Two queries, one more with corrections."""
        end = run.ended_at or now
        seen = recorded.window(run.retort, run.charged_at, end)
        record = RunRecord(
            charged_at=run.charged_at,
            now=end,
            burner_off_at=run.burner_off_at,
            ended_at=run.ended_at,
            traces=seen.traces,
            hand=seen.hand,
            zone=run.retort.facility.zone,
        )
        unit = "degF" if units_of(run.retort.facility) == "us" else "degC"
        return cls(run, rules_of_run(run), record, unit, end)

    def trace(self, chamber: str) -> Trace:
        """Return what was read of a chamber, in the facility's unit; up to the end only."""
        return self.record.trace(chamber, self.unit, self.rules).until(self.end.timestamp())

    def since(self, chamber: str, at: datetime) -> list[tuple[datetime, Decimal]]:
        """Return the readings of a chamber from a time on, in °C."""
        trace = self.record.trace(chamber, "degC", self.rules).until(self.end.timestamp())
        first = int(np.searchsorted(trace.seconds, at.timestamp()))
        return [
            (_moment(second), Decimal(repr(round(value, 2))))
            for second, value in zip(
                trace.seconds[first:].tolist(), trace.values[first:].tolist(), strict=True
            )
        ]

    def last_read_at(self) -> datetime | None:
        """Return when anything was read last."""
        ends = [trace.seconds[-1] for trace in map(self.trace, CHAMBERS) if len(trace)]
        return _moment(float(max(ends))) if ends else None


def chart_of(seen: Seen, told: Iterable[Happening], until: datetime | None = None) -> Chart:
    """Return the chart of a run with its limits and its numbered events."""
    run, end = seen.run, until or seen.end
    return Chart(
        traces={name: t for name in CHAMBERS if len(t := seen.trace(name))},
        unit=seen.unit,
        start=(run.charged_at - BEFORE).timestamp(),
        end=end.timestamp(),
        max_gap_s=seen.record.distance_s(seen.rules),
        limits=tuple(_limit_lines(seen)),
        marks=tuple(Mark(one.at.timestamp(), one.words) for one in told),
        zone=run.retort.facility.zone,
        title=f"Temperatures of the run in {run.retort.name}",
        words=NAMES,
    )


def _limit_lines(seen: Seen) -> list[LimitLine]:
    """What the permit asks of the chambers, and the sweep limit; equal ones as one line."""
    rules, retort = seen.rules, seen.run.retort
    asked = [("degC", retort.sweep_limit_c, "primary, to be swept: at most")]
    if rules.charging:
        at_charge = f"{rules.charging_chamber}, at the charge: at least"
        asked.append((rules.charging.unit, rules.charging.value, at_charge))
    if rules.secondary_minimum:
        least = rules.secondary_minimum
        asked.append((least.unit, least.value, "secondary, while burning: at least"))
    words: dict[Decimal, list[str]] = {}
    for unit, value, what in asked:
        shown = convert(value, unit, seen.unit).quantize(Decimal("0.1"))
        words.setdefault(shown, []).append(what)
    return [
        LimitLine(float(value), f"{_together(whats)} {amount(value, seen.unit)}")
        for value, whats in words.items()
    ]


def _together(whats: list[str]) -> str:
    """Say once what two limits of one value have in common."""
    if whats == ["secondary, at the charge: at least", "secondary, while burning: at least"]:
        return "secondary, at the charge and while burning: at least"
    return "; ".join(whats)


def rows(seen: Seen) -> list[Row]:
    """Return one reading a quarter hour, the first and the last, and each highest and lowest.

    Lowest and highest are of the time in which a person burned inside.
    """
    traces = {name: seen.trace(name) for name in CHAMBERS}
    start = (seen.run.charged_at - BEFORE).timestamp()
    burned = (seen.run.charged_at.timestamp(), seen.record.end)
    at = np.unique(np.concatenate([trace.seconds for trace in traces.values()]))
    at = at[at >= start]
    if not len(at):
        return []
    _, firsts = np.unique(at // QUARTER_S, return_index=True)
    notes: dict[float, list[str]] = {float(at[i]): [] for i in (*firsts, len(at) - 1)}
    for name, trace in traces.items():
        for second, word in _extremes(trace, *burned):
            notes.setdefault(second, []).append(f"{word} {name}")
    return [
        Row(
            _moment(second),
            _read(traces["secondary"], second),
            _read(traces["primary"], second),
            ", ".join(notes[second]),
        )
        for second in sorted(notes)
    ]


def _extremes(trace: Trace, start: float, end: float) -> list[tuple[float, str]]:
    keep = (trace.seconds >= start) & (trace.seconds <= end)
    at, values = trace.seconds[keep], trace.values[keep]
    if not len(at):
        return []
    low, high = int(values.argmin()), int(values.argmax())
    return [(float(at[low]), "lowest"), (float(at[high]), "highest")]


def _read(trace: Trace, second: float) -> str:
    place = int(np.searchsorted(trace.seconds, second))
    if place == len(trace) or trace.seconds[place] != second:
        return ""
    return f"{trace.values[place]:,.1f}{NBSP}{symbol(trace.unit)}"


def told_of(found: Iterable[Found]) -> list[Told]:
    """Return findings as they are shown, in the order in which they come."""
    return [_told(one) for one in found]


def _told(one: Found) -> Told:
    finding = one.finding
    kind = "breach" if finding.is_breach else "open" if finding.needs_settling else "told"
    value = "" if finding.value is None else amount(finding.value, finding.unit, finding.limit)
    limit = "" if finding.limit is None else amount(finding.limit, finding.unit)
    return Told(one, kind, value, limit)


def _moment(seconds: float) -> datetime:
    return recorded.EPOCH + timedelta(seconds=seconds)
