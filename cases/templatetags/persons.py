"""How pages name a person: the name as a unit of its own direction, the years of life beside it."""

from collections.abc import Iterable, Mapping
from html import escape

from django import template
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from cases import death, waits
from cases.models import Case, Document
from cases.overview import Line, Waiting
from cases.steps import STAGES
from chain_of_custody.models import Place, Placement
from crematory.templatetags.crematory import Times, address, mark, unchanging

register = template.Library()
# The rows of lists that are long: one tag a list, for each part of a template takes its time.
WAITING_ROW = (
    '<tr><td><a class="name" href="{href}"><span><bdi>{name}</bdi>, '
    '<span class="years">{years}</span></span></a></td><td class="text-nowrap">{number}</td>'
    '<td><span class="waited">{ago}</span><span class="quiet">{when}</span></td></tr>'
)
GROUP = (
    '<section aria-labelledby="next-{verb}"><div class="table-scroll" role="region" '
    'aria-labelledby="next-{verb}" tabindex="0"><table class="table table-calm table-group">'
    "{head}<tbody>{rows}</tbody></table></div>{more}</section>"
)
LIST_ROW = (
    '<tr><td>{person}</td><td class="text-nowrap">{number}</td><td class="text-nowrap">{disc}</td>'
    '<td>{stage}{hold}</td><td>{since}</td><td class="sender">{sender}</td></tr>'
)
TAKEN_ROW = (
    '<tr><th scope="row">{place}</th><td><a class="name" href="{href}"><bdi>{person}</bdi></a></td>'
    "<td>{number}</td><td>{stage}{hold}</td><td>{since}</td></tr>"
)
FREE_ROW = '<tr><th scope="row">{place}</th><td colspan="4" class="quiet">{word}</td></tr>'


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
def waiting_groups(groups: Iterable[Waiting]) -> SafeString:
    """`{% waiting_groups groups %}`: for each step who waits for it, and since when."""
    times = Times()
    found = (
        GROUP.format(
            verb=escape(group.step.verb),
            head=unchanging(
                "cases/_waiting_head.html",
                verb=group.step.verb,
                label=group.step.label,
                signers=group.signers,
                total=group.total,
            ),
            rows="".join(_waiting_row(line, times) for line in group.persons),
            more=unchanging("cases/_waiting_more.html", stage=group.stage, total=group.total)
            if group.total > len(group.persons)
            else "",
        )
        for group in groups
    )
    return mark_safe("".join(found))  # noqa: S308 - every part is escaped


def _waiting_row(line: Line, times: Times) -> str:
    return WAITING_ROW.format(
        href=escape(address("cases:case", line.number)),
        name=escape(line.decedent_name),
        years=escape(line.years),
        number=escape(line.number),
        ago=escape(times.ago(line.stage_since)),
        when=escape(times.when(line.stage_since)),
    )


def _held(case: Case) -> str:
    """The mark and the word of a person who is on hold, for a row of a list."""
    if not case.is_held:
        return ""
    return f' <span class="state state-refused">{mark("hold")}{escape(_("On hold"))}</span>'


def _former(case: Case) -> str:
    """The name before a correction, where a search found the person by it."""
    if not case.former_name:
        return ""
    words = escape(_("before a correction:"))
    return f'<span class="quiet">{words} <bdi>{escape(case.former_name)}</bdi></span>'


@register.simple_tag
def options(words: Mapping[str, str], chosen: str) -> SafeString:
    """`{% options stages asked.state %}`: what may be chosen, by its key."""
    selected = " selected"
    found = (
        f'<option value="{escape(key)}"{selected if key == chosen else ""}>{escape(word)}</option>'
        for key, word in words.items()
    )
    return mark_safe("".join(found))  # noqa: S308 - every part is escaped


@register.simple_tag
def list_rows(cases: Iterable[Case]) -> SafeString:
    """`{% list_rows page.cases %}`: the list of persons; the disc of each should be at hand."""
    times = Times()
    rows = (
        LIST_ROW.format(
            person=person_link(case, "name") + _former(case),
            number=escape(case.number),
            hold=_held(case),
            disc=escape(case.disc.number) if hasattr(case, "disc") else "",
            stage=escape(STAGES[case.stage]),
            since=times.moment(case.stage_since),
            sender=escape(case.sender),
        )
        for case in cases
    )
    return mark_safe("".join(rows))  # noqa: S308 - every part is escaped


@register.simple_tag
def place_rows(rows: Iterable[tuple[Place, Placement | None, Case | None]]) -> SafeString:
    """`{% place_rows group.rows %}`: each place with who is there, or that it is free."""
    times, free, unused = Times(), escape(_("Free")), escape(_("Out of use"))
    found = []
    for place, stay, case in rows:
        if stay and case:
            row = TAKEN_ROW.format(
                place=escape(place.name),
                href=escape(address("cases:case", case.number)),
                person=escape(case.decedent_name),
                number=escape(case.number),
                stage=escape(STAGES[case.stage]),
                hold=_held(case),
                since=times.moment(stay.since),
            )
        else:
            word = free if place.is_in_use else unused
            row = FREE_ROW.format(place=escape(place.name), word=word)
        found.append(row)
    return mark_safe("".join(found))  # noqa: S308 - every part is escaped


@register.filter
def replaced(document: Document, case: Case) -> bool:
    """`{% if document|replaced:case %}`: a later version of this paper is on file."""
    return document.pk in waits.replaced_papers(case)
