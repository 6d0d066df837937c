"""What each step writes beside its entry; called only by `cases.taking.take`."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from django.utils import timezone

from cases import lost_disc, scans, things
from cases.errors import StepRefused
from cases.models import Case, Delivery, IdDisc, Release, RemainsContainer, ThingsReceipt
from cases.names import is_same_name
from cases.plausible import expected_for
from chain_of_custody.models import CustodyEntry, Place, Placement, open_placement
from crematory.signatures import Signature
from retort_log import recorded
from retort_log.models import Processing, Run
from retort_log.permit_terms import to_terms
from retort_log.permits import rules_of


@dataclass(frozen=True)
class Moved:
    """From which place to which; None where the person was or is in no place of the house."""

    origin: Place | None
    goal: Place | None
    # What the effect found out, and the entry of the step states beside what was said.
    found: dict[str, Any] = field(default_factory=dict)
    # What is written with the entry at hand, before the stage moves.
    after: Callable[[CustodyEntry], None] | None = None


Effect = Callable[[Case, Any, datetime], Moved]
EFFECTS: dict[str, Effect] = {}


def effect(function: Effect) -> Effect:
    """Register the effect of the step that the function is named for."""
    EFFECTS[function.__name__] = function
    return function


def move(case: Case, goal: Place | None, at: datetime) -> Moved:
    """End the person's stay where they are and begin the next one, if there is one.

    Refuses a time before the person came where they are, or before the place became free: a
    time is stated afterwards, and no place ever held two persons.
    """
    current = open_placement(case)
    if current and current.place == goal:
        return Moved(goal, goal)
    if current:
        _not_before(case, at, current.since, "the person came to", current.place)
    if goal:
        last = goal.placements.filter(until__gt=at).order_by("-until").first()
        if last and last.until:
            _not_before(case, at, last.until, "another person left", goal)
    if current:
        Placement.objects.filter(pk=current.pk).update(until=at)
    if goal:
        Placement.objects.create(place=goal, case=case, since=at)
    return Moved(current.place if current else None, goal)


def _not_before(case: Case, at: datetime, earliest: datetime, what: str, place: Place) -> None:
    if at < earliest:
        since = timezone.localtime(earliest, case.facility.zone)
        raise StepRefused(
            "time_order",
            f"The time lies before {what} {place} ({since.day} {since:%b %Y %H:%M %Z}).",
        )


def stay(case: Case) -> Moved:
    """The person stays where they are."""
    current = open_placement(case)
    place = current.place if current else None
    return Moved(place, place)


@effect
def receive(case: Case, facts: Any, at: datetime) -> Moved:
    Delivery.objects.create(
        case=case,
        delivered_by=facts.delivered_by,
        firm=facts.firm,
        container_kind=facts.container_kind,
        mass_kg=facts.mass_kg,
        belongings=facts.belongings,
        is_embalmed=facts.is_embalmed,
    )
    return move(case, facts.place, at)


@effect
def authorize(case: Case, facts: Any, at: datetime) -> Moved:
    return stay(case)


@effect
def clear_devices(case: Case, facts: Any, at: datetime) -> Moved:
    return stay(case)


@effect
def assign_disc(case: Case, facts: Any, at: datetime) -> Moved:
    IdDisc.objects.create(
        facility=case.facility, case=case, number=scans.disc(facts.disc_number), assigned_at=at
    )
    return stay(case)


@effect
def charge(case: Case, facts: Any, at: datetime) -> Moved:
    rules = rules_of(facts.retort.permit)
    chamber = rules.charging_chamber
    reading = recorded.newest(facts.retort, chamber, at)
    assert reading is not None  # the gate of the charging temperature has seen it
    Run.objects.create(
        case=case,
        retort=facts.retort,
        charged_at=at,
        charge_mass_kg=case.delivery.mass_kg,
        charge_temperature_c=reading.celsius,
        charge_reading=reading.reading,
        permit_terms=to_terms(rules),
    )
    return move(case, facts.retort.place, at)


@effect
def burner_off(case: Case, facts: Any, at: datetime) -> Moved:
    run = case.run
    digest, count = recorded.digest(run.retort, run.charged_at, at)
    Run.objects.filter(pk=run.pk).update(burner_off_at=at, series_sha256=digest)
    return replace(stay(case), found={"series_sha256": digest, "series_count": count})


@effect
def recover(case: Case, facts: Any, at: datetime) -> Moved:
    reading = recorded.newest(case.run.retort, "primary", at)
    assert reading is not None  # the gate that asks whether it is cool has seen it
    Run.objects.filter(case=case).update(ended_at=at, recovery_reading=reading.reading)
    moved = move(case, facts.place, at)
    if not facts.disc_state:
        return moved
    return replace(
        moved,
        found=lost_disc.told(case, facts),
        after=lambda entry: lost_disc.replace_disc(case, facts, entry),
    )


@effect
def process(case: Case, facts: Any, at: datetime) -> Moved:
    # Kept only where it was needed; what was typed without need is no acceptance.
    plausible = expected_for(case).holds(facts.mass_kg)
    acceptance: Signature | None = None if plausible else facts.acceptance
    Processing.objects.create(
        case=case,
        processed_at=at,
        mass_kg=facts.mass_kg,
        metal_fate=facts.metal_fate,
        accepted_by=acceptance.member if acceptance else None,
        acceptance_reason=facts.acceptance_reason if acceptance else "",
    )
    return stay(case)


@effect
def contain(case: Case, facts: Any, at: datetime) -> Moved:
    RemainsContainer.objects.bulk_create(
        RemainsContainer(
            case=case, position=position, kind=c.kind, volume_l=c.volume_l, mass_kg=c.mass_kg
        )
        for position, c in enumerate(facts.containers, start=1)
    )
    return move(case, facts.place, at)


def _with_things(case: Case, facts: Any, at: datetime) -> None:
    """Give back, with the person or the remains, what lies here."""
    lying = things.due(case)
    if facts.things_are_given and lying:
        receipt = ThingsReceipt.objects.create(
            case=case, form=ThingsReceipt.Form.WITH_RECEIPT, signed_at=at
        )
        things.hand_out(lying, receipt, facts.recipient_name, facts.identification, at)


@effect
def release(case: Case, facts: Any, at: datetime) -> Moved:
    _with_things(case, facts, at)
    named = (r.name for r in case.recipients.all() if is_same_name(r.name, facts.recipient_name))
    Release.objects.create(
        case=case,
        released_at=at,
        recipient_name=next(named, facts.recipient_name),  # as the authorization writes it
        identification=facts.identification,
        carrier=facts.carrier,
        tracking_number=facts.tracking_number,
    )
    return move(case, None, at)


@effect
def return_uncremated(case: Case, facts: Any, at: datetime) -> Moved:
    _with_things(case, facts, at)
    Release.objects.create(
        case=case,
        released_at=at,
        recipient_name=facts.recipient_name,
        firm=facts.firm,
        identification=facts.identification,
    )
    return move(case, None, at)
