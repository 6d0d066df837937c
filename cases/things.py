"""Personal things: what stands on the list, what is to be given back, and what was."""

import json
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

from cases import read_before
from cases.models import Case, PersonalThing, ThingReturned, ThingsReceipt
from cases.names import fold
from chain_of_custody.models import CustodyEntry
from chain_of_custody.trail import Sealed

Wish = PersonalThing.Wish
NONE_WRITTEN = frozenset({"none", "nothing", "no", "nil", "ninguno", "nada"})


def standing(case: Case) -> list[PersonalThing]:
    """Return the things that are on the list now, oldest first; given back or not."""
    everything = rows(case)
    replaced = {row.replaces_id for row in everything}
    return [row for row in everything if row.pk not in replaced and row.wish != Wish.MISTAKE]


def rows(case: Case) -> list[PersonalThing]:
    """Return all rows with what was given back; a page may have fetched them for all gates."""
    if "things" in getattr(case, "_prefetched_objects_cache", {}):
        return list(case.things.all())
    return list(case.things.select_related("returned", "photo"))


def due(case: Case) -> list[PersonalThing]:
    """Return the things that lie here and are to be given back."""
    return [row for row in standing(case) if row.wish == Wish.RETURNED and not is_back(row)]


def given(case: Case) -> list[PersonalThing]:
    """Return the things that were given back."""
    return [row for row in standing(case) if is_back(row)]


def is_back(thing: PersonalThing) -> bool:
    """True where the thing was given back."""
    return hasattr(thing, "returned")


def words(listed: Sequence[PersonalThing]) -> str:
    """Name the things and where they lie."""
    return "; ".join(
        f"{thing.description} ({thing.kept_in})" if thing.kept_in else thing.description
        for thing in listed
    )


def written_at_receipt(case: Case) -> str:
    """Return what the receipt says came with the person; "" where it says that there was none."""
    delivery = getattr(case, "delivery", None)
    text = delivery.belongings.strip() if delivery else ""
    return "" if fold(text).strip(" .") in NONE_WRITTEN else text


def is_looked_for(case: Case) -> bool:
    """True where the list was closed after the receipt and after its belongings were last written.

    The trail says in which order; before the person came nobody could look.
    """
    for entry in _entries(case):
        facts = json.loads(entry.payload)["facts"]
        if entry.act == "receive" or facts.get("field") == "belongings":
            return False
        if facts.get("list_is_complete"):
            return True
    return False


def _entries(case: Case) -> Iterable[CustodyEntry]:
    acts = ("receive", "correct", "list_things")
    read = read_before.entries(case, *acts)
    if read is not None:
        return read
    entries = CustodyEntry.objects.filter(case=case, act__in=acts, outcome="done")
    return entries.only("act", "payload").order_by("-sequence")


def hand_out(
    things: Sequence[PersonalThing],
    receipt: ThingsReceipt,
    returned_to: str,
    identification: str,
    at: datetime,
) -> dict[str, Any]:
    """Write the rows of things given back, and return what the entry says of it."""
    for thing in things:
        ThingReturned.objects.create(
            thing=thing,
            receipt=receipt,
            returned_to=returned_to,
            identification=identification,
            returned_at=at,
        )
    return {
        "things": Sealed("; ".join(thing.description for thing in things)),
        "returned_to": Sealed(returned_to),
        "identification": Sealed(identification),
    }


def meaning(case: Case) -> str:
    """The sentence that a receiver signs, shown before they do and kept with the signature."""
    return f"I received the personal things of {case.decedent_name} that are ticked here."
