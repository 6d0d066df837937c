"""The answer, the clocks and the path on the page of a case: each list is one tag."""

from collections.abc import Collection, Iterable
from datetime import datetime
from html import escape

from django import template
from django.utils.safestring import SafeString, mark_safe

from cases.case_clocks import Shown
from cases.case_page import PathStep
from cases.gates import Verdict
from cases.may_cremate import Need
from cases.models import Case
from cases.templatetags.gates import reason
from crematory.templatetags.crematory import Times, address, mark

register = template.Library()
CLOCK = (
    '<li><p class="plain-head">{title}{state}</p><p>{on} {why}</p>'
    '<p class="law-note">{citation}</p></li>'
)
NO_CLOCK = "<li><p>The law that was read names no clock at this stage.</p></li>"
STATE = '<span class="state{css}">{mark}{word}</span>'
STEP = (
    '<li class="path-step is-{kind}"{current}>{mark} <div><span class="path-name">{label}</span> '
    '<span class="path-word">{word}</span>{detail}</div></li>'
)
EMPTY = '<span class="mark-empty" aria-hidden="true"></span>'
NEED = (
    '<li class="gate gate-refused">{mark} <div><strong class="gate-name">{title}</strong> '
    '<span class="quiet">asked at: {step}</span><p class="gate-reason">{reason}</p>'
    '<p class="gate-settle">Who can settle it: {who}.{ways}</p>{citation}</div></li>'
)
PROVED = '<li><p class="plain-head">{mark} {title}</p>{reason}{citation}</li>'
WAY = ' <a href="{href}">{words}</a>'
# Whose refusal is settled on the page of those who may authorize.
OF_THE_AGENTS = frozenset({"authorizing_agent", "no_dispute"})
CALLS = {"dispute": "hold", "review": "asked"}


@register.simple_tag
def clock_rows(clocks: Iterable[Shown]) -> SafeString:
    """`{% clock_rows clocks %}`: each clock of the law, whether it presses, and where it stands."""
    times = Times()
    rows = (
        CLOCK.format(
            title=escape(clock.title),
            state=_clock_state(clock),
            on=_on(clock, times),
            why=escape(clock.why),
            citation=escape(clock.citation),
        )
        for clock in clocks
    )
    return mark_safe("".join(rows) or NO_CLOCK)  # noqa: S308 - every part is escaped


def _clock_state(clock: Shown) -> str:
    if clock.broken:
        return STATE.format(css=" state-hold", mark=mark("refused"), word="Passed")
    if clock.presses:
        return STATE.format(css=" state-hold", mark=mark("waiting"), word="Presses")
    return "" if clock.is_known else STATE.format(css="", mark=mark("waiting"), word="Unknown")


def _on(clock: Shown, times: Times) -> str:
    if clock.day == "for ever":
        return "For ever."
    ago = escape(times.ago(clock.at)) if clock.at else ""
    if clock.on:
        return f"{escape(times.day(clock.on, 'D j M Y'))}{f', {ago}' if clock.is_duty else ''}."
    return f"{escape(times.when(clock.at))}, {ago}." if clock.at else ""


@register.simple_tag
def path_rows(path: Iterable[PathStep]) -> SafeString:
    """`{% path_rows path %}`: each step, and of those that are done who signed and when."""
    times = Times()
    return mark_safe("".join(_step(item, times) for item in path))  # noqa: S308 - escaped


def _step(item: PathStep, times: Times) -> str:
    kind, word, sign, current, detail = "later", "Later", EMPTY, "", ""
    if item.entry:
        kind, word, sign, detail = "done", "Done", mark("done"), _detail(item, times)
    elif item.is_next:
        kind, word, sign, current = "next", "Next", mark("next"), ' aria-current="step"'
    label = escape(item.step.label)
    return STEP.format(kind=kind, word=word, mark=sign, current=current, detail=detail, label=label)


def _detail(item: PathStep, times: Times) -> str:
    entry = item.entry
    assert entry is not None
    signed = escape(entry.signed_by.printed_name) if entry.signed_by else ""
    witness = f", witness {escape(entry.witness.printed_name)}" if entry.witness else ""
    return f'<p class="path-detail">{signed}{witness} · {times.moment(entry.happened_at)}</p>'


@register.simple_tag
def need_rows(needs: Iterable[Need], case: Case, law_asks: Collection[str] = ()) -> SafeString:
    """`{% need_rows may_cremate.needs case law_asks %}`: what stands against it, who settles it.

    `law_asks` are the gates that may ask what the law makes depend on an answer.
    """
    rows = (
        NEED.format(
            mark=mark(CALLS.get(need.verdict.calls_for, "waiting")),
            title=escape(need.verdict.title),
            step=escape(need.step.label),
            reason=reason(need.verdict),
            who=escape(need.verdict.who),
            ways=_ways(need.verdict.gate, case, law_asks),
            citation=_note(need.verdict),
        )
        for need in needs
    )
    return mark_safe("".join(rows))  # noqa: S308 - every part is escaped


def _ways(gate: str, case: Case, law_asks: Collection[str]) -> str:
    ways = ""
    if gate in OF_THE_AGENTS:
        href = escape(address("cases:agents", case.number))
        ways += WAY.format(href=href, words="Who may authorize")
    if gate in law_asks:
        href = escape(address("cases:law", case.number))
        ways += WAY.format(href=href, words="Questions of the law")
    return ways


def _note(gate: Verdict) -> str:
    return f'<p class="law-note">{escape(gate.citation)}</p>' if gate.citation else ""


@register.simple_tag
def proved_rows(proved: Iterable[Verdict]) -> SafeString:
    """`{% proved_rows may_cremate.proved %}`: each gate that is open, with what proves it."""
    rows = (
        PROVED.format(
            mark=mark("passed"),
            title=escape(gate.title),
            reason=f"<p>{escape(gate.reason)}</p>" if gate.reason else "",
            citation=_note(gate),
        )
        for gate in proved
    )
    return mark_safe("".join(rows))  # noqa: S308 - every part is escaped


@register.simple_tag
def ends(at: datetime | None) -> str:
    """`{% ends may_cremate.passes_at %}`: " From Tue 3 Mar 2026 14:05 MST, in 6 h." or nothing."""
    if at is None:
        return ""
    times = Times()
    return f" From {times.when(at)}, {times.ago(at)}."
