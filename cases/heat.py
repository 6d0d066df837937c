"""The newest temperatures of a retort as pages show them: how hot, read by whom or what, when."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.utils.translation import gettext as _

from cases.overview import Machine
from crematory.units import NBSP, UnitSystem, show_quantity
from retort_log.doubts import FRESH


@dataclass(frozen=True)
class Temperature:
    """A temperature in pieces, so that the numeral can be shown very large."""

    chamber: str
    number: str
    unit: str
    other: str
    at: datetime
    source: str  # "controller", "recorder", "read by Olive Operator"
    is_old: bool


def temperatures(machine: Machine, units: UnitSystem) -> list[Temperature]:
    """Return both chambers' newest temperatures, from hand or recorder, whichever came last."""
    words = (("secondary", _("Secondary chamber")), ("primary", _("Primary chamber")))
    found = (_newest(machine, name, label, units) for name, label in words)
    return [one for one in found if one]


def _newest(machine: Machine, name: str, label: str, units: UnitSystem) -> Temperature | None:
    typed = machine.reading
    written = machine.recorders.newest.get(name) if machine.recorders else None
    if written and (typed is None or written.at >= typed.at):
        source = _("controller") if written.by_controller else _("recorder")
        return _temperature(label, written.celsius, units, written.at, source, machine.now)
    if typed is None:
        return None
    value: Decimal = typed.primary_c if name == "primary" else typed.secondary_c
    by = _("read by %(name)s") % {"name": typed.reading.read_by.printed_name}
    return _temperature(label, value, units, typed.at, by, machine.now)


def _temperature(
    label: str, value: Decimal, units: UnitSystem, at: datetime, source: str, now: datetime
) -> Temperature:
    other: UnitSystem = "metric" if units == "us" else "us"
    number, unit = show_quantity(value, "temperature", units).split(NBSP)
    shown_other = show_quantity(value, "temperature", other)
    return Temperature(label, number, unit, shown_other, at, source, at + FRESH < now)
