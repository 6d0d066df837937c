"""What somebody had before them when they wrote: marked on the page, compared under the lock.

The rows behind these pages are only ever added, so that their numbers say all that was shown. The
page carries a digest of them (`cases/forms/seen.py`); the act asks `check` once it holds the case.
"""

import hashlib
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import TypeVar

from django.db.models import Model

from cases import right, things
from cases.errors import ActRefused
from cases.models import Case, DeviceAnswer, Document, HolderFacts, RankNamed, RightHolder

CODE = "stated_meanwhile"
TEXT = (
    "Something was recorded meanwhile that this page had not shown. It stands here now beside "
    "what you typed: read it, then send the form again."
)
Shown = Model | str
T = TypeVar("T", bound=Shown)


def mark(shown: Iterable[Shown]) -> str:
    """Return the SHA-256 of the tables and numbers of rows, and of texts; "" for nothing."""
    return _marks(shown)[-1]


def _marks(shown: Iterable[Shown]) -> list[str]:
    """Return the marks of nothing, of the first one, of the first two, and so on."""
    digest, marks = hashlib.sha256(), [""]
    for one in shown:
        name = f"{one._meta.label} {one.pk}" if isinstance(one, Model) else f"text {one!r}"
        digest.update(f"{name}\n".encode())
        marks.append(digest.hexdigest())
    return marks


def as_shown(history: Sequence[T], sent: str) -> Sequence[T]:
    """Return the beginning of `history` that a page with this mark showed; all where none did."""
    marks = _marks(history)
    return history[: marks.index(sent)] if sent in marks else history


def meanwhile() -> ActRefused:
    """Return the refusal of what was written beside something else than stands now."""
    return ActRefused(CODE, TEXT)


def check(sent: str | None, shown: Iterable[Shown]) -> None:
    """Refuse where a page with the mark `sent` showed other rows; None where no page was there."""
    if sent is not None and sent != mark(shown):
        raise meanwhile()


def of_devices(case: Case) -> list[DeviceAnswer]:
    """Return what the page of device questions shows."""
    return list(case.device_answers.all())


def of_things(case: Case) -> list[Shown]:
    """Return what the page of personal things shows, with what the receipt says of them."""
    rows = things.rows(case)
    written = things.written_at_receipt(case)
    given = [thing.returned for thing in rows if things.is_back(thing)]
    return [*rows, *given, *([written] if written else [])]


def of_known(holder: RightHolder) -> list[HolderFacts]:
    """Return what the form on what is known of a person shows."""
    return list(holder.facts.all())


def of_classes(case: Case) -> list[RankNamed]:
    """Return what the form on complete classes shows."""
    return list(case.ranks_named.all())


def of_right(case: Case) -> list[Shown]:
    """Return all from which it is answered who may authorize, as a manager reviews it."""
    holders = list(case.right_holders.all())
    return [
        *holders,
        *(row for holder in holders for row in holder.facts.all()),
        *(row for holder in holders for row in holder.statements.all()),
        *(row for holder in holders for row in right.later_instruments(holder)),
        *case.ranks_named.all(),
        *case.authority_reviews.all(),
    ]


def of_law(case: Case) -> list[Model]:
    """Return what the page of the law's questions shows, in the order in which it was stated."""
    answered, agreed = list(case.law_answers.all()), list(case.agreed_times.all())
    rests_on = {row.document_id for row in answered if row.document_id}
    rests_on |= {row.document_id for row in agreed}
    newer: list[Document] = [
        paper for paper in case.documents.all() if paper.replaces_id in rests_on
    ]
    stated: list[tuple[datetime, Model]] = [
        *((row.answered_at, row) for row in answered),
        *((row.stated_at, row) for row in agreed),
        *((paper.filed_at, paper) for paper in newer),
    ]
    return [row for _, row in sorted(stated, key=lambda one: one[0])]
