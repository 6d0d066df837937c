"""How pages name a person: the name as a unit of its own direction, the years of life beside it."""

from html import escape

from django import template
from django.utils.safestring import SafeString, mark_safe

from cases import death
from cases.models import Case
from cases.steps import STAGES
from crematory.templatetags.crematory import address, ago, moment, when

register = template.Library()
# The rows of lists that are long: one tag a row, for each part of a template takes its time.
WAITING_ROW = (
    '<tr><td>{person}</td><td class="text-nowrap">{number}</td>'
    '<td><span class="waited">{ago}</span><span class="quiet">{when}</span></td></tr>'
)
LIST_ROW = (
    '<tr><td>{person}</td><td class="text-nowrap">{number}</td><td class="text-nowrap">{disc}</td>'
    '<td>{stage}</td><td>{since}</td><td class="sender">{sender}</td></tr>'
)


@register.simple_tag
def person(case: Case) -> SafeString:
    """`{% person case %}`: name and years. The case's facility should be at hand."""
    return mark_safe(  # noqa: S308 - both texts are escaped
        f'<bdi>{escape(case.decedent_name)}</bdi>, <span class="years">{escape(case.years)}</span>'
    )


@register.simple_tag
def person_link(case: Case, css: str = "") -> SafeString:
    """`{% person_link case "name" %}`: name and years, leading to the case."""
    kind = f' class="{escape(css)}"' if css else ""
    href = escape(address("cases:case", case.number))
    # The span keeps name and comma together where the link is laid out as a row.
    return mark_safe(f'<a{kind} href="{href}"><span>{person(case)}</span></a>')  # noqa: S308


@register.filter
def died(case: Case) -> str:
    """`{{ case|died }}`: the time of death as far as it is known."""
    return death.words(death.of(case), case.facility.zone)


@register.simple_tag
def waiting_row(case: Case) -> SafeString:
    """`{% waiting_row case %}`: a person who waits, and since when."""
    row = WAITING_ROW.format(
        person=person_link(case, "name"),
        number=escape(case.number),
        ago=escape(ago(case.stage_since)),
        when=escape(when(case.stage_since)),
    )
    return mark_safe(row)  # noqa: S308 - every part is escaped


@register.simple_tag
def list_row(case: Case) -> SafeString:
    """`{% list_row case %}`: a person of the list of persons; the disc should be at hand."""
    row = LIST_ROW.format(
        person=person_link(case, "name"),
        number=escape(case.number),
        disc=escape(case.disc.number) if hasattr(case, "disc") else "",
        stage=escape(STAGES[case.stage]),
        since=moment(case.stage_since),
        sender=escape(case.sender),
    )
    return mark_safe(row)  # noqa: S308 - every part is escaped
