"""What the pages of processing and containing say of mass and room, before anything is typed."""

from decimal import Decimal

from cases.models import Case
from cases.plausible import expected_for
from crematory.units import KindName, UnitSystem, show_quantity
from retort_log.containers import volume_by_body, volumes_by_mass

ALARM = "Weight is an alarm for gross errors, not an identification."


def told(case: Case, verb: str) -> list[str]:
    """Return the sentences for this step's page, in the facility's units; none for other steps."""
    if verb == "process":
        return [*_expected(case), _by_body(case)]
    if verb == "contain":
        return [_by_mass(case), _by_body(case)]
    return []


def _expected(case: Case) -> list[str]:
    limits = expected_for(case)
    about, low, high = (
        _shown(case, kg, "mass") for kg in (limits.expected_kg, limits.lowest_kg, limits.highest_kg)
    )
    return [
        f"Expected on the scale: about {about}, plausible from {low} to {high}.",
        f"How that is known: {limits.reasoning}.",
        f"{ALARM} The remains of another person may weigh the same; outside the range somebody "
        "looks again, and a manager accepts it or does not.",
    ]


def _by_mass(case: Case) -> str:
    mass = case.processing.mass_kg
    room = volumes_by_mass(mass)
    least, ample = (_shown(case, volume, "volume") for volume in (room.least_l, room.ample_l))
    return (
        f"{_shown(case, mass, 'mass')} need containers of {ample} together to be sure; packed as "
        f"densely as remains do, {least} can be enough."
    )


def _by_body(case: Case) -> str:
    volume = _shown(case, volume_by_body(case.delivery.mass_kg), "volume")
    return (
        f"By body mass, one cubic inch for each pound: {volume} (common practice, no source). The "
        "container was weighed with the body, so this is more than is needed."
    )


def _shown(case: Case, value: Decimal, kind: KindName) -> str:
    units: UnitSystem = "us" if case.facility.units == "us" else "metric"
    return show_quantity(value, kind, units, both=True)
