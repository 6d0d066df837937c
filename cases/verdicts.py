"""What a gate answers, and the three states of an answer. Pure: gates and refusals share it."""

from dataclasses import dataclass
from datetime import datetime

PASSED, REFUSED, ASKED = "passed", "refused", "asked"
# What some refusals call for beyond what is missing.
DISPUTE, REVIEW = "dispute", "review"


@dataclass(frozen=True)
class Verdict:
    """A gate's answer; `passes_at` when time alone will open it.

    `since` when it has been shut, where the reason does not say so itself.
    `is_wrong_person` where disc or label is another person's: everything must stop.
    `calls_for` is DISPUTE where somebody objects, REVIEW where a manager must settle it.
    """

    gate: str
    title: str
    state: str
    reason: str = ""
    who: str = ""
    passes_at: datetime | None = None
    citation: str = ""
    since: datetime | None = None
    is_wrong_person: bool = False
    calls_for: str = ""
