"""Printing papers: facts as they are, a number nobody can guess, bytes that can be checked.

Every printing is itself an entry of the trail, which keeps the SHA-256 of the bytes; the facts
with names stay in the `Paper` row. The bytes lie in a file that is named by its own SHA-256.
"""

import hashlib
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.template.loader import render_to_string
from django.utils import timezone

from chain_of_custody import copies, paper_store, trail, typesetter
from chain_of_custody.models import CustodyEntry, Paper
from chain_of_custody.typesetter import Typeset
from crematory import clock
from crematory.check_character import with_check
from crematory.models import Facility, StaffMember

Facts = dict[str, Any]
# Without I, L, O, 0 and 1, which are misread for one another.
ALPHABET = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"
ATTEMPTS_OUTSIDE = 3


class PrintRefused(Exception):
    """A paper that may not be printed now: `code` for the trail, the text says why."""

    def __init__(self, code: str, text: str) -> None:
        super().__init__(text)
        self.code = code


@dataclass(frozen=True)
class Order:
    """What is to be printed. `facts` builds plain JSON values each time it is asked.

    A paper `by_hand` is not set in type: its template gives the plain text that a person writes.
    """

    case: Any
    kind: str
    title: str
    template: str
    facts: Callable[[], Facts]
    printed_by: StaffMember
    token: str | None = None
    by_hand: bool = False


@dataclass(frozen=True)
class Proof:
    """A paper set in type but not yet issued."""

    number: str
    copy: int
    facts: Facts
    printed_at: datetime
    typeset: Typeset

    @property
    def sha256(self) -> str:
        """Hex SHA-256 of the bytes."""
        return hashlib.sha256(self.typeset.data).hexdigest()


def new_number() -> str:
    """Return a random number such as "K7QM-2XHD-9": 39 bits and a check character."""
    while True:
        first, second = ("".join(secrets.choice(ALPHABET) for _ in range(4)) for _ in range(2))
        number = with_check(f"{first}-{second}")
        if number[-1] in ALPHABET:
            return number


def house_facts(facility: Facility) -> Facts:
    """Return what the letterhead says, as it is now."""
    return {
        "name": facility.name,
        "address": facility.address,
        "telephone": facility.telephone,
        "licence_number": facility.licence_number,
        "page_size": "letter" if facility.units == Facility.Units.US else "A4",
        "time_zone": facility.time_zone,
    }


def print_paper(order: Order) -> Paper:
    """Print a paper and record it in the trail; a repeated token gives the first paper.

    Type is set before the transaction, so that no lock is held meanwhile. When the facts or
    the count of copies changed under it, the paper is set again; in the end inside the lock.
    Raises PressUnavailable if nothing can be printed here, PrintRefused for a token that was
    used for something else.
    """
    if earlier := _repeated(order):
        return earlier
    for _ in range(ATTEMPTS_OUTSIDE):
        proof = _set(order)
        with transaction.atomic():
            _lock(order)
            if earlier := _repeated(order):
                return earlier
            copy = copies.next_copy(order.case, order.kind)
            if (proof.copy, proof.facts) == (copy, _facts(order)):
                return _issue(order, proof)
    with transaction.atomic():
        _lock(order)
        return _repeated(order) or _issue(order, _set(order))


def read_paper(paper: Paper) -> bytes:
    """Return the bytes of a paper. Raises PaperDamaged if they are missing or changed."""
    return paper_store.read(paper.sha256, _suffix(is_by_hand(paper)))


def is_by_hand(paper: Paper) -> bool:
    """True for a paper that was written by hand: its bytes are plain text in UTF-8."""
    return paper.facts.get("by_hand") is True


def _suffix(by_hand: bool) -> str:
    return paper_store.TEXT if by_hand else paper_store.PDF


def _lock(order: Order) -> None:
    type(order.case)._default_manager.select_for_update(of=("self",), no_key=True).get(
        pk=order.case.pk
    )


def _repeated(order: Order) -> Paper | None:
    if order.token is None:
        return None
    entry = CustodyEntry.objects.filter(case=order.case, token=order.token).first()
    if entry is None:
        return None
    paper = Paper.objects.filter(entry=entry, kind=order.kind).first()
    if paper is None:
        raise PrintRefused(
            "token", "This form was already used for something else. Reload the page."
        )
    return paper


def _facts(order: Order) -> Facts:
    by_press = {
        "house": house_facts(order.case.facility),
        "replaces": copies.replaced(order.case, order.kind),
    }
    return order.facts() | by_press | ({"by_hand": True} if order.by_hand else {})


def _set(order: Order) -> Proof:
    copy = copies.next_copy(order.case, order.kind)
    number, facts, now = new_number(), _facts(order), clock.now()
    return Proof(number, copy, facts, now, render(order, number, copy, facts, now))


def render(order: Order, number: str, copy: int, facts: Facts, printed_at: datetime) -> Typeset:
    """Set these facts in type: the same arguments give the same bytes.

    Where the system lacks a font for a character, the paper itself says so.
    """
    context: dict[str, Any] = {
        "facts": facts,
        "house": facts["house"],
        "paper": {
            "title": order.title,
            "number": number,
            "copy": copy,
            "printed_at": printed_at,
            "printed_by": order.printed_by,
        },
    }
    with timezone.override(facts["house"]["time_zone"]):
        words = render_to_string(order.template, context)
        if order.by_hand:
            return Typeset(words.encode(), ())
        first = typesetter.typeset(words)
        if not first.unprintable:
            return first
        context["unprintable"] = first.unprintable
        return typesetter.typeset(render_to_string(order.template, context))


def _issue(order: Order, proof: Proof) -> Paper:
    # The bytes are safe on the disk before the row that speaks of them is committed.
    paper_store.write(proof.typeset.data, _suffix(order.by_hand))
    entry = trail.append(
        trail.Act(
            facility=order.case.facility,
            name="print",
            happened_at=proof.printed_at,
            recorded_at=clock.now(),
            case=order.case,
            signed_by=order.printed_by,
            signature="session",
            token=order.token,
            facts={
                "number": proof.number,
                "kind": order.kind,
                "copy": proof.copy,
                "sha256": proof.sha256,
                **({"by_hand": True} if order.by_hand else {}),
            },
        )
    )
    return Paper.objects.create(
        facility=order.case.facility,
        case=order.case,
        entry=entry,
        kind=order.kind,
        number=proof.number,
        copy=proof.copy,
        facts=proof.facts | {"unprintable": list(proof.typeset.unprintable)},
        sha256=proof.sha256,
        printed_at=proof.printed_at,
    )
