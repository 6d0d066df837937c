"""How pages show the answers of gates: a page asks a dozen, so each is one tag."""

from collections.abc import Collection, Iterable
from html import escape

from django import template
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from cases.gates import PASSED, REFUSED, Verdict
from cases.models import Case
from crematory.templatetags.crematory import address, ago, mark, when

register = template.Library()
ROW = (
    '<li class="gate gate-{state}">{mark}<div><strong class="gate-word">{word}</strong> '
    '<span class="gate-name">{title}</span>{more}</div></li>'
)
# A manager settles these on the page of the run.
SETTLED_AT_THE_RUN = ("findings_settled", "readings_cover")
WAY = '<p class="gate-settle"><a class="btn btn-quiet" href="{address}">{words}</a></p>'


@register.simple_tag
def gate_rows(gates: Iterable[Verdict], case: Case, above: Collection[str] = ()) -> SafeString:
    """`{% gate_rows gates case above %}`: all gates of a step, a row each."""
    rows = (gate_row(gate, case, above) for gate in gates)
    return mark_safe("".join(rows))  # noqa: S308 - every part is escaped


@register.simple_tag
def gate_row(gate: Verdict, case: Case, above: Collection[str] = ()) -> SafeString:
    """`{% gate_row gate case above %}`: all that a gate says, its citation, and where to go.

    Of a gate that is named `above` the page has told this already.
    """
    told = gate.gate in above
    more = f'<p class="gate-reason">{reason(gate)}</p>' if gate.reason and not told else ""
    if gate.state == REFUSED:
        more += _settle(gate) if gate.who and not told else ""
        if gate.gate == "band_compared":
            to = escape(address("cases:band", case.number))
            more += WAY.format(address=to, words=escape(_("Compare the identity band")))
        if gate.gate in SETTLED_AT_THE_RUN:
            to = escape(address("cases:run", case.number))
            more += WAY.format(address=to, words=escape(_("The run: chart and findings")))
        if gate.gate == "labels_stand":
            to = escape(address("cases:relabel", case.number))
            more += WAY.format(address=to, words=escape(_("Label the containers anew")))
    if gate.citation and not told:
        more += f'<p class="law-note">{escape(gate.citation)}</p>'
    return _row(gate, more)


@register.simple_tag
def short_gate_row(gate: Verdict) -> SafeString:
    """`{% short_gate_row gate %}`: at the machine only what is refused is told at length."""
    more = f'<p class="gate-reason">{reason(gate)}</p>' if gate.state == REFUSED else ""
    return _row(gate, more + _settle(gate) if more else "")


@register.simple_tag
def reason(gate: Verdict) -> SafeString:
    """`{% reason gate %}`: what is missing, since when, and when it passes by itself."""
    parts = [gate.reason]
    if gate.since:
        parts.append(_("Since %(at)s.") % {"at": when(gate.since)})
    if gate.passes_at:
        ends = {"at": when(gate.passes_at), "span": ago(gate.passes_at)}
        parts.append(_("Ends %(at)s, %(span)s.") % ends)
    return mark_safe(escape(" ".join(parts)))  # noqa: S308 - escaped as a whole


def _row(gate: Verdict, more: str) -> SafeString:
    words = {PASSED: _("Passed"), REFUSED: _("Refused")}
    row = ROW.format(
        state=escape(gate.state),
        mark=mark(gate.state),
        word=escape(words.get(gate.state) or _("Will be asked")),
        title=escape(gate.title),
        more=more,
    )
    return mark_safe(row)  # noqa: S308 - every part is escaped


def _settle(gate: Verdict) -> str:
    text = _("Who can settle it: %(who)s.") % {"who": gate.who}
    return f'<p class="gate-settle">{escape(text)}</p>'
