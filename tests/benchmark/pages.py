"""Milliseconds for each page, against the framework's stock admin lists of the same cases.

"First time" is right after an entry was appended to the trail, with no kept part of the page;
"again" is the next request, as of several tablets that ask within the same minute.
"""

import statistics
import time
from datetime import timedelta

from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext

from cases.models import Case
from cases.steps import FINAL_STAGES, ORDER, STAGES, STEPS
from chain_of_custody import trail
from crematory import clock
from crematory.models import Facility
from retort_log.models import Retort
from tests import cast
from tests.benchmark.filling import fill, name_of, number_of
from tests.benchmark.table import Row
from tests.cases.pages import look_for

SIZES, QUICK_SIZES = (10_000, 100_000), (10_000,)
# Persons who wait at each stage: in all, and those led there through `take`, with all papers.
OPEN_A_STAGE, LED_A_STAGE = 40, 5
WARM_UP, ROUNDS = 3, 25
WANTED = 8.0
# The framework's stock list of cases: as it comes, with one column, and with the columns of our
# own list of persons. Both show 100 rows; our lists show 25.
YARDSTICKS = ("/benchmark-admin/cases/case/", "/benchmark-columns/cases/case/")
# How long before now these were announced: the machines are then in the midst of a run.
# The first one has left its bay before the second one comes.
AT_MACHINE = {"cooling": timedelta(hours=8), "in_retort": timedelta(hours=3, minutes=30)}


def measure(engine: str, quick: bool) -> list[Row]:
    """Return a row for each page and number of cases."""
    facility = cast.make_facility()
    _lead_cases(facility)
    rows, filled = [], _fill_open(facility)
    for size in QUICK_SIZES if quick else SIZES:
        fill(facility, range(filled, size), papers=0, verbs=ORDER[-1:])
        filled = size
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")
        rows += _rows(facility, size)
    return rows


def _waiting() -> list[str]:
    """The stages at which many wait, the last one first."""
    return [s for s in STAGES if s not in FINAL_STAGES and s not in AT_MACHINE][::-1]


def _lead_cases(facility: Facility) -> None:
    """Lead cases to every open stage, through every step on the way; two are at the machines."""
    began = clock.now() - timedelta(days=100)
    with transaction.atomic():
        # The last stage first: a retort is free again before the next person needs it.
        for place, stage in enumerate(_waiting() * LED_A_STAGE):
            at = began + timedelta(hours=6 * place)
            name = name_of(place)
            cast.bring(cast.make_case(facility, at, decedent_name=name), stage)
        for stage, before in AT_MACHINE.items():
            cast.bring(cast.make_case(facility, clock.now() - before), stage)


def _fill_open(facility: Facility) -> int:
    """Add those who wait beside them, with the last step only; return how many were added."""
    filled = 0
    for stage in _waiting():
        verbs = tuple(step.verb for step in STEPS.values() if step.stage_to == stage)
        indexes = range(filled, filled + OPEN_A_STAGE - LED_A_STAGE)
        fill(facility, indexes, papers=0, verbs=verbs)
        filled = indexes.stop
    return filled


def _addresses(facility: Facility, client: Client) -> dict[str, str]:
    contained = Case.objects.filter(facility=facility, stage="contained").earliest("pk")
    in_care = Case.objects.filter(facility=facility, stage="in_care").earliest("pk")
    retort = Retort.objects.filter(runs__ended_at__isnull=True, runs__isnull=False).first()
    assert retort is not None
    return {
        "Today": "/",
        "Persons in care, first page": "/persons/",
        "Everybody, first page": "/persons/?state=all",
        "Everybody, beginning of a name": look_for(client, "greta"),
        "Everybody, case number": look_for(client, number_of(facility, 4321)),
        "The case, in care": f"/cases/{in_care.number}/",
        "The case, contained": f"/cases/{contained.number}/",
        "Trail of a case": f"/cases/{contained.number}/trail/",
        "At the machine": "/machine/",
        "One machine": f"/machine/{retort.place.code}/",
        "Places": "/places/",
        "House": "/house/",
    }


def _rows(facility: Facility, size: int) -> list[Row]:
    client = Client()
    client.force_login(cast.member(facility, cast.MANAGER))
    addresses = _addresses(facility, client)
    first, again = _times(client, facility, [*YARDSTICKS, *addresses.values()])
    bare, columns = (statistics.median(first[a] + again[a]) for a in YARDSTICKS)
    rows = []
    for title, address in addresses.items():
        for when, times in (("first time", first), ("again", again)):
            page = statistics.median(times[address])
            if when == "first time":
                _append(facility)
            rows.append(
                Row(
                    f"{title}, {when}, {size:,} cases",
                    f"{page:.1f} ms",
                    f"{bare:.0f} ms bare list; {columns:.0f} ms with our columns",
                    f"{bare / page:.1f} bare; {columns / page:.1f} columns",
                    f"≥ {WANTED:g} bare",
                    _queries(client, address),
                )
            )
    return rows


def _append(facility: Facility) -> None:
    """Append an entry, as every act does: whatever was kept of a page is no longer asked for."""
    now = clock.now()
    act = trail.Act(facility=facility, name="benchmark", happened_at=now, recorded_at=now)
    with transaction.atomic():
        trail.append(act)


def _times(
    client: Client, facility: Facility, addresses: list[str]
) -> tuple[dict[str, list[float]], dict[str, list[float]]]:
    """Return milliseconds for each page, right after an entry was appended, and once more.

    The pages take turns, so that a disturbance meets all of them.
    """
    first: dict[str, list[float]] = {address: [] for address in addresses}
    again: dict[str, list[float]] = {address: [] for address in addresses}
    for turn in range(WARM_UP + ROUNDS):
        for address in addresses:
            _append(facility)
            for times in (first, again):
                took = _milliseconds(client, address)
                if turn >= WARM_UP:
                    times[address].append(took)
    return first, again


def _milliseconds(client: Client, address: str) -> float:
    began = time.perf_counter()
    status = client.get(address).status_code
    took = time.perf_counter() - began
    if status != 200:
        raise RuntimeError(f"{address} answered {status}")
    return took * 1000


def _queries(client: Client, address: str) -> str:
    with CaptureQueriesContext(connection) as captured:
        client.get(address)
    spent = sum(float(query["time"]) for query in captured) * 1000
    return f"{len(captured)} queries, {spent:.0f} ms of them"
