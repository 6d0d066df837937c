"""The machines of the demonstration before its first person: the permit, and what is kept up."""

from datetime import datetime, time, timedelta
from typing import Any

from cases.demo.hands import Hands
from cases.demo.people import load
from crematory import clock
from retort_log import permits, upkeep
from retort_log.models import PermitToOperate, Retort
from retort_log.upkeep_due import Every

HOURS_CITATION = "Permit AQ-0000 (invented), condition 2"
# The two hours in which nobody is charged: far from the retorts' day, and from the hours after
# `now`, so that somebody who tries a charge is not sent away. From which hour of the clock of
# `now` on each holds; the earliest is also that of the last hours of the evening.
CLOSED: tuple[tuple[time, time, time], ...] = (
    (time(5, 0), time(22, 0), time(0, 0)),
    (time(13, 0), time(3, 0), time(5, 0)),
    (time(23, 10), time(18, 30), time(20, 30)),
)


def closed(local: time) -> tuple[time, time]:
    """Return from when until when the invented permit allows no charge, by the time of `now`."""
    return next(((a, b) for since, a, b in reversed(CLOSED) if local >= since), CLOSED[-1][1:])


def prepare(hands: Hands, now: datetime) -> None:
    """Let the manager state the permit and what is to be kept up; record what was done before."""
    permit = PermitToOperate.objects.get(facility=hands.facility)
    closes, opens = closed(now.astimezone(hands.facility.zone).time())
    hours = {"from": f"{opens:%H:%M}", "until": f"{closes:%H:%M}", "citation": HOURS_CITATION}
    terms = load("permit.toml") | {"hours": hours}
    stated = permits.Stated(permit.number, permit.source, permit.expires_on, terms)
    permits.state(permit, hands["MG1"], stated)
    for retort in hands.retorts:
        for row in load("upkeep.toml")["upkeep"]:
            _kept_up(hands, retort, row)
    hands.reread()


def _kept_up(hands: Hands, retort: Retort, row: dict[str, Any]) -> None:
    every = Every(days=row.get("every_days"), cycles=row.get("every_cycles"))
    subject, source = row.get("subject", ""), row["source"]
    upkeep.ask(
        retort,
        hands["MG1"],
        upkeep.Asked(row["kind"], every, source, subject, row.get("blocks", False)),
    )
    done = upkeep.Done(
        kind=row["kind"],
        done_at=clock.now() - timedelta(days=row["days_before"]),
        done_by=row["done_by"],
        subject=subject,
        figures=row.get("figures", {}),
    )
    upkeep.record_done(retort, hands["MG1"], done)
