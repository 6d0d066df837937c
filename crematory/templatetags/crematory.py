"""How pages show quantities and times: in the facility's units, with the zone named."""

from datetime import date, datetime, timedelta
from decimal import Decimal
from functools import lru_cache

from django import template
from django.template import Context
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from crematory import clock
from crematory.units import KindName, UnitSystem, show_quantity

register = template.Library()


@register.simple_tag(takes_context=True)
def quantity(context: Context, value: Decimal | None, kind: KindName, both: bool = False) -> str:
    """`{% quantity run.mass_kg "mass" both=True %}`: a stored value in the facility's units.

    Units come from `facility.units` in the context; without a facility they are US units.
    """
    if value is None:
        return _("not recorded")
    facility = context.get("facility")
    units: UnitSystem = facility.units if facility else "us"
    return show_quantity(value, kind, units, both=both)


@register.filter
def when(value: datetime | None) -> str:
    """An aware time in the active zone, the zone named: "Tue 3 Mar 2026 14:05 MST"."""
    if value is None:
        return ""
    local = timezone.localtime(value)
    zone = local.tzname() or ""
    # Zones without letters of their own are named by their offset, such as "-03".
    if zone.startswith(("+", "-")):
        zone = f"UTC{zone}"
    return f"{_day(local.date(), get_language())} {local:%H:%M} {zone}"


@lru_cache(maxsize=1024)
def _day(day: date, language: str | None) -> str:
    """The day in the active language, kept: a list shows the same few days many times."""
    return date_format(day, "D j M Y")


@register.filter
def ago(value: datetime | None) -> str:
    """How far an aware time is from now, in elapsed time: "3 h ago", "in 6 h 12 min".

    What has begun is rounded down and what is awaited up: nothing is promised too early.
    """
    if value is None:
        return ""
    # The clock answers in UTC: two times of one local zone would subtract by wall clock.
    difference = value - clock.now()
    minute = timedelta(minutes=1)
    if difference > timedelta(0):
        return _("in %(span)s") % {"span": _span(-(-difference // minute), get_language())}
    elapsed = -difference // minute
    if not elapsed:
        return _("just now")
    return _("%(span)s ago") % {"span": _span(elapsed, get_language())}


@lru_cache(maxsize=4096)
def _span(minutes: int, language: str | None) -> str:
    """The two largest units of a span, so that it can be read at a glance; kept, as days are."""
    hours, rest = divmod(minutes, 60)
    days, hours_left = divmod(hours, 24)
    by_day, by_hour = [(days, _("d")), (hours_left, _("h"))], [(hours, _("h")), (rest, _("min"))]
    parts = by_day if days else by_hour
    return " ".join(f"{count} {unit}" for count, unit in parts if count)
