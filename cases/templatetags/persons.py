"""How pages name a person: the name as a unit of its own direction, the years of life beside it."""

from django import template
from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

from cases import death
from cases.models import Case
from crematory.templatetags.crematory import address

register = template.Library()


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
