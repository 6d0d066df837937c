"""A run as a recorder writes it, invented: with a dip, a gap, and events by hand."""

from datetime import timedelta

import numpy as np

from cases.models import Case
from cases.taking import take
from crematory import clock
from retort_log import settling
from retort_log.blocks import Channel, Series, in_steps
from retort_log.events import Stated, record_event
from retort_log.models import PermitToOperate, Run
from retort_log.recorded import to_ms
from tests import cast
from tests.retort_log.test_recorded import keep

MINUTE = timedelta(minutes=1)
MINIMUM = {"value": "1600", "unit": "degF", "citation": "Permit, condition 4", "mark": "house"}
CHANNELS = (Channel("primary", "degF"), Channel("secondary", "degF"))
DIP = 33  # the lowest, in minutes after the charge
GAP = (60, 66)
BURNED_MIN = 110


def state_minimum(case: Case) -> None:
    """Let the permit ask for 1,600 °F in the secondary chamber."""
    terms = {
        "code": "p",
        "title": "Permit of the county",
        "secondary_minimum": MINIMUM,
        "charging": MINIMUM,
        "recording_interval": {**MINIMUM, "value": "5", "unit": "minute"},
    }
    PermitToOperate.objects.filter(facility=case.facility).update(terms=terms)


def temperatures(minutes: np.ndarray) -> np.ndarray:
    """Return primary and secondary in °F at so many minutes after the charge."""
    rng = np.random.default_rng(7)
    burn = np.clip(minutes, 0, BURNED_MIN)
    since_off = np.clip(minutes - BURNED_MIN, 0, None)
    primary = 1150 + 420 * np.sin(burn / BURNED_MIN * np.pi) + rng.normal(0, 6, len(minutes))
    secondary = 1665 + 25 * np.sin(burn / 9) + rng.normal(0, 4, len(minutes))
    secondary -= 170 * np.clip(1 - np.abs(minutes - DIP) / 7, 0, None)
    primary = 70 + (primary - 70) * np.exp(-since_off / 130)
    secondary = 70 + (secondary - 70) * np.exp(-since_off / 190)
    return np.stack([primary, secondary], axis=1)


def write_log(run: Run, until_min: float, every_s: float = 1.0) -> int:
    """Keep what a logger wrote from 10 minutes before the charge on; return how many samples."""
    seconds = np.arange(-600, until_min * 60, every_s)
    minutes = seconds / 60
    wrote = (minutes < GAP[0]) | (minutes >= GAP[1])
    seconds, values = seconds[wrote], temperatures(minutes[wrote])
    times = to_ms(run.charged_at) + (seconds * 1000).astype(np.int64)
    member = cast.member(run.retort.facility, cast.OPERATOR)
    for part in np.array_split(np.arange(len(times)), max(1, len(times) // 3000)):
        keep(run.retort, member, Series(CHANNELS, times[part], in_steps(values[part])))
    return len(times)


def burn(case: Case, stage: str = "recovered", every_s: float = 1.0) -> Run:
    """Lead a person through such a run; the chamber is at its sweep limit after some six hours."""
    state_minimum(case)
    cast.bring(case, "in_retort")
    run = Run.objects.get(case=case)
    operator = cast.member(case.facility, cast.OPERATOR)
    for kind, minute, note in (
        ("burner_lit", 4, ""),
        ("door_opened", 31, ""),
        ("repositioned", 32, "with the long rake"),
        ("fault", 61, "logger without power"),
    ):
        at = run.charged_at + minute * MINUTE
        with clock.pinned(at + MINUTE):
            record_event(run.retort, Stated(kind, at, note), operator)
    if stage == "in_retort":
        write_log(run, 50, every_s)
        return run
    write_log(run, 660 if stage == "recovered" else 200, every_s)
    _settle_gap(run)
    with clock.pinned(run.charged_at + BURNED_MIN * MINUTE):
        facts = cast.facts_for("burner_off", case)
        take("burner_off", case, facts, **cast.signers("burner_off", case), token=cast.token())
    case.refresh_from_db()
    if stage == "recovered":
        with clock.pinned(run.charged_at + 650 * MINUTE):
            cast.prepare("recover", case)
            facts = cast.facts_for("recover", case)
            take("recover", case, facts, **cast.signers("recover", case), token=cast.token())
        case.refresh_from_db()
    return Run.objects.get(case=case)


def _settle_gap(run: Run) -> None:
    """Without an answer to the gap the burner could not be recorded as off."""
    manager = cast.signature(cast.member(run.retort.facility, cast.MANAGER))
    at = run.charged_at + BURNED_MIN * MINUTE
    with clock.pinned(at):
        for found in settling.open_of(run, at):
            if found.finding.code == "gap_in_record":
                settling.settle(run, found.digest, manager, "The logger lost power; fuse replaced.")
