"""How pages show quantities and times: in the facility's units, with the zone named.

And the small parts of which every page has many: marks, addresses, what never changes.
"""

from datetime import date, datetime, timedelta
from decimal import Decimal
from functools import lru_cache

from django import template
from django.conf import settings
from django.template import Context
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from crematory import clock
from crematory.units import KindName, UnitSystem, show_quantity

register = template.Library()


@register.simple_tag
def unchanging(template_name: str, **words: str) -> SafeString:
    """`{% unchanging "_nav.html" here="today" %}`: a part that these words alone decide.

    It is rendered once a process and language, without request, so it can hold nothing of it.
    """
    if settings.DEBUG:  # whoever edits the template wants to see it
        return render_to_string(template_name, words)
    return _rendered(template_name, tuple(words.items()), get_language())


@lru_cache(maxsize=512)
def _rendered(
    template_name: str, words: tuple[tuple[str, str], ...], language: str | None
) -> SafeString:
    return render_to_string(template_name, dict(words))


@register.simple_tag
def mark(name: str) -> SafeString:
    """`{% mark "refused" %}`: one of the drawn marks; the word stands beside it."""
    return unchanging("_mark.html", name=name)


@register.simple_tag
def address(name: str, number: str) -> str:
    """`{% address "cases:case" case.number %}`: as `url`, for rows of a list.

    For addresses whose one argument is a number or code of ours: letters, digits and hyphens.
    """
    before, after = _around(name)
    return f"{before}{number}{after}"


@lru_cache(maxsize=64)
def _around(name: str) -> tuple[str, str]:
    """What stands before and behind the argument: the resolver walks once, not for each row."""
    before, _argument, after = reverse(name, args=["0-ARGUMENT-0"]).partition("0-ARGUMENT-0")
    return before, after


@register.simple_tag
def moment(value: datetime | None) -> SafeString:
    """`{% moment case.stage_since %}`: the time, and beside it how far it is from now."""
    if value is None:
        return mark_safe("")
    span = f'<span class="ago">{escape(ago(value))}</span>'
    return mark_safe(f"{escape(when(value))} {span}")  # noqa: S308 - both texts are escaped


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


def long_day(value: date) -> str:
    """A day without a time of day: "Tue 3 Mar 2026"."""
    return _day(value, get_language())


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
