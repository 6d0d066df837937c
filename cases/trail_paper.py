"""What the custody trail says when it is printed: every entry of a person in plain words.

It holds what an inspector asks of each entry: number, times, who signed and who witnessed, what
was done, where, which disc, and the leaf hash. The annex has the hashes in full.
"""

import json
import re
from collections.abc import Iterable, Iterator
from typing import Any

from cases import law
from cases.fact_words import DEVICES, label, shown
from cases.models import Case, DiscReplaced
from cases.scans import DISC_MARK
from cases.steps import STAGES
from cases.trail_lines import Line, line, ordered, reason, said
from chain_of_custody import trail
from chain_of_custody.models import CustodyEntry, Log
from crematory.models import Role, StaffMember
from crematory.templatetags.crematory import when
from crematory.units import UnitSystem

Facts = dict[str, Any]
SHORT = 12  # digits of a hash in the table; the annex has all 64
FULL_HASH = re.compile(r"\b([0-9a-f]{12})[0-9a-f]{52}\b")
# The disc has a column of its own.
DISC = ("disc_number", "disc_scan", "disc_on_container", "disc_on_paper")
# Said elsewhere on the same line, or of no use on paper.
LEFT_OUT = frozenset({*DISC, "disc_number_again", "meaning", "person", "text_of", "hold_opened_at"})
OWN_LINE = frozenset({"before", "now", "reason", "recipient", "reasons", "confirmed", "not so"})
LONG = 60  # characters of a value
SIGNATURES = {"pin": "with PIN", "session": "as signed in"}


def facts(case: Case) -> Facts:
    """The trail of one person, with the head of the facility's log before this printing."""
    log = Log.objects.get(facility=case.facility)
    units: UnitSystem = case.facility.units  # type: ignore[assignment] # the model's choices
    entries = list(
        case.entries.select_related("signed_by", "witness", "place_from", "place_to")
        .prefetch_related("sealed")
        .order_by("sequence")
    )
    lines = [_line(entry, units) for entry in entries]
    return {
        "stage": STAGES[case.stage],
        "disc_number": case.disc.number if hasattr(case, "disc") else "",
        "earlier_disc": _earlier_disc(case),
        "origin": case.facility.log_origin,
        "log_size": log.size,
        "root": log.root,
        "refused_count": sum(one["refused"] for one in lines),
        "late_count": sum(one["is_late"] for one in lines),
        "check_locally": law.CHECK_LOCALLY,
        "entries": lines,
    }


def _earlier_disc(case: Case) -> str:
    replaced = DiscReplaced.objects.filter(case=case).first()
    return f"{replaced.old_number}, {replaced.get_found_display()}" if replaced else ""


def _line(entry: CustodyEntry, units: UnitSystem) -> Facts:
    read = line(entry, units)
    happened, recorded = when(entry.happened_at), when(entry.recorded_at)
    return {
        "sequence": entry.sequence,
        "act": read.act,
        "refused": entry.outcome == CustodyEntry.Outcome.REFUSED,
        "corrects": _corrects(read),
        "stage": STAGES.get(entry.stage_to, ""),
        "happened_at": happened,
        "recorded_at": recorded if recorded != happened else "",
        "is_late": read.is_late,
        "signed_by": _person(entry.signed_by),
        "signature": SIGNATURES.get(read.signature, ""),
        "witness": _person(entry.witness),
        "place_from": str(entry.place_from) if entry.place_from else "",
        "place_to": str(entry.place_to) if entry.place_to else "",
        "disc": _disc(entry),
        "facts": _apart(_told(entry, units)),
        "leaf_hash": entry.leaf_hash,
        "leaf_short": entry.leaf_hash[:SHORT],
        "recorded_as_hashed": json.loads(entry.payload)["recorded_at"],
    }


def _apart(told: Iterable[tuple[str, str]]) -> list[Facts]:
    """Long texts, and what an inspector looks for, stand on lines of their own."""
    found: list[Facts] = []
    was_long = True
    for name, value in told:
        is_long = name in OWN_LINE or len(value) > LONG
        found.append({"label": name, "value": value, "is_apart": is_long or was_long})
        was_long = is_long
    return found


def _corrects(read: Line) -> str:
    return f"of entry {read.corrects}: {read.field}" if read.corrects is not None else ""


def _person(member: StaffMember | None) -> Facts | None:
    """Name, staff code and the roles that the member holds now."""
    if member is None:
        return None
    roles = ", ".join(role.label for role in Role if role in member.roles)
    return {"name": member.printed_name, "code": member.staff_code, "roles": roles}


def _disc(entry: CustodyEntry) -> str:
    stated = trail.facts_of(entry)
    return next((str(stated[k]).removeprefix(DISC_MARK) for k in DISC if stated.get(k)), "")


def _told(entry: CustodyEntry, units: UnitSystem) -> Iterator[tuple[str, str]]:
    """What was stated, in words: answers that are alike together, confirmations in one line."""
    stated = said(trail.facts_of(entry))
    for key in ("corrects", *LEFT_OUT):
        stated.pop(key, None)
    field = stated.pop("field", "")
    if entry.place_to and entry.place_to.code in (stated.get("place"), stated.get("retort")):
        stated.pop("place", None)
        stated.pop("retort", None)
    if reasons := stated.pop("reasons", None):
        yield "reasons", "; ".join(reason(str(code)) for code in reasons)
    yes = [label(key, entry.act) for key, value in stated.items() if value is True]
    no = [label(key, entry.act) for key, value in stated.items() if value is False]
    yield from _devices(stated, units)
    for key, value in ordered(stated):
        if not isinstance(value, bool) and key not in DEVICES:
            kind = field if field and key in ("old", "new") else key
            words = shown(kind, value, units, entry.act)
            yield label(key, entry.act), FULL_HASH.sub(r"\1…", words)
    if yes:
        yield "confirmed", "; ".join(yes)
    if no:
        yield "not so", "; ".join(no)


def _devices(stated: Facts, units: UnitSystem) -> Iterator[tuple[str, str]]:
    """The device questions by their answer: most are answered alike."""
    answers: dict[str, list[str]] = {}
    for key, name in DEVICES.items():
        if key in stated:
            answers.setdefault(shown(key, stated[key], units), []).append(name)
    for answer, names in answers.items():
        yield "; ".join(names), answer
