"""What a new answer to a device question changes, and how an entry keeps it."""

import json
from collections.abc import Sequence
from typing import Any

from cases.models import DeviceAnswer

YES = DeviceAnswer.Answer.YES
REMOVAL = ("removed_by", "removed_at", "went_to")
KEPT = ("answer", "informant", *REMOVAL, "safe_from")


def lowers(before: Sequence[DeviceAnswer], new: DeviceAnswer) -> bool:
    """True where a device once said to be there would no longer stop the case.

    `before` are all earlier answers to the same question, oldest first: a "yes" that was hidden
    by "not known" meanwhile still counts. So does a removal, or a time from which it is safe,
    that is stated for the first time or otherwise than before.
    """
    if all(answer.answer != YES for answer in before):
        return False
    if new.answer != YES:
        return True
    last = before[-1]
    was, now = ([getattr(row, name) for name in REMOVAL] for row in (last, new))
    is_removed = all(now) and now != was
    return is_removed or (new.safe_from is not None and new.safe_from != last.safe_from)


def sealed_text(answer: DeviceAnswer) -> str:
    """Return the answer as its entry seals it: JSON of what was stated, times as ISO 8601.

    What a dead person carried in their body is no less personal than their name.
    """
    stated: dict[str, Any] = {name: getattr(answer, name) for name in KEPT}
    plain = {
        name: value.isoformat() if hasattr(value, "isoformat") else str(value)
        for name, value in stated.items()
        if value
    }
    return json.dumps(plain, ensure_ascii=False)
