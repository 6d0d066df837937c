"""How pages show quantities and times: in the facility's units, with the zone named.

And the small parts of which every page has many: marks, addresses, what never changes.
"""

from datetime import UTC, date, datetime, timedelta, tzinfo
from decimal import Decimal
from functools import lru_cache
from html import escape

from django import template
from django.conf import settings
from django.template import Context
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from crematory import clock
from crematory.units import KindName, UnitSystem, show_quantity

register = template.Library()
MINUTE = timedelta(minutes=1)
TOKEN = "\ufdd0token\ufdd0"  # noqa: S105 - stands for a form's token; no name holds what is no character
ARGUMENT = "90807060504030"  # stands for an argument; no part of an address of ours


@register.simple_tag
def unchanging(template_name: str, **words: str | int) -> SafeString:
    """`{% unchanging "_nav.html" here="today" %}`: a part that these words alone decide.

    It is rendered once a process and language, without request, so it can hold nothing of it.
    """
    if settings.DEBUG:  # whoever edits the template wants to see it
        return render_to_string(template_name, words)
    return _rendered(template_name, tuple(words.items()), get_language())


@lru_cache(maxsize=512)
def _rendered(
    template_name: str, words: tuple[tuple[str, str | int], ...], language: str | None
) -> SafeString:
    return render_to_string(template_name, dict(words))


@register.simple_tag(takes_context=True)
def bar(context: Context, autofocus: bool = False) -> SafeString:
    """`{% bar autofocus=True %}`: the bar on top of every page of a member who is signed in.

    It is rendered once for each member; the token of its forms is put in for each request.
    """
    member, facility = context["request"].user, context.get("facility")
    words = {
        "house": facility.name if facility else "",
        "name": member.printed_name or str(member),
        "autofocus": autofocus,
        "token": TOKEN,
    }
    token = escape(str(context.get("csrf_token", "")))
    return mark_safe(unchanging("_bar.html", **words).replace(TOKEN, token))  # noqa: S308 - escaped


@register.simple_tag
def mark(name: str) -> SafeString:
    """`{% mark "refused" %}`: one of the drawn marks; the word stands beside it."""
    return unchanging("_mark.html", name=name) if settings.DEBUG else _mark(name)


@lru_cache(maxsize=64)
def _mark(name: str) -> SafeString:
    """A mark has no words: it is rendered once a process, whatever the language."""
    return render_to_string("_mark.html", {"name": name})


@register.simple_tag
def address(name: str, *numbers: str | int) -> str:
    """`{% address "cases:case" case.number %}`: as `url`, for rows of a list.

    For addresses whose arguments are numbers or codes of ours: letters, digits and hyphens.
    """
    before, *behind = _around(name, len(numbers))
    return before + "".join(f"{number}{b}" for number, b in zip(numbers, behind, strict=True))


@lru_cache(maxsize=64)
def _around(name: str, count: int) -> list[str]:
    """What stands around the arguments: the resolver walks once, not for each row."""
    marks = [f"{ARGUMENT}{place}" for place in range(count)]
    parts, rest = [], reverse(name, args=marks)
    for mark_ in marks:
        part, _mark, rest = rest.partition(mark_)
        parts.append(part)
    return [*parts, rest]


class Times:
    """`when`, `ago` and `moment` for the rows of a list: zone, language and now are asked once."""

    def __init__(self) -> None:
        self._now = clock.now()
        self._zone, self._language = timezone.get_current_timezone(), get_language()

    def when(self, value: datetime) -> str:
        """As the filter `when`."""
        return _when(value.astimezone(UTC), self._zone, self._language)

    def day(self, value: date, form: str = "j M Y") -> str:
        """A day without a time of day, as the filter `date` writes it."""
        return _day(value, form, self._language)

    def ago(self, value: datetime) -> str:
        """As the filter `ago`."""
        return _in_or_ago(-(-(value - self._now) // MINUTE), self._language)

    def moment(self, value: datetime) -> str:
        """As the tag `moment`: both, escaped."""
        return f'{escape(self.when(value))} <span class="ago">{escape(self.ago(value))}</span>'


@register.simple_tag
def moment(value: datetime | None) -> SafeString:
    """`{% moment case.stage_since %}`: the time, and beside it how far it is from now."""
    if value is None:
        return mark_safe("")
    return mark_safe(Times().moment(value))  # noqa: S308 - both texts are escaped


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
    # In UTC: the two halves of a repeated hour are equal as local times of one zone.
    return _when(value.astimezone(UTC), timezone.get_current_timezone(), get_language())


@lru_cache(maxsize=4096)
def _when(value: datetime, active: tzinfo, language: str | None) -> str:
    """The time in words, kept: a page shows the same few times again and again."""
    local = timezone.localtime(value, active)
    zone = local.tzname() or ""
    # Zones without letters of their own are named by their offset, such as "-03".
    if zone.startswith(("+", "-")):
        zone = f"UTC{zone}"
    return f"{date_format(local.date(), 'D j M Y')} {local:%H:%M} {zone}"


@lru_cache(maxsize=4096)
def _day(value: date, form: str, language: str | None) -> str:
    """A day in words, kept, as times are."""
    return date_format(value, form)


def long_day(value: date) -> str:
    """A day without a time of day: "Tue 3 Mar 2026"."""
    return date_format(value, "D j M Y")


@register.filter
def ago(value: datetime | None) -> str:
    """How far an aware time is from now, in elapsed time: "3 h ago", "in 6 h 12 min".

    What has begun is rounded down and what is awaited up: nothing is promised too early.
    """
    if value is None:
        return ""
    # The clock answers in UTC: two times of one local zone would subtract by wall clock.
    difference = value - clock.now()
    return _in_or_ago(-(-difference // MINUTE), get_language())


@lru_cache(maxsize=4096)
def _in_or_ago(minutes: int, language: str | None) -> str:
    """How far in words; kept, as times are. What has begun counts below nought."""
    if minutes > 0:
        return _("in %(span)s") % {"span": _span(minutes)}
    return _("%(span)s ago") % {"span": _span(-minutes)} if minutes else _("just now")


def _span(minutes: int) -> str:
    """The two largest units of a span, so that it can be read at a glance."""
    hours, rest = divmod(minutes, 60)
    days, hours_left = divmod(hours, 24)
    by_day, by_hour = [(days, _("d")), (hours_left, _("h"))], [(hours, _("h")), (rest, _("min"))]
    parts = by_day if days else by_hour
    return " ".join(f"{count} {unit}" for count, unit in parts if count)
