"""The parts of the page of one retort that have many pieces: each is one tag, which escapes."""

from collections.abc import Iterable
from decimal import Decimal
from html import escape

from django import template
from django.template import Context
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from cases.gates import Verdict
from cases.heat import Temperature
from cases.overview import Machine
from cases.templatetags.gates import short_gate_row
from cases.templatetags.persons import person
from crematory.templatetags.crematory import Times, address, mark
from crematory.units import UnitSystem, show_quantity
from retort_log.models import ReadingCorrection
from retort_log.selectors import Standing

register = template.Library()
TEMPERATURE = (
    '<div><dt>{chamber}</dt><dd class="temperature">{number} <span class="unit">{unit}</span>'
    '<span class="temperature-other">{other}</span><span class="temperature-source">{old}{source}, '
    "{ago}</span></dd></div>"
)
READING = (
    '<tr{css}><td>{at}</td><td class="num">{secondary}</td><td class="num">{primary}</td>'
    '<td class="quiet">{by}</td>{correct}</tr>'
)
CORRECT = (
    '<td><a class="row-link" href="{href}">{word}'
    '<span class="visually-hidden"> {at}</span></a></td>'
)
NOTE = (
    '<tr class="note-row"><td class="corrected" colspan="5">{word}: <bdi>{why}</bdi>, {by}, {at}'
    "</td></tr>"
)
NONE_YET = '<tr><td colspan="5">{}</td></tr>'
INSIDE = (
    '<p class="person-name">{person}</p><p class="case-number">{number}</p>'
    '<p class="since">{inside} {charged}</p>{stopped}{burner_off}'
)
SINCE = '<p class="since">{words} {at}</p>'
BUTTON = (
    '<button class="btn btn-quiet" id="tap-{kind}" type="submit" form="event-{kind}">{words}'
    "</button>"
)


@register.simple_tag
def short_gate_rows(gates: Iterable[Verdict]) -> SafeString:
    """`{% short_gate_rows gates %}`: the gates of a step as they are told at the machine."""
    return mark_safe("".join(map(short_gate_row, gates)))  # noqa: S308 - every part is escaped


@register.simple_tag
def temperature_rows(temperatures: Iterable[Temperature]) -> SafeString:
    """`{% temperature_rows temperatures %}`: each chamber with its newest temperature."""
    times = Times()
    rows = (
        TEMPERATURE.format(
            chamber=escape(one.chamber),
            number=escape(one.number),
            unit=escape(one.unit),
            other=escape(one.other),
            old=_old() if one.is_old else "",
            source=escape(one.source),
            ago=escape(times.ago(one.at)),
        )
        for one in temperatures
    )
    return mark_safe("".join(rows))  # noqa: S308 - every part is escaped


def _old() -> str:
    words = escape(_("Old reading"))
    return f'<span class="state state-waiting">{mark("waiting")}{words}</span> '


@register.simple_tag
def happened_buttons(buttons: Iterable[tuple[str, str]]) -> SafeString:
    """`{% happened_buttons buttons %}`: what one tap records; a preheat has its own button."""
    rows = (
        BUTTON.format(kind=escape(kind), words=escape(words))
        for kind, words in buttons
        if kind != "preheat_begun"
    )
    return mark_safe("".join(rows))  # noqa: S308 - every part is escaped


@register.simple_tag
def person_inside(machine: Machine) -> SafeString:
    """`{% person_inside machine %}`: who lies in the retort, since when, and how the run stands."""
    case, run, life = machine.case, machine.run, machine.life
    if case is None or run is None:
        return mark_safe("")
    times = Times()
    disc = case.disc.number if hasattr(case, "disc") else ""
    stopped = burner_off = ""
    if life and life.now.since and machine.phase in ("interrupted", "fault_ended"):
        words = f"{machine.state[1]} {_('since')}"
        stopped = SINCE.format(words=escape(words), at=times.moment(life.now.since))
    if run.burner_off_at:
        words = escape(_("Burner off since"))
        burner_off = SINCE.format(words=words, at=times.moment(run.burner_off_at))
    told = INSIDE.format(
        person=person(case),
        number=escape(_("Case %(number)s · disc %(disc)s") % {"number": case.number, "disc": disc}),
        inside=escape(_("Inside since")),
        charged=times.moment(run.charged_at),
        stopped=stopped,
        burner_off=burner_off,
    )
    return mark_safe(told)  # noqa: S308 - every part is escaped


@register.simple_tag(takes_context=True)
def reading_rows(
    context: Context, readings: Iterable[Standing], code: str, may_correct: bool
) -> SafeString:
    """`{% reading_rows readings code may_read %}`: each reading as it stands, what it was before.

    Units come from `facility.units` in the context.
    """
    units: UnitSystem = context["facility"].units
    times, word = Times(), escape(_("Correct"))
    rows = []
    for row in readings:
        at = escape(times.when(row.at))
        href = escape(address("cases:correct-reading", code, row.pk)) if may_correct else ""
        rows.append(
            READING.format(
                css=' class="is-withdrawn"' if row.is_withdrawn else "",
                at=at,
                secondary=_chamber(row, "secondary", units),
                primary=_chamber(row, "primary", units),
                by=escape(row.reading.read_by.printed_name),
                correct=CORRECT.format(href=href, word=word, at=at) if may_correct else "",
            )
        )
        rows += [_note(one, times) for one in row.corrections]
    shown = "".join(rows) or NONE_YET.format(escape(_("None yet.")))
    return mark_safe(shown)  # noqa: S308 - every part is escaped


def _chamber(row: Standing, name: str, units: UnitSystem) -> str:
    """What the chamber was said to be, and what it is said to be now."""
    before = (getattr(one, f"old_{name}_c") for one in row.corrections)
    struck = "".join(f"<del>{escape(_shown(value, units))}</del> " for value in before)
    if row.is_withdrawn:
        return struck + escape(_("withdrawn"))
    value = row.primary_c if name == "primary" else row.secondary_c
    return struck + escape(_shown(value, units))


def _shown(value: Decimal | None, units: UnitSystem) -> str:
    return show_quantity(value, "temperature", units) if value is not None else _("not recorded")


def _note(one: ReadingCorrection, times: Times) -> str:
    return NOTE.format(
        word=escape(_("Withdrawn") if one.is_withdrawn else _("Corrected")),
        why=escape(one.why),
        by=escape(one.corrected_by.printed_name),
        at=escape(times.when(one.corrected_at)),
    )
