"""Whether the identity band was compared since who the person is was last corrected.

It is read from the trail: a correction of one of `IDENTITY` that was recorded after the last
comparison (the receipt is one) is not settled. After the charge no band is left to compare: the
disc is then the identity, so such a correction is a manager's and marked in its entry.
"""

import json

from cases.models import Case
from chain_of_custody.models import CustodyEntry

# What an identity band reads: the name, commonly with the date of birth (common practice, no
# source). The sex is on no band.
IDENTITY = {"decedent_name": "name", "born_on": "date of birth"}
COMPARISONS = ("receive", "compare_band")


def uncompared(case: Case) -> tuple[CustodyEntry, str] | None:
    """Return the newest correction since the last comparison and what it corrected, or None.

    The order of recording counts: a receipt may be stated with an earlier time.
    """
    entries = CustodyEntry.objects.filter(
        case=case, outcome=CustodyEntry.Outcome.DONE, act__in=("correct", *COMPARISONS)
    ).order_by("-sequence")
    newest = None
    for entry in entries:
        if entry.act in COMPARISONS:
            return newest
        field = json.loads(entry.payload)["facts"]["field"]
        if newest is None and field in IDENTITY:
            newest = entry, IDENTITY[field]
    return None
