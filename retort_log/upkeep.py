"""Keeping the retorts fit: what is due, and the acts that record it."""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import (
    Count,
    DurationField,
    ExpressionWrapper,
    F,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Sum,
)

from chain_of_custody import trail
from chain_of_custody.models import CustodyEntry
from crematory import clock
from crematory.models import Facility, Role
from crematory.signatures import Signature
from retort_log.acts import READERS, where
from retort_log.models import Retort, Run, UpkeepDone, UpkeepRule
from retort_log.refusals import MachineRefused, refusals_recorded
from retort_log.upkeep_due import Due, Every, Since, due

HOUR = timedelta(hours=1)
BURNED = ExpressionWrapper(F("burner_off_at") - F("charged_at"), output_field=DurationField())
KINDS = frozenset(UpkeepRule.Kind.values)


class UpkeepRefused(MachineRefused):
    """It cannot be recorded."""


@dataclass(frozen=True)
class Worked:
    """Burner hours and charges of a retort, those before this register included."""

    hours: Decimal
    cycles: int


@dataclass(frozen=True)
class Standing:
    """One rule of upkeep, what was last done under it, and when it is due."""

    rule: UpkeepRule
    last: UpkeepDone | None
    due: Due


@dataclass(frozen=True)
class Done:
    """What is said to have been done. `figures` are what its kind asks, as text."""

    kind: str
    done_at: datetime
    done_by: str
    subject: str = ""
    passed: bool = True
    note: str = ""
    figures: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Asked:
    """A rule of upkeep as a manager states it; with no figure at all it is taken back."""

    kind: str
    every: Every
    source: str
    subject: str = ""
    blocks: bool = False


def standing_of(retorts: Iterable[Retort], now: datetime) -> dict[int, list[Standing]]:
    """Return what is due at each of these retorts, by its key. Three queries, however many."""
    rules = list(_rules([retort.pk for retort in retorts]))
    done = {row.pk: row for row in _done([r.newest for r in rules if r.newest])}
    last = {rule.pk: done.get(rule.newest) for rule in rules}
    since = _since(rules, last, now)
    found: dict[int, list[Standing]] = {}
    for rule in rules:
        every = Every(rule.every_days, rule.every_hours, rule.every_cycles)
        answer = due(every, since.get(rule.pk), now)
        found.setdefault(rule.retort_id, []).append(Standing(rule, last[rule.pk], answer))
    return found


def worked(retorts: Iterable[Retort], now: datetime) -> dict[int, Worked]:
    """Return burner hours and cycles of these retorts in all, by key. One query."""
    rows = {row["retort"]: row for row in _sums([retort.pk for retort in retorts], now)}
    return {
        retort.pk: Worked(
            retort.earlier_hours + _hours(rows.get(retort.pk, {}).get("burned")),
            retort.earlier_cycles + rows.get(retort.pk, {}).get("cycles", 0),
        )
        for retort in retorts
    }


def overdue(retort: Retort, now: datetime) -> list[Standing]:
    """Return what is overdue at this retort and blocks its use."""
    rows = standing_of([retort], now).get(retort.pk, [])
    return [row for row in rows if row.due.is_overdue and row.rule.blocks]


def record_done(retort: Retort, signed_by: Signature, done: Done) -> UpkeepDone:
    """Record something that was done to a retort. Raises UpkeepRefused."""
    with _recorded(retort, signed_by, "upkeep"):
        _check_done(retort, signed_by, done)
        row = UpkeepDone.objects.create(
            retort=retort,
            kind=done.kind,
            subject=done.subject.strip(),
            done_at=done.done_at,
            recorded_at=clock.now(),
            recorded_by=signed_by.member,
            done_by=done.done_by.strip(),
            passed=done.passed,
            note=done.note.strip(),
            figures=done.figures,
        )
        facts = {
            "kind": row.kind,
            "subject": row.subject,
            "done_by": trail.Sealed(row.done_by),
            "passed": row.passed,
            **({"note": trail.Sealed(row.note)} if row.note else {}),
            **({"figures": row.figures} if row.figures else {}),
        }
        _append(retort, signed_by, "upkeep", done.done_at, facts)
    return row


def ask(retort: Retort, signed_by: Signature, asked: Asked) -> UpkeepRule:
    """State, change or take back a rule of upkeep: a manager's act. Raises UpkeepRefused."""
    every = asked.every
    with _recorded(retort, signed_by, "upkeep_rule"):
        _check_asked(retort, signed_by, asked)
        values = {
            "every_days": every.days,
            "every_hours": every.hours,
            "every_cycles": every.cycles,
            "blocks": asked.blocks,
            "source": asked.source.strip(),
            "is_in_force": True,
        }
        if every == Every():
            values = {"is_in_force": False}
        rule, _ = UpkeepRule.objects.update_or_create(
            retort=retort, kind=asked.kind, subject=asked.subject.strip(), defaults=values
        )
        facts = {"kind": rule.kind, "subject": rule.subject, **values}
        _append(retort, signed_by, "upkeep_rule", clock.now(), facts)
    return rule


