"""What the page of a case shows as on record: each list is one tag, which escapes what it shows."""

from collections.abc import Collection, Iterable
from datetime import datetime
from functools import cache
from html import escape

from django import template
from django.db.models import Model
from django.template import Context
from django.utils.safestring import SafeString, mark_safe

from cases import papers
from cases.models import (
    AuthorizingAgent,
    Case,
    DeviceAnswer,
    Document,
    PersonalThing,
    RightHolder,
)
from cases.roles import Power
from cases.waits import replaced_papers
from chain_of_custody.models import Paper
from crematory.templatetags.crematory import Times, address, mark

register = template.Library()
LIST = '<ul class="list-unstyled{css}">{rows}</ul>'
NOTHING = '<li class="nothing">{}</li>'
PAPER = (
    "<li{css}>{kind}, <bdi>{reference}</bdi>, <bdi>{issued_by}</bdi>, {issued_on} {replaced}{scan}"
    "{later}</li>"
)
LINK = '<a class="row-link" href="{}">{}</a>'
WAY = '<p class="mt-3 mb-0"><a class="btn btn-quiet" href="{href}">{words}</a></p>'
WHO_MAY = '<p class="who-may mt-3 mb-0">{words} ({who} only)</p>'
PRINTED = (
    '<li class="mb-2"><a href="{href}" target="_blank" rel="noopener">{title} {number} '
    '<span class="new-tab">(new tab)</span></a>{by_hand}{copy}, {at} {superseded}</li>'
)
FORM = (
    '<form class="mb-2" method="post" action="{action}" target="_blank" rel="noopener">'
    '<input type="hidden" name="csrfmiddlewaretoken" value="{csrf}">'
    '<input type="hidden" name="token" value="{once}">'
    '<button class="btn {button}" type="submit">{words} <span class="new-tab">(new tab)</span>'
    "</button></form>"
)


@cache
def _choices(model: type[Model], name: str) -> dict[str, str]:
    """What the values of a column are called: as its `get_…_display`, looked up once."""
    return dict(model._meta.get_field(name).flatchoices)  # type: ignore[union-attr]


def _called(row: Model, name: str) -> str:
    value = getattr(row, name)
    return str(_choices(type(row), name).get(value, value))


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _named(value: object) -> str:
    """What somebody typed, as a unit of its own direction."""
    return f"<bdi>{escape(str(value))}</bdi>"


def _list(rows: Iterable[str], nothing: str = "", css: str = "") -> SafeString:
    shown = "".join(rows) or NOTHING.format(escape(nothing))
    return mark_safe(LIST.format(rows=shown, css=css))  # noqa: S308 - every part is escaped


@register.simple_tag
def way(name: str, case: Case, power: Power, words: str) -> SafeString:
    """`{% way "cases:documents" case may.file_document "File a paper" %}`: the way, or who may."""
    if power.may:
        href = escape(address(name, case.number))
        return mark_safe(WAY.format(href=href, words=escape(words)))  # noqa: S308 - escaped
    return mark_safe(WHO_MAY.format(words=escape(words), who=escape(power.who)))  # noqa: S308


@register.simple_tag
def papers_on_file(case: Case, can_file: bool = False) -> SafeString:
    """`{% papers_on_file case can_file %}`: each paper, its scan, and whether a later one came."""
    times, replaced = Times(), replaced_papers(case)
    rows = (
        _paper(case, document, times, document.pk in replaced, can_file)
        for document in case.documents.all()
    )
    return _list(rows, "No paper is on file.", " papers-on-file")


def _paper(case: Case, document: Document, times: Times, is_old: bool, can_file: bool) -> str:
    state = f'<span class="state state-done">{mark("waiting")}Replaced by a later version</span> '
    scan = '<span class="quiet">no scan</span>'
    if document.upload:
        href = escape(address("cases:file", case.number, document.upload.token))
        scan = LINK.format(href, "Look at the scan")
    href = f"{escape(address('cases:documents', case.number))}?replaces={document.pk}#filing"
    return PAPER.format(
        css=' class="is-replaced"' if is_old else "",
        kind=escape(_capital(_called(document, "kind"))),
        reference=escape(document.reference),
        issued_by=escape(document.issued_by),
        issued_on=escape(times.day(document.issued_on)),
        replaced=state if is_old else "",
        scan=scan,
        later=" " + LINK.format(href, "A later version came") if can_file and not is_old else "",
    )


@register.simple_tag
def agents_on_file(case: Case) -> SafeString:
    """`{% agents_on_file case %}`: who has a say, and what each said last."""
    holders = case.right_holders.all()
    return _list(map(_agent, holders), "Nobody has signed or objected.")


