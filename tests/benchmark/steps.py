"""Steps taken a second by eight processes at once, against bare commits on the same database."""

import multiprocessing
from multiprocessing.synchronize import Barrier
from typing import Any

import django
from django.db import connection

from tests.benchmark.table import Row

CLIENTS = 8
SECONDS, QUICK_SECONDS = 10.0, 3.0
WAIT_S = 90


def measure(engine: str, quick: bool) -> list[Row]:
    """Return the row of this engine."""
    seconds = QUICK_SECONDS if quick else SECONDS
    _furnish()
    bare = _together("commit_bare", seconds / 2)
    tallies = _together("lead_cases", seconds)
    bare_rate = sum(t.entries for t in bare) / (seconds / 2)
    steps, entries = (sum(getattr(t, what) for t in tallies) for what in ("steps", "entries"))
    return [
        Row(
            f"acts and steps, each one commit with its entry, {CLIENTS} clients, {engine}",
            f"{entries / seconds:,.0f}/s",
            f"{bare_rate:,.0f}/s bare commits",
            f"{entries / seconds / bare_rate:.2f}",
            "none lost or refused",
            _outcome(tallies, entries),
        ),
        Row(
            f"steps through `take` among them, {engine}",
            f"{steps / seconds:,.0f}/s",
            f"{bare_rate:,.0f}/s bare commits",
            f"{steps / seconds / bare_rate:.2f}",
            notes=f"slowest act {max(t.slowest_s for t in tallies):.2f} s",
        ),
    ]


def _furnish() -> None:
    from tests import cast
    from tests.benchmark.clients import BARE_TABLE

    facility = cast.make_facility()
    for number in range(4, CLIENTS + 1):
        cast.make_place(facility, "bay", number)
    key = "SERIAL" if connection.vendor == "postgresql" else "INTEGER"
    with connection.cursor() as cursor:
        cursor.execute(f"CREATE TABLE {BARE_TABLE} (id {key} PRIMARY KEY, client int, text text)")
    connection.close()


def _together(what: str, seconds: float) -> list[Any]:
    """Run the clients at once, each in a fresh process, and return their tallies."""
    context = multiprocessing.get_context("spawn")
    start, answers = context.Barrier(CLIENTS), context.Queue()
    clients = [
        context.Process(target=_client, args=(what, number, seconds, start, answers))
        for number in range(1, CLIENTS + 1)
    ]
    for client in clients:
        client.start()
    tallies = [answers.get(timeout=WAIT_S) for _ in clients]
    for client in clients:
        client.join(WAIT_S)
    return tallies


def _client(what: str, number: int, seconds: float, start: Barrier, answers: Any) -> None:
    django.setup()
    from tests.benchmark import clients

    answers.put(getattr(clients, what)(number, seconds, start))
    connection.close()


def _outcome(tallies: list[Any], acknowledged: int) -> str:
    """Say what became of the entries: lost, refused, and whether the trail holds."""
    from chain_of_custody.models import CustodyEntry
    from chain_of_custody.verify import verify
    from crematory.models import Facility

    kept = CustodyEntry.objects.filter(outcome="done").count()
    refused = CustodyEntry.objects.exclude(outcome="done").count()
    report = verify(Facility.objects.get())
    holds = "trail holds" if report.holds else f"TRAIL DOES NOT HOLD: {report.first}"
    parts = [
        f"{acknowledged:,} acknowledged, {acknowledged - kept} lost",
        f"{sum(t.locked for t in tallies)} locked",
        f"{refused} refused",
        holds,
        *(failure for t in tallies for failure in t.failures[:1]),
    ]
    return ", ".join(parts)
