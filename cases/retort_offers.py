"""What speaks for and against each retort, before one is chosen for a charge."""

from dataclasses import dataclass, replace
from datetime import datetime

from django.utils import timezone

from cases import overview
from cases.heat import temperatures
from cases.models import Case
from cases.overview import Machine
from crematory.templatetags.crematory import ago
from crematory.units import NBSP, UnitSystem, show_quantity
from retort_log.newest import recorders_of


@dataclass(frozen=True)
class Offer:
    """A retort in words for this person; unusable where something stands against it now."""

    words: str
    is_usable: bool


def retort_offers(case: Case, now: datetime) -> dict[int, Offer]:
    """Return the facility's retorts by key. A cold one is offered: it may be preheating."""
    found = {machine.retort.pk: machine for machine in overview.machines(case.facility, now)}
    written = recorders_of(found, now)
    return {
        key: _offer(case, replace(machine, recorders=written[key]), now)
        for key, machine in found.items()
    }


def _offer(case: Case, machine: Machine, now: datetime) -> Offer:
    units: UnitSystem = "us" if case.facility.units == "us" else "metric"
    against = _against(case, machine, now)
    state = f"not usable: {', '.join(against)}" if against else "free"
    parts = (state, _mass(case, machine, units), _heat(machine, units))
    return Offer(f"{machine.retort.name}: {'; '.join(parts)}", not against)


def _against(case: Case, machine: Machine, now: datetime) -> list[str]:
    retort = machine.retort
    expires = retort.permit.expires_on
    today = timezone.localtime(now, case.facility.zone).date()
    delivery = getattr(case, "delivery", None)
    checks = (
        (machine.run is not None, "occupied"),
        (not retort.is_fit, f"out of use ({retort.unfit_reason})"),
        (expires is not None and expires < today, "its permit has expired"),
        (
            delivery is not None and delivery.mass_kg > retort.mass_limit_kg,
            "this person is above its limit",
        ),
    )
    return [words for stands, words in checks if stands]


def _mass(case: Case, machine: Machine, units: UnitSystem) -> str:
    limit = show_quantity(machine.retort.mass_limit_kg, "mass", units)
    delivery = getattr(case, "delivery", None)
    if delivery is None:
        return f"takes {limit}"
    mass = show_quantity(delivery.mass_kg, "mass", units)
    return f"takes {limit}, this person with container {mass}"


def _heat(machine: Machine, units: UnitSystem) -> str:
    newest = temperatures(machine, units)
    if not newest:
        return "no reading yet"
    first = newest[0]
    value = f"{first.number}{NBSP}{first.unit} ({first.other})"
    return f"{first.chamber.lower()} {value}, {first.source}, {ago(first.at)}"
