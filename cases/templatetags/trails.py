"""How the page of a trail shows its entries: it has many, and each has many parts."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from html import escape

from django import template
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from cases.trail_lines import Fact, Line
from crematory.templatetags.crematory import Times, mark

register = template.Library()
ENTRY = (
    '<li class="trail-entry trail-{outcome}" id="entry-{number}"><div class="trail-head">'
    '<h2>{act}</h2> {states}<span class="trail-number">{word} {number} · '
    '<code title="{leaf}">{begins}</code></span></div>{corrections}<dl class="facts">{facts}</dl>'
    "</li>"
)
STATE = '<span class="state state-{kind}">{mark}{word}</span> '
CORRECTED = '<p class="trail-corrected">{}</p>'
FACT = "<dt>{}</dt><dd>{}</dd>"


@dataclass(frozen=True)
class Entry:
    """A line of the trail with the names that its row holds by their keys.

    `corrections` are the numbers of later entries that change this one.
    """

    line: Line
    corrections: list[int]
    signed_by: str | None
    witness: str | None
    place_from: str | None
    place_to: str | None


@register.simple_tag
def trail_entries(entries: Iterable[Entry]) -> SafeString:
    """`{% trail_entries entries %}`: each with who signed, where it was, and what was stated."""
    words = _Words()
    return mark_safe("".join(words.entry(entry) for entry in entries))  # noqa: S308 - escaped


class _Words:
    """The words and times of every entry, looked up once."""

    def __init__(self) -> None:
        self.times = Times()
        self.number = escape(_("entry"))
        self.refused, self.done, self.late = (
            STATE.format(kind=kind, mark=mark(kind), word=escape(word))
            for kind, word in (
                ("refused", _("Refused")),
                ("done", _("Done")),
                ("waiting", _("Recorded late")),
            )
        )
        self.happened, self.signed, self.tried = (
            escape(_("happened")),
            escape(_("signed by")),
            escape(_("tried with the code of")),
        )
        self.how = {
            "pin": f", {escape(_('with PIN'))}",
            "session": f", {escape(_('as signed in'))}",
        }
        self.witness = escape(_("second person"))
        self.left, self.at, self.to = escape(_("from")), escape(_("place")), escape(_("to"))

    def entry(self, entry: Entry) -> str:
        """Return one entry in HTML."""
        line, row = entry.line, entry.line.entry
        state = self.refused if row.outcome == "refused" else self.done
        return ENTRY.format(
            outcome=escape(row.outcome),
            number=row.sequence,
            act=escape(line.act),
            states=state + (self.late if line.is_late else ""),
            word=self.number,
            leaf=escape(row.leaf_hash),
            begins=escape(row.leaf_hash[:12]),
            corrections="".join(_corrections(entry)),
            facts="".join(self._told(entry)) + trail_facts(line.facts),
        )

    def _told(self, entry: Entry) -> Iterator[str]:
        """When it happened, who signed, where the person was."""
        line, row = entry.line, entry.line.entry
        happened = escape(self.times.when(row.happened_at))
        if line.is_late:
            told = escape(_("recorded %(at)s") % {"at": self.times.when(row.recorded_at)})
            happened += f' <span class="ago">{told}</span>'
        yield FACT.format(self.happened, happened)
        if entry.signed_by:
            word = self.tried if row.outcome == "refused" else self.signed
            yield FACT.format(word, escape(entry.signed_by) + self.how.get(line.signature, ""))
        if entry.witness:
            yield FACT.format(self.witness, escape(entry.witness))
        is_same = row.place_from_id == row.place_to_id
        if entry.place_from and not is_same:
            yield FACT.format(self.left, escape(entry.place_from))
        if entry.place_to:
            word = self.at if is_same else self.to
            yield FACT.format(word, escape(entry.place_to))


def _corrections(entry: Entry) -> Iterator[str]:
    for number in entry.corrections:
        words = escape(_("A later correction changes this entry: %(link)s."))
        yield CORRECTED.format(words % {"link": _link(number)})
    if entry.line.corrects is not None:
        words = escape(_("Corrects %(field)s in %(link)s."))
        told = {"field": escape(entry.line.field), "link": _link(entry.line.corrects)}
        yield CORRECTED.format(words % told)


def _link(number: int) -> str:
    words = escape(_("entry %(number)s") % {"number": number})
    return f'<a href="#entry-{int(number)}">{words}</a>'


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
