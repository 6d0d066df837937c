"""How the page of a trail shows the facts of an entry: it has many."""

from collections.abc import Iterable
from html import escape

from django import template
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from cases.trail_lines import Fact

register = template.Library()


@register.simple_tag
def trail_facts(facts: Iterable[Fact]) -> SafeString:
    """`{% trail_facts line.facts %}`: name and value of each, and whether it is sealed."""
    sealed = f' <span class="ago">{escape(_("sealed"))}</span>'
    shown = (
        f"<dt>{escape(fact.label)}</dt><dd><bdi>{escape(fact.value)}</bdi>"
        f"{sealed if fact.is_sealed else ''}</dd>"
        for fact in facts
    )
    return mark_safe("".join(shown))  # noqa: S308 - every part is escaped
