"""Which copy of a paper comes next, and which papers it replaces."""

from typing import Any

from django.utils import timezone
from django.utils.formats import date_format

from chain_of_custody.models import Paper


def next_copy(case: Any, kind: str) -> int:
    """Return the number of the next copy of this kind of paper: 1 for the first."""
    return Paper.objects.filter(case=case, kind=kind).count() + 1


def replaced(case: Any, kind: str) -> str:
    """Name the papers that the next one replaces, because a correction superseded them.

    "paper K7QM-2XHD-9, superseded by a correction on 5 Mar 2024"; "" where the last one stands.
    """
    numbers, corrected_at = [], None
    papers = Paper.objects.filter(case=case, kind=kind).select_related("superseded__entry")
    for paper in papers.defer("facts").order_by("-copy"):
        if not hasattr(paper, "superseded"):
            break
        numbers.append(paper.number)
        corrected_at = corrected_at or paper.superseded.entry.happened_at
    if corrected_at is None:
        return ""
    day = date_format(timezone.localtime(corrected_at, case.facility.zone), "j M Y")
    word = "paper" if len(numbers) == 1 else "papers"
    return f"{word} {', '.join(reversed(numbers))}, superseded by a correction on {day}"
