"""How pages show a machine in a few lines: what it does, who is inside, when it is to be read."""

from collections.abc import Iterable
from datetime import datetime
from html import escape

from django import template
from django.template import Context
from django.utils import timezone
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from cases.overview import Machine
from cases.templatetags.persons import person_link
from crematory.templatetags.crematory import address, ago, mark
from crematory.units import show_quantity

register = template.Library()
ROW = '<li><p class="plain-head"><a href="{href}">{name}</a> {state}</p>{inside}{reading}{due}</li>'
INSIDE = "<p>{person}<br>{words}</p>"
READING = '<p>{chamber} {value} <span class="ago">{ago}</span></p>'
DUE = '<p class="since due">{words} <span class="ago">{ago}</span></p>'


@register.simple_tag(takes_context=True)
def machine_rows(context: Context, machines: Iterable[Machine]) -> SafeString:
    """`{% machine_rows machines %}`: each with its state, who is inside, the newest reading."""
    units = context["facility"].units
    rows = (
        ROW.format(
            href=escape(address("machine", machine.retort.place.code)),
            name=escape(machine.retort.name),
            state=machine_state(machine),
            inside=_inside(machine),
            reading=_reading(machine, units),
            due=due(machine),
        )
        for machine in machines
    )
    return mark_safe("".join(rows))  # noqa: S308 - every part is escaped


@register.simple_tag
def machine_state(machine: Machine) -> SafeString:
    """`{% machine_state machine %}`: what the retort is doing, by mark and word."""
    kind, word = machine.state
    return mark_safe(f'<span class="state state-{kind}">{mark(kind)}{escape(word)}</span>')  # noqa: S308


@register.simple_tag
def due(machine: Machine) -> SafeString:
    """`{% due machine %}`: by when the next reading is to be entered; nothing where none is."""
    at = machine.due_at
    if at is None:
        return mark_safe("")
    words = _overdue(at) if machine.is_overdue else _awaited(at)
    return mark_safe(DUE.format(words=words, ago=escape(ago(at))))  # noqa: S308 - escaped


def _overdue(at: datetime) -> str:
    told = escape(_("It was due by %(at)s") % {"at": _clock_time(at)})
    return (
        f'<span class="state state-refused">{mark("refused")}{escape(_("Reading overdue"))}</span> '
        f"{told}"
    )


def _awaited(at: datetime) -> str:
    return f"{escape(_('Next reading due by'))} <strong>{escape(_clock_time(at))}</strong>"


def _clock_time(at: datetime) -> str:
    """The time of day in the zone in force, the zone named: "14:05 MST"."""
    return f"{timezone.localtime(at):%H:%M %Z}"


def _inside(machine: Machine) -> str:
    if machine.run is None or machine.next_step is None:
        return ""
    told = {"since": ago(machine.run.charged_at), "step": machine.next_step.label}
    words = escape(_("charged %(since)s; next: %(step)s") % told)
    return INSIDE.format(person=person_link(machine.run.case), words=words)


def _reading(machine: Machine, units: str) -> str:
    newest = machine.secondary
    if newest is None:
        return ""
    celsius, at = newest
    return READING.format(
        chamber=escape(_("Secondary chamber")),
        value=escape(
            show_quantity(
                celsius,
                "temperature",
                "us" if units == "us" else "metric",
                both=True,
            )
        ),
        ago=escape(ago(at)),
    )
