"""A house's permit to operate: what it demands as plain values, and a manager's act to state it."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from functools import lru_cache
from typing import Any

from chain_of_custody import trail
from crematory import clock
from crematory.models import Role
from crematory.signatures import Signature
from crematory.units import convert
from retort_log.models import PermitToOperate, Run
from retort_log.permit_rules import Limit, Mark, PermitRules
from retort_log.permit_terms import from_terms, problems, to_terms
from retort_log.refusals import MachineRefused, refusals_recorded

CENT = Decimal("0.01")


class PermitRefused(MachineRefused):
    """The permit cannot be stated."""


@dataclass(frozen=True)
class Stated:
    """A permit as its house read it."""

    number: str
    source: str
    expires_on: date | None
    terms: Mapping[str, Any]


def rules_of(permit: PermitToOperate) -> PermitRules:
    """Return what a permit demands; from its two columns where its terms were never stated."""
    rules = from_terms(permit.terms) if permit.terms else PermitRules("", "")
    rules = replace(rules, code=rules.code or permit.number, title=rules.title or permit.number)
    source = f"Permit {permit.number}"
    if rules.charging is None:
        limit = Limit(permit.charging_temperature_c, "degC", source, Mark.HOUSE)
        rules = replace(rules, charging=limit, charging_chamber="secondary")
    if rules.recording_interval is None:
        minutes = Decimal(permit.recording_interval_min)
        rules = replace(rules, recording_interval=Limit(minutes, "minute", source, Mark.HOUSE))
    return rules


def rules_of_run(run: Run) -> PermitRules:
    """Return what the permit demanded when this run was charged, whatever it demands by now."""
    if not run.permit_terms:
        return rules_of(run.retort.permit)
    return _of_terms(json.dumps(run.permit_terms, sort_keys=True))


@lru_cache(maxsize=64)
def _of_terms(text: str) -> PermitRules:
    """Read terms once: a house has few permits and many runs under each."""
    return from_terms(json.loads(text))


def state(permit: PermitToOperate, signed_by: Signature, stated: Stated) -> PermitToOperate:
    """State a permit anew: a manager's act, with the old terms and the new in the trail.

    Raises PermitRefused; with all that is wrong with the terms.
    """
    member = signed_by.member
    with refusals_recorded(permit.facility, "permit", member, {"permit": permit.number}):
        return _state(permit, signed_by, stated)


def _state(permit: PermitToOperate, signed_by: Signature, stated: Stated) -> PermitToOperate:
    member = signed_by.member
    if member.facility_id != permit.facility_id or Role.MANAGER not in member.roles:
        raise PermitRefused("role", "A manager of this facility states the permit.")
    if not stated.number.strip() or not stated.source.strip():
        raise PermitRefused(
            "permit_source", "Give the number of the permit, and where and when it was read."
        )
    if wrong := problems(stated.terms):
        raise PermitRefused("permit_terms", *wrong)
    rules = from_terms(stated.terms)
    if rules.charging is None or rules.recording_interval is None:
        raise PermitRefused(
            "permit_lacks",
            "Say at which temperature a person may be charged, and how often is recorded.",
        )
    old = PermitToOperate.objects.select_for_update(no_key=True).get(pk=permit.pk)
    before = _plain(old)
    old.number, old.source = stated.number.strip(), stated.source.strip()
    old.expires_on, old.terms = stated.expires_on, to_terms(rules)
    old.charging_temperature_c = charging_c(rules)
    old.recording_interval_min = interval_min(rules)
    old.save()
    _append(old, signed_by, before)
    return old


def charging_c(rules: PermitRules) -> Decimal:
    """Return from which temperature a person may be charged, in °C. The permit must say it."""
    assert rules.charging is not None
    return convert(rules.charging.value, rules.charging.unit, "degC").quantize(CENT)


def interval_min(rules: PermitRules) -> int:
    """Return how far two readings may lie apart, in whole minutes. The permit must say it.

    Rounded down: nobody may record more seldom than the permit says.
    """
    assert rules.recording_interval is not None
    limit = rules.recording_interval
    return max(1, int(convert(limit.value, limit.unit, "minute")))


def _plain(permit: PermitToOperate) -> dict[str, Any]:
    return {
        "number": permit.number,
        "source": permit.source,
        "expires_on": permit.expires_on,
        "terms": json.dumps(permit.terms, sort_keys=True),
        "charging_temperature_c": permit.charging_temperature_c,
        "recording_interval_min": permit.recording_interval_min,
    }


def _append(permit: PermitToOperate, signed_by: Signature, before: dict[str, Any]) -> None:
    now = clock.now()
    after = _plain(permit)
    changed = {key for key in after if after[key] != before[key]}
    trail.append(
        trail.Act(
            facility=permit.facility,
            name="permit",
            happened_at=now,
            recorded_at=now,
            signed_by=signed_by.member,
            signature="pin",
            facts={
                "permit": permit.number,
                **{f"old_{key}": before[key] for key in sorted(changed)},
                **{f"new_{key}": after[key] for key in sorted(changed)},
            },
        )
    )