def _agent(holder: RightHolder) -> str:
    said: list[AuthorizingAgent] = list(holder.statements.all())
    word = escape(_called(said[-1], "position")) if said else "said nothing yet"
    return f"<li>{_named(holder.name)}, {_named(holder.relationship)}: {word}</li>"


@register.simple_tag
def recipients_on_file(case: Case) -> SafeString:
    """`{% recipients_on_file case %}`: who is named to receive."""
    rows = (f"<li>{_named(r.name)}, {_named(r.relationship)}</li>" for r in case.recipients.all())
    return _list(rows, "Nobody is named.")


@register.simple_tag
def device_rows(devices: Iterable[tuple[str, DeviceAnswer | None]]) -> SafeString:
    """`{% device_rows devices %}`: each question, its answer, and what became of the device."""
    times = Times()
    return _list(f"<li>{escape(label)}: {_device(a, times)}</li>" for label, a in devices)


def _device(answer: DeviceAnswer | None, times: Times) -> str:
    if answer is None:
        return "not asked yet"
    return f"<strong>{escape(_called(answer, 'answer'))}</strong>{_became(answer, times)}"


def _became(answer: DeviceAnswer, times: Times) -> str:
    if answer.outcome == "removed":
        return (
            f", removed {_when(times, answer.removed_at)} by {_named(answer.removed_by)}, went to "
            f"{_named(answer.went_to)}, receipt {_named(answer.receipt_reference)}"
        )
    if answer.outcome == "attested":
        return (
            f", removed before: attested by {_named(answer.attested_by)}, licence "
            f"{_named(answer.attester_licence)}"
        )
    return f", stays: {_named(answer.stays_by_rule)}" if answer.outcome == "stays" else ""


def _when(times: Times, at: datetime | None) -> str:
    return escape(times.when(at)) if at else ""


@register.simple_tag
def thing_rows(things: Iterable[PersonalThing]) -> SafeString:
    """`{% thing_rows things %}`: each thing with the family's wish, or to whom it was given."""
    times = Times()
    return _list(f"<li>{_named(t.description)}: {_thing(t, times)}</li>" for t in things)


def _thing(thing: PersonalThing, times: Times) -> str:
    back = getattr(thing, "returned", None)
    if back:
        return f"given back to {_named(back.returned_to)}, {_when(times, back.returned_at)}"
    lies = f", lies in {escape(str(thing.kept_in))}" if thing.kept_in else ""
    return f"<strong>{escape(_called(thing, 'wish'))}</strong>{lies}"


@register.simple_tag
def printed_rows(case: Case, printed: Collection[tuple[str, Paper, bool, bool]]) -> SafeString:
    """`{% printed_rows case printed %}`: each paper with whether it still holds."""
    times = Times()
    rows = (
        PRINTED.format(
            href=escape(address("cases:paper", case.number, paper.number)),
            title=escape(title),
            number=escape(paper.number),
            by_hand=", by hand" if by_hand else "",
            copy=f", copy {paper.copy}" if paper.copy > 1 else "",
            at=escape(times.when(paper.printed_at)),
            superseded='<span class="state state-refused">'
            f"{mark('refused')}Superseded by a correction</span>"
            if is_old
            else "",
        )
        for title, paper, by_hand, is_old in printed
    )
    return _list(rows, "Nothing was printed yet.")


@register.simple_tag(takes_context=True)
def print_forms(context: Context, kinds: Iterable[papers.Kind], token: str) -> SafeString:
    """`{% print_forms printable once %}`: a button for each paper that may be printed."""
    forms = (print_form(context, kind, token) for kind in kinds)
    return mark_safe("".join(forms))  # noqa: S308 - every part is escaped


@register.simple_tag(takes_context=True)
def print_form(
    context: Context, kind: papers.Kind, token: str, words: str = "", button: str = ""
) -> SafeString:
    """`{% print_form kind token %}`: the button that prints a paper, and where it may be written.

    A paper opens in a new tab, so that the page and what is typed on it stay.
    """
    number, csrf = context["case"].number, escape(str(context.get("csrf_token", "")))
    form = FORM.format(
        action=escape(address("cases:print", number, kind.name)),
        csrf=csrf,
        once=escape(token),
        button=escape(button or "btn-quiet"),
        words=escape(words or f"Print: {kind.title}"),
    )
    if kind.by_hand:
        form += FORM.format(
            action=escape(address("cases:write", number, kind.name)),
            csrf=csrf,
            once=f"{escape(token)}-hand",
            button="btn-quiet",
            words="Write the label by hand",
        )
    return mark_safe(form)  # noqa: S308 - every part is escaped