def _check_done(retort: Retort, signed_by: Signature, done: Done) -> None:
    member = signed_by.member
    if member.facility_id != retort.facility_id or not member.roles & READERS:
        raise UpkeepRefused("upkeep_role", "Upkeep is recorded by an operator or a manager.")
    if done.kind not in KINDS:
        raise UpkeepRefused("upkeep_kind", "Choose what was done from the list.")
    if not done.done_by.strip():
        raise UpkeepRefused("upkeep_hand", "Say who did it: the person, and the firm.")
    if done.done_at > clock.now():
        raise UpkeepRefused("time_future", "The time lies in the future. Correct it.")
    if not done.passed and not done.note.strip():
        raise UpkeepRefused("reason_missing", "Say what was found.")


def _check_asked(retort: Retort, signed_by: Signature, asked: Asked) -> None:
    member = signed_by.member
    if member.facility_id != retort.facility_id or Role.MANAGER not in member.roles:
        raise UpkeepRefused("role", "A manager of this facility says how often upkeep is due.")
    if asked.kind not in KINDS:
        raise UpkeepRefused("upkeep_kind", "Choose what is due from the list.")
    if asked.every == Every():
        known = UpkeepRule.objects.filter(
            retort=retort, kind=asked.kind, subject=asked.subject.strip(), is_in_force=True
        )
        if not known.exists():
            raise UpkeepRefused("upkeep_often", "Say how often: days, burner hours or cycles.")
        return
    if not asked.source.strip():
        raise UpkeepRefused(
            "upkeep_source", "Say who asks for it: the permit, the maker, the house."
        )
    if any(
        n is not None and n <= 0 for n in (asked.every.days, asked.every.hours, asked.every.cycles)
    ):
        raise UpkeepRefused("upkeep_often", "Days, burner hours and cycles are numbers above 0.")


@contextmanager
def _recorded(retort: Retort, signed_by: Signature, act: str) -> Iterator[None]:
    """Act under the retort's lock; what is refused leaves an entry that says so."""
    with refusals_recorded(retort.facility, act, signed_by.member, where(retort)):
        Retort.objects.select_for_update(no_key=True).get(pk=retort.pk)
        yield


def _append(
    retort: Retort, signed_by: Signature, act: str, at: datetime, facts: dict[str, Any]
) -> CustodyEntry:
    return trail.append(
        trail.Act(
            facility=retort.facility,
            name=act,
            happened_at=at,
            recorded_at=clock.now(),
            signed_by=signed_by.member,
            signature="pin",
            facts={"retort": retort.place.code, **facts},
        )
    )


def _rules(retorts: list[int]) -> QuerySet[Any]:
    same = UpkeepDone.objects.filter(
        retort=OuterRef("retort"), kind=OuterRef("kind"), subject=OuterRef("subject")
    )
    newest = Subquery(same.order_by("-done_at", "-pk").values("pk")[:1])
    rules = UpkeepRule.objects.filter(retort__in=retorts, is_in_force=True)
    return rules.annotate(newest=newest).order_by("retort", "kind", "subject")


def _done(pks: list[int]) -> Iterable[UpkeepDone]:
    return UpkeepDone.objects.filter(pk__in=pks).select_related("recorded_by") if pks else ()


def _since(rules: list[Any], last: dict[int, UpkeepDone | None], now: datetime) -> dict[int, Since]:
    """Return what each retort did since the last time, by rule. One query for all rules."""
    known = [(rule, row) for rule in rules if (row := last[rule.pk]) is not None]
    sums: dict[str, Any] = {}
    for rule, row in known:
        later = Q(retort=rule.retort_id, charged_at__gt=row.done_at)
        sums[f"burned_{rule.pk}"] = Sum(BURNED, filter=later)
        sums[f"cycles_{rule.pk}"] = Count("pk", filter=later)
    if not sums:
        return {}
    runs = Run.objects.filter(retort__in={rule.retort_id for rule, _ in known}, charged_at__lte=now)
    found = runs.aggregate(**sums)
    return {
        rule.pk: Since(
            row.done_at,
            _hours(found[f"burned_{rule.pk}"]),
            found[f"cycles_{rule.pk}"],
            row.passed,
        )
        for rule, row in known
    }


def _sums(retorts: list[int], now: datetime) -> Any:
    runs = Run.objects.filter(retort__in=retorts, charged_at__lte=now)
    return runs.values("retort").annotate(burned=Sum(BURNED), cycles=Count("pk")).order_by()


def _hours(span: timedelta | None) -> Decimal:
    return Decimal(span // timedelta(seconds=1)) / 3600 if span else Decimal(0)


def retorts_of(facility: Facility) -> list[Retort]:
    """Return the retorts of a house, by name."""
    return list(Retort.objects.filter(facility=facility).select_related("place", "permit"))
