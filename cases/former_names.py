"""Names under which persons were announced before a correction: papers outside still say them.

They stand sealed in the entries of the corrections. The trail only grows, so that each process
reads it once and afterwards only what was added. Names stay in its memory, as parts of pages do.
"""

import threading
from dataclasses import dataclass, field

from cases.names import fold
from chain_of_custody.models import CustodyEntry, Log
from crematory.models import Facility

MOST = 500  # persons that one search takes over
CHUNK = 2000
_lock = threading.Lock()


@dataclass
class _Read:
    """What was read of one trail so far: its size and last leaf, and who had which name."""

    size: int = 0
    last_leaf: str = ""
    names: list[tuple[str, str, int]] = field(default_factory=list)


_read: dict[int, _Read] = {}


def once_named(facility: Facility, text: str) -> dict[int, str]:
    """Return the former names in which this text stands, by the key of the case; 500 at the most.

    The newest one where a person had several. One query where nothing was added.
    """
    looked = fold(text)
    with _lock:
        names = _up_to_date(facility).names[:]
    found = {case: name for folded, name, case in names if looked in folded}
    return dict(list(found.items())[-MOST:])


def _up_to_date(facility: Facility) -> _Read:
    head = Log.objects.filter(facility=facility).values_list("size", "last_leaf").first()
    size, leaf = head or (0, "")
    read = _read.setdefault(facility.pk, _Read())
    if (read.size, read.last_leaf) == (size, leaf):
        return read
    if not _goes_on(facility, read, size):  # another database, as after a restore
        read = _read[facility.pk] = _Read()
    corrections = CustodyEntry.objects.filter(
        facility=facility,
        sequence__gte=read.size,
        sequence__lt=size,
        act="correct",
        outcome=CustodyEntry.Outcome.DONE,
        payload__contains='"field":"decedent_name"',
        sealed__key="old",
    ).order_by("sequence")
    for case, name in corrections.values_list("case_id", "sealed__value").iterator(CHUNK):
        if case is not None:
            read.names.append((fold(name), name, case))
    read.size, read.last_leaf = size, leaf
    return read


def _goes_on(facility: Facility, read: _Read, size: int) -> bool:
    """True where the trail is the one that was read, with more behind it."""
    if read.size == 0:
        return True
    last = CustodyEntry.objects.filter(facility=facility, sequence=read.size - 1)
    return read.size <= size and last.filter(leaf_hash=read.last_leaf).exists()
