"""What the receipt for personal things says, as text in the facility's zone."""

from typing import Any

from cases import things
from cases.models import Case, PersonalThing
from chain_of_custody.models import CustodyEntry
from crematory.templatetags.crematory import when

Facts = dict[str, Any]
GIVING = ("give_back", "release", "return_uncremated")


def _line(thing: PersonalThing) -> Facts:
    back = getattr(thing, "returned", None)
    return {
        "kind": thing.get_kind_display(),
        "description": thing.description,
        "kept_in": thing.kept_in,
        "decided_by": thing.decided_by,
        "returned_to": back.returned_to if back else "",
        "identification": back.identification if back else "",
        "returned_at": when(back.returned_at) if back else "",
    }


def things_form(case: Case) -> Facts:
    """The receipt to be signed when things are given back: what lies here."""
    return {"things": [_line(thing) for thing in things.due(case)], "is_done": False}


def things_given(case: Case) -> Facts:
    """The receipt for what was given back: to whom, when and by whom."""
    given = things.given(case)
    lines = [_line(thing) for thing in given]
    moments = {thing.returned.returned_at for thing in given}
    entries = CustodyEntry.objects.filter(
        case=case, act__in=GIVING, outcome=CustodyEntry.Outcome.DONE, happened_at__in=moments
    ).select_related("signed_by")
    names = [entry.signed_by.printed_name for entry in entries if entry.signed_by]
    receivers = {(line["returned_to"], line["identification"]): line for line in lines}
    return {
        "things": lines,
        "is_done": True,
        "given_by": " and ".join(dict.fromkeys(names)),
        "receivers": [
            {"name": name, "identification": seen, "returned_at": line["returned_at"]}
            for (name, seen), line in receivers.items()
        ],
    }


def has_due(case: Case) -> bool:
    """True while something lies here that is to be given back."""
    return bool(things.due(case))


def has_given(case: Case) -> bool:
    """True once something was given back."""
    return bool(things.given(case))
