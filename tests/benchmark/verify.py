"""Entries verified a second, against bare SHA-256 over the same rows read by the same roads."""

import hashlib
import time
from collections.abc import Callable

from cases.steps import ORDER
from chain_of_custody.models import CustodyEntry
from chain_of_custody.verify import entry_rows, sealed_rows
from chain_of_custody.verify import verify as verify_trail
from crematory.models import Facility
from tests import cast
from tests.benchmark.filling import fill
from tests.benchmark.table import Row

# Each case: ten papers and the ten steps.
PAPERS, ENTRIES_A_CASE = 10, 20
SIZES, QUICK_SIZES = (20_000, 100_000), (5_000, 20_000)
ROUNDS = 5


def measure(engine: str, quick: bool) -> list[Row]:
    """Return a row for each size."""
    rows = []
    for prefix, size in zip(("QV", "QW"), QUICK_SIZES if quick else SIZES, strict=True):
        # Two facilities: one trail is not read when the other is verified.
        facility = cast.make_facility(prefix)
        fill(facility, range(size // ENTRIES_A_CASE), PAPERS, ORDER)
        rows.append(_row(facility, size, engine))
    return rows


def _row(facility: Facility, size: int, engine: str) -> Row:
    report = verify_trail(facility)
    # In turns, so that a disturbance of the machine meets both; the quickest round counts.
    rounds = [
        (_seconds(lambda: _hash_rows(facility)), _seconds(lambda: verify_trail(facility)))
        for _ in range(ROUNDS)
    ]
    bare, whole = (min(times) for times in zip(*rounds, strict=True))
    entries = CustodyEntry.objects.filter(facility=facility).count()
    return Row(
        f"entries verified, {size:,} of them, {engine}",
        f"{entries / whole:,.0f}/s",
        f"{entries / bare:,.0f}/s bare SHA-256",
        f"{bare / whole:.2f}",
        "≥ 0.5",
        "holds" if report.holds and report.size == size else f"DOES NOT HOLD: {report.first}",
    )


def _hash_rows(facility: Facility) -> None:
    for row in entry_rows(facility):
        hashlib.sha256(row[1].encode()).digest()
    for row in sealed_rows(facility):
        hashlib.sha256(row[3].encode()).digest()


def _seconds(work: Callable[[], object]) -> float:
    """Return how long the work takes."""
    began = time.perf_counter()
    work()
    return time.perf_counter() - began
