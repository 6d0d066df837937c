"""Appending to a facility's trail, in one order, and reading entries back.

The order is one because the facility's `Log` row is locked for the length of the append
(SQLite: the transaction is IMMEDIATE, so its write lock does the same).
"""

import json
import secrets
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db import connection, transaction

from chain_of_custody.canonical import canonical_bytes, commitment
from chain_of_custody.merkle import Frontier, leaf_hash
from chain_of_custody.models import CustodyEntry, Log, Place, SealedValue
from crematory import clock
from crematory.models import Facility, StaffMember

FORMAT = 1


@dataclass(frozen=True)
class Sealed:
    """Marks a personal value: it is stored apart, the hashed entry holds its salted digest."""

    value: str


@dataclass(frozen=True)
class Act:
    """What is to be recorded. Times are aware; `facts` are JSON without floats, or Sealed."""

    facility: Facility
    name: str
    happened_at: datetime
    recorded_at: datetime
    case: Any = None
    outcome: str = CustodyEntry.Outcome.DONE
    stage_from: str = ""
    stage_to: str = ""
    signed_by: StaffMember | None = None
    signature: str = ""
    witness: StaffMember | None = None
    place_from: Place | None = None
    place_to: Place | None = None
    token: str | None = None
    facts: dict[str, Any] = field(default_factory=dict)


def append(act: Act) -> CustodyEntry:
    """Append the act to its facility's trail. Raises RuntimeError outside a transaction."""
    if not connection.in_atomic_block:
        raise RuntimeError("An entry is appended in the transaction of the act it records.")
    log = lock_log(act.facility)
    seals = {
        key: (secrets.token_bytes(32), value.value)
        for key, value in act.facts.items()
        if isinstance(value, Sealed)
    }
    payload = canonical_bytes(_payload(act, log, seals))
    digest = leaf_hash(payload)
    entry = CustodyEntry.objects.create(
        facility=act.facility,
        sequence=log.size,
        case=act.case,
        act=act.name,
        outcome=act.outcome,
        stage_from=act.stage_from,
        stage_to=act.stage_to,
        happened_at=act.happened_at,
        recorded_at=act.recorded_at,
        signed_by=act.signed_by,
        witness=act.witness,
        place_from=act.place_from,
        place_to=act.place_to,
        token=act.token,
        payload=payload.decode(),
        leaf_hash=digest.hex(),
    )
    SealedValue.objects.bulk_create(
        SealedValue(entry=entry, key=key, salt=salt.hex(), value=value)
        for key, (salt, value) in seals.items()
    )
    _grow(log, digest)
    return entry


def record_refusal(
    facility: Facility,
    act: str,
    codes: Iterable[str],
    by: StaffMember | None = None,
    *,
    case: Any = None,
    facts: dict[str, Any] | None = None,
) -> CustodyEntry:
    """Record an attempt that was refused: who, what, which reasons; nothing else changed.

    It has a transaction of its own: call it after that of the act was rolled back.
    """
    with transaction.atomic():
        lock_log(facility)
        now = clock.now()  # under the lock: entries follow one another in time
        return append(
            Act(
                facility=facility,
                name=act,
                happened_at=now,
                recorded_at=now,
                case=case,
                outcome=CustodyEntry.Outcome.REFUSED,
                signed_by=by if by and by.facility_id == facility.pk else None,
                facts={"reasons": list(codes), **(facts or {})},
            )
        )


def lock_log(facility: Facility) -> Log:
    """Return the facility's log, locked: from here on its acts follow one another."""
    Log.objects.get_or_create(facility=facility, defaults={"root": Frontier().root().hex()})
    return Log.objects.select_for_update().get(facility=facility)


def _grow(log: Log, digest: bytes) -> None:
    frontier = Frontier.from_hex(log.size, log.frontier.split())
    frontier.append(digest)
    log.size = frontier.size
    log.frontier = " ".join(frontier.to_hex())
    log.root = frontier.root().hex()
    log.last_leaf = digest.hex()
    log.save()


def _payload(act: Act, log: Log, seals: dict[str, tuple[bytes, str]]) -> dict[str, Any]:
    facts = {
        key: {"sealed": commitment(*seals[key])} if key in seals else value
        for key, value in act.facts.items()
    }
    return {
        "v": FORMAT,
        "log": act.facility.log_origin,
        "n": log.size,
        "prev": log.last_leaf,
        "act": act.name,
        "outcome": str(act.outcome),
        "case": act.case.number if act.case else None,
        "from": act.stage_from,
        "to": act.stage_to,
        "happened_at": act.happened_at,
        "recorded_at": act.recorded_at,
        "signed_by": act.signed_by.staff_code if act.signed_by else None,
        "signature": act.signature,
        "witness": act.witness.staff_code if act.witness else None,
        "place_from": act.place_from.code if act.place_from else None,
        "place_to": act.place_to.code if act.place_to else None,
        "token": act.token,
        "facts": facts,
    }


def facts_of(entry: CustodyEntry) -> dict[str, Any]:
    """Return the entry's facts with its sealed values put back where they belong."""
    facts = dict(json.loads(entry.payload)["facts"])
    facts.update({sealed.key: sealed.value for sealed in entry.sealed.all()})
    return facts
