"""What a house asks beyond the law of its jurisdiction: added, taken back, and kept with the case.

A house may only tighten. Each change is signed by a manager with PIN and is an entry of the trail
with path, old and new value. Taking a tightening back leaves the law as it stands.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db import transaction

from cases import law
from cases.acts import need
from cases.errors import ActRefused
from cases.law.page_words import title_of
from cases.roles import WHO
from chain_of_custody import trail
from chain_of_custody.models import CustodyEntry
from chain_of_custody.trail import Sealed
from crematory import clock
from crematory.models import Facility
from crematory.signatures import Signature

ACT = "house_rules"


@dataclass(frozen=True, kw_only=True)
class Answered:
    """Who of the local authority answered what the law read leaves unknown, and when."""

    by: str
    on: date


def rules_of(facility: Facility) -> law.Jurisdiction:
    """Return the rules under which the house works now."""
    return law.tightened(facility.jurisdiction, facility.added_rules)


def add(
    signed_by: Signature,
    token: str,
    path: str,
    value: object,
    answered: Answered | None = None,
) -> CustodyEntry:
    """Ask more than the law, or put in the local authority's answer where the law is unknown.

    Raises ActRefused for what would loosen the law; the text says what the law asks and where.
    """
    said = {}
    if answered is not None:
        said = {"answered_by": Sealed(answered.by.strip()), "answered_on": answered.on}

    def change(facility: Facility, added: dict[str, Any]) -> tuple[object, object]:
        if path in added and added[path] == value:
            raise ActRefused("unchanged", "The house asks this already.")
        _check_answer(facility, path, value, answered)
        # From the law itself: a value of the house may be lowered again, down to the law.
        _checked(facility, {**{p: v for p, v in added.items() if p != path}, path: value}, path)
        old = added.get(path, "")
        added[path] = value
        return old, value

    return _act(signed_by, token, path, change, said)


def take_back(signed_by: Signature, token: str, path: str) -> CustodyEntry:
    """Take back what the house asks beyond the law; the law's own value stands again."""

    def change(facility: Facility, added: dict[str, Any]) -> tuple[object, object]:
        if path not in added:
            raise ActRefused("not_added", "The house asks nothing more than the law here.")
        old = added.pop(path)
        _checked(facility, added)
        return old, ""

    return _act(signed_by, token, path, change, {})


def _checked(facility: Facility, added: Mapping[str, object], path: str = "") -> None:
    """Refuse what would loosen the law; of what was stored before, only what still counts."""
    code = facility.jurisdiction
    try:
        stale = law.overtaken(code, added) - {path}
        law.tighten(law.jurisdiction(code), {p: v for p, v in added.items() if p not in stale})
    except law.TighteningRefused as refusal:
        raise ActRefused("loosening", str(refusal)) from refusal


def needs_answer(facility: Facility, path: str) -> bool:
    """True where a value opens what is unknown here: the authority must have said so."""
    wait = law.jurisdiction(facility.jurisdiction).wait
    return path.startswith("wait.") and not wait.is_enforced


def _check_answer(facility: Facility, path: str, value: object, answered: Answered | None) -> None:
    """A wait that is unknown is opened only by the authority's answer: who gave it, and when."""
    if not needs_answer(facility, path):
        return
    if answered is None or not answered.by.strip():
        raise ActRefused(
            "answer_missing", "Say who of the local authority answered, and on which day."
        )
    if answered.on > clock.now().astimezone(facility.zone).date():
        raise ActRefused("time_future", "The day of the answer lies in the future. Correct it.")


def _act(signed_by: Signature, token: str, path: str, change: Any, said: dict[str, Any]) -> Any:
    """One transaction: the log locked, the facility as it is now, the entry, then the rules."""
    member = signed_by.member
    try:
        with transaction.atomic():
            trail.lock_log(member.facility)
            facility = Facility.objects.select_for_update(no_key=True).get(pk=member.facility_id)
            if earlier := _repeated(facility, token):
                return earlier
            need(member, *WHO[ACT])
            added = dict(facility.added_rules)
            old, new = change(facility, added)
            now = clock.now()
            entry = trail.append(
                trail.Act(
                    facility=facility,
                    name=ACT,
                    happened_at=now,
                    recorded_at=now,
                    signed_by=member,
                    signature="pin",
                    token=token,
                    facts={"path": path, "old": as_said(old), "new": as_said(new), **said},
                )
            )
            # After the entry: the database lets the rules change only with it.
            facility.added_rules = added
            facility.save(update_fields=["added_rules"])
            return entry
    except ActRefused as refusal:
        facts = {"path": path[:100]}
        trail.record_refusal(member.facility, ACT, refusal.codes, member, facts=facts)
        raise


def _repeated(facility: Facility, token: str) -> CustodyEntry | None:
    return CustodyEntry.objects.filter(
        facility=facility, act=ACT, outcome="done", token=token
    ).first()


def as_said(value: object) -> str:
    """Return a value of a rule as text: lists by their members, true as "yes"."""
    if isinstance(value, list | tuple):
        return ", ".join(sorted(map(str, value)))
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else str(value)


@dataclass(frozen=True)
class Standing:
    """What the house asks beyond the law now: by whose signature, since when, by whose answer."""

    path: str
    title: str
    value: str
    entry: CustodyEntry | None
    answered_by: str
    answered_on: date | None
    is_overtaken: bool


def standing(facility: Facility) -> list[Standing]:
    """Return what the house asks beyond the law, by path. Two queries, or none."""
    if not facility.added_rules:
        return []
    newest: dict[str, tuple[CustodyEntry, dict[str, Any]]] = {}
    entries = CustodyEntry.objects.filter(facility=facility, act=ACT, outcome="done")
    for entry in (
        entries.select_related("signed_by").prefetch_related("sealed").order_by("sequence")
    ):
        facts = trail.facts_of(entry)
        newest[facts["path"]] = entry, facts
    overtaken = law.overtaken(facility.jurisdiction, facility.added_rules)
    return [
        _standing(path, value, *newest.get(path, (None, {})), is_overtaken=path in overtaken)
        for path, value in sorted(facility.added_rules.items())
    ]


def _standing(
    path: str,
    value: object,
    entry: CustodyEntry | None,
    facts: dict[str, Any],
    *,
    is_overtaken: bool,
) -> Standing:
    on = facts.get("answered_on")
    return Standing(
        path=path,
        title=title_of(path),
        value=_shown(path, value),
        entry=entry,
        answered_by=str(facts.get("answered_by", "")),
        answered_on=date.fromisoformat(on) if on else None,
        is_overtaken=is_overtaken,
    )


def _shown(path: str, value: object) -> str:
    if isinstance(value, list):
        return ", ".join(law.paper_words(kind) for kind in value)
    if path == "wait.hours" and value == 0:
        return "no wait"
    return f"{as_said(value).replace('_', ' ')}{law.UNITS.get(path.split('.')[-1], '')}"
