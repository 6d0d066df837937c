"""How Today shows the terms of the law that press."""

from collections.abc import Iterable
from html import escape

from django import template
from django.utils.formats import date_format
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from cases.case_clocks import Shown
from cases.models import Case
from cases.templatetags.persons import person_link
from crematory.templatetags.crematory import Times, mark

register = template.Library()
ROW = (
    "<li><p>{person} · {number}</p><p><strong>{mark}{state}</strong>: {title} {at}, {ago}. {why}"
    '</p><p class="law-note">{citation}</p></li>'
)


@register.simple_tag
def pressing_rows(pressing: Iterable[tuple[Case, Shown]]) -> SafeString:
    """`{% pressing_rows pressing %}`: for whom, by when, why, and where it stands."""
    times = Times()
    passed, presses = (
        {"mark": mark("refused"), "state": escape(_("Passed"))},
        {"mark": mark("waiting"), "state": escape(_("Presses"))},
    )
    rows = (
        ROW.format(
            person=person_link(case),
            number=escape(case.number),
            title=escape(term.title),
            at=escape(date_format(term.on, "D j M Y") if term.on else times.when(term.at)),
            ago=escape(times.ago(term.at)),
            why=escape(term.why),
            citation=escape(term.citation),
            **(passed if term.broken else presses),
        )
        for case, term in pressing
        if term.at is not None
    )
    return mark_safe("".join(rows))  # noqa: S308 - every part is escaped
