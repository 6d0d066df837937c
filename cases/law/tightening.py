"""How a facility asks more than the law: only in the direction that the law leaves open.

A change is a path and a value: {"wait.hours": 48, "authority.child.quorum": "all"}. What is
unknown or only remembered may be adopted by a number of the facility's own.
"""

from collections.abc import Mapping
from dataclasses import Field, fields, replace
from decimal import Decimal
from typing import Any, TypeVar

from cases.authority import Lesser, Quorum, Rank
from cases.law.base import Mark, Rule
from cases.law.fields import BadValue, checked
from cases.law.rules import Paper
from cases.law.scales import (
    DEFAULTS,
    LESSER,
    QUORUM,
    STRICTER,
    UNITS,
    Direction,
    LawIsStricter,
    TighteningRefused,
    direction,
)
from cases.law.shape import TABLES, Jurisdiction, Table
from cases.law.words import PAPERS

T = TypeVar("T", Jurisdiction, Rule)
HOUSE = "Rule of this house"
_TABLES = {table.name: table for table in TABLES}


def tighten(rules: Jurisdiction, changes: Mapping[str, object]) -> Jurisdiction:
    """Return the rules with the facility's changes; the order of the changes does not matter.

    Raises TighteningRefused for what would loosen the law, for an unknown path and for a value
    that makes no sense; the text says why.
    """
    for path in sorted(changes):
        rules = _changed(rules, path, changes[path])
    said = dict(rules.tightened) | {path: _said(value) for path, value in changes.items()}
    return replace(rules, tightened=tuple(sorted(said.items())))


def tighten_stored(
    rules: Jurisdiction, changes: Mapping[str, object]
) -> tuple[Jurisdiction, frozenset[str]]:
    """Return the rules with changes that were stored, and the paths that no longer count.

    A law that became stricter than a value of the house stands in its place: nothing is loosened
    by that. Raises TighteningRefused for what is wrong in any other way.
    """
    overtaken: set[str] = set()
    tried = rules
    for path in sorted(changes):
        try:
            tried = _changed(tried, path, changes[path])
        except LawIsStricter:
            overtaken.add(path)
    kept = {path: value for path, value in changes.items() if path not in overtaken}
    return tighten(rules, kept), frozenset(overtaken)


def _with(thing: T, **values: Any) -> T:
    """Return the frozen thing with other values, whose names are known only when it runs."""
    return replace(thing, **values)


def _said(value: object) -> str:
    if isinstance(value, list | tuple | set | frozenset):
        return ", ".join(sorted(str(item) for item in value))
    return str(value).lower() if isinstance(value, bool) else str(value)


def _changed(rules: Jurisdiction, path: str, value: object) -> Jurisdiction:
    """Return the rules with one change."""
    name, *rest = path.split(".")
    if path == "document.add":
        return _with_papers(rules, value)
    if name == "authority" and len(rest) == 2:
        return _with_rank(rules, rest[0], rest[1], value)
    table = _TABLES.get(name)
    if table is None or len(rest) != (1 if table.unique is None else 2):
        raise TighteningRefused(f"“{path}” names no value that a house may tighten.")
    if table.unique is None:
        rule = _tighter(rules, table, getattr(rules, table.attribute), rest[0], value)
        return _with(rules, **{table.attribute: rule})
    return _with_entry(rules, table, rest[0], rest[1], value)


def _with_entry(
    rules: Jurisdiction, table: Table, which: str, name: str, value: object
) -> Jurisdiction:
    """Return the rules with one entry of a list changed, or added as a rule of the house."""
    entries: tuple[Rule, ...] = getattr(rules, table.attribute)
    found = [i for i, entry in enumerate(entries, 1) if which == _key(table, entry, i)]
    if found:
        old = entries[found[0] - 1]
        kept = tuple(entry for entry in entries if entry is not old)
    else:
        old = _new_entry(rules, table, which)
        kept = tuple(e for e in entries if e.mark != Mark.UNKNOWN or e.adopted)
    new = _tighter(rules, table, old, name, value)
    return _with(rules, **{table.attribute: _in_order(table, kept, new, found)})


def _key(table: Table, entry: Rule, number: int) -> str:
    return getattr(entry, table.unique) if table.unique else str(number)


def _in_order(
    table: Table, kept: tuple[Rule, ...], new: Rule, found: list[int]
) -> tuple[Rule, ...]:
    """Put the entry back in its place; what the house added stands last, by its key."""
    if found:
        at = found[0] - 1
        return (*kept[:at], new, *kept[at:])
    law = tuple(entry for entry in kept if entry.mark != Mark.UNKNOWN)
    house = [entry for entry in kept if entry.mark == Mark.UNKNOWN] + [new]
    return (*law, *sorted(house, key=lambda entry: str(getattr(entry, table.unique or ""))))


def _new_entry(rules: Jurisdiction, table: Table, which: str) -> Rule:
    """Return an entry without a value, for what the law read says nothing of."""
    if not table.unique:
        raise TighteningRefused(f"There is no {table.name} number {which}.")
    try:
        key = checked(_field(table.rule, table.unique), which)
    except BadValue as problem:
        raise TighteningRefused(f"{table.name}: {problem}.") from None
    kind: Any = table.rule
    return kind(citation=HOUSE, mark=Mark.UNKNOWN, read_on=rules.text_date, **{table.unique: key})


def _field(kind: type[Rule], name: str) -> "Field[Any]":
    return next(f for f in fields(kind) if f.name == name)


def _tighter(rules: Jurisdiction, table: Table, rule: Rule, name: str, value: object) -> Rule:
    """Return the rule with one value tightened and, if it was not enforced, adopted."""
    if name == "adopt":
        return _adopted(rules, table, rule, value)
    if table.name == "retention" and name == "years" and value == "permanent":
        return _with(rule, adopted=True, rule="permanent", years=None)
    which, now = direction(table.name, name, rule), getattr(rule, name, None)
    if which is None:
        raise TighteningRefused(f"“{table.name}.{name}” is no value that a house may tighten.")
    if (table.name, name) == ("wait", "hours") and now is None and value == 0:
        # The authority's answer may be that there is no wait; a file never says so by a figure.
        return _with(rule, adopted=True, hours=0, starts="death")
    if (table.name, name, value) == ("wait", "hours", 0) and rule.is_enforced:
        raise LawIsStricter(_why(rules, rule, name, now, which))
    try:
        new = checked(_field(type(rule), name), value)
    except BadValue as problem:
        raise TighteningRefused(f"{table.name}.{name} {problem}.") from None
    _refuse_other_unit(rule, name)
    _refuse_crossing(rule, name, new)
    if not _is_tighter(table, rule, name, now, new, which):
        is_stricter = rule.is_enforced and _is_stricter(table, rule, name, now, new, which)
        kind = LawIsStricter if is_stricter else TighteningRefused
        raise kind(_why(rules, rule, name, now, which))
    gaps = {k: v for k, v in DEFAULTS.get((table.name, name), {}).items() if not getattr(rule, k)}
    adopted = rule.adopted or not rule.is_enforced
    return _with(rule, adopted=adopted, **{name: new}, **gaps)


def _refuse_other_unit(rule: Rule, name: str) -> None:
    """A limit stays in the unit of its text: what is rounded between units may open it."""
    twin = {"f": name[:-1] + "c", "c": name[:-1] + "f"}.get(name[-1]) if "_" in name else None
    if twin and getattr(rule, twin, None) is not None:
        raise TighteningRefused(f"The text gives this limit as {twin}; give it in that unit.")


def _refuse_crossing(rule: Rule, name: str, new: Any) -> None:
    """A greatest value below the least one of the same text can be met by nobody."""
    least = getattr(rule, name.replace("max_", "min_"), None) if "max_" in name else None
    if least is not None and Decimal(new) < Decimal(least):
        raise TighteningRefused(f"The text also asks at least {least}; {new} lies below it.")


def _is_tighter(table: Table, rule: Rule, name: str, now: Any, new: Any, which: Direction) -> bool:
    if which is Direction.SCALE:
        return new in STRICTER[table.name, name].get(now if rule.is_enforced else None, {now})
    if getattr(rule, "rule", None) == "permanent":
        return False
    if now is None:
        return True
    more = Decimal(str(new)) - Decimal(str(now))
    return more >= 0 if which is Direction.UP else more <= 0


def _is_stricter(table: Table, rule: Rule, name: str, now: Any, new: Any, which: Direction) -> bool:
    """Whether the law asks more than a value that is not tighter; words may differ both ways."""
    if which is Direction.SCALE:
        return now in STRICTER[table.name, name].get(new, set())
    return True


def _why(rules: Jurisdiction, rule: Rule, name: str, now: Any, which: Direction) -> str:
    """Say why a value would loosen the law."""
    stands = f"{rules.name} asks {_worded(rule, name, now)} ({rule.citation})"
    if getattr(rule, "rule", None) == "permanent":
        return f"{rules.name}: this is kept permanently ({rule.citation}); a house may ask no less."
    if which is Direction.SCALE:
        return f"{stands}; a house may ask for more than that, never for less."
    may = ("more", "less") if which is Direction.UP else ("less", "more")
    return f"{stands}; a house may ask {may[0]}, never {may[1]}."


def _worded(rule: Rule, name: str, now: Any) -> str:
    if now is None:
        return "nothing that is known"
    return f"{str(now).replace('_', ' ')}{UNITS.get(name, '')}"


def _adopted(rules: Jurisdiction, table: Table, rule: Rule, value: object) -> Rule:
    """Return the rule as the facility's own: confirmed, or taken over from memory."""
    if value is not True:
        raise TighteningRefused(f"“{table.name}.adopt” is true or left out.")
    known = [f.name for f in fields(rule) if "kind" in f.metadata and f.name != table.unique]
    if not any(getattr(rule, name) for name in known) and not getattr(rule, "ranks", ()):
        raise TighteningRefused(
            f"{rules.name}: no value of “{table.name}” is known that could be adopted."
        )
    return replace(rule, adopted=True)


def _with_papers(rules: Jurisdiction, value: object) -> Jurisdiction:
    """Return the rules with more papers asked before authorization."""
    kinds = [value] if isinstance(value, str) else value
    if not isinstance(kinds, list | tuple) or not kinds or not set(kinds) <= PAPERS.keys():
        raise TighteningRefused(f"document.add: {value!r} is no list of kinds of paper.")
    papers = rules.papers
    for kind in kinds:
        due = [p for p in papers if p.kind == kind and p.is_enforced and p.before != "after"]
        if any(not paper.condition for paper in due):
            continue
        # The same kind may stand there from memory, on a condition, or for after the cremation.
        papers = (*papers, _house_paper(rules, kind))
    law = tuple(paper for paper in papers if not _is_house(paper))
    house = sorted((p for p in papers if _is_house(p)), key=lambda paper: paper.kind)
    return replace(rules, papers=(*law, *house))


def _house_paper(rules: Jurisdiction, kind: str) -> Paper:
    return Paper(
        citation=HOUSE,
        mark=Mark.UNKNOWN,
        read_on=rules.text_date,
        adopted=True,
        kind=kind,
        before="authorize",
    )


def _is_house(paper: Paper) -> bool:
    return paper.adopted and paper.mark == Mark.UNKNOWN


def _with_rank(rules: Jurisdiction, key: str, name: str, value: object) -> Jurisdiction:
    """Return the rules with a rank's quorum or smaller number tightened."""
    rank = next((rank for rank in rules.authority.ranks if rank.key == key), None)
    if rank is None or name not in ("quorum", "lesser"):
        raise TighteningRefused(f"“authority.{key}.{name}” is no value that a house may tighten.")
    new = _tighter_rank(rules, rank, name, str(value))
    ranks = tuple(new if other is rank else other for other in rules.authority.ranks)
    return replace(rules, authority=replace(rules.authority, ranks=ranks))


def _is_overtaken(name: str, now: str, value: str) -> bool:
    """Whether what the law asks of a class is stricter than this word of the house."""
    if name == "quorum":
        return value in set(Quorum) and now in QUORUM[Quorum(value)]
    return value in set(Lesser) and now in LESSER[Lesser(value)]


def _tighter_rank(rules: Jurisdiction, rank: Rank, name: str, value: str) -> Rank:
    now = rank.quorum if name == "quorum" else rank.lesser
    allowed = QUORUM[rank.quorum] if name == "quorum" else LESSER[rank.lesser]
    if value not in allowed:
        raise (LawIsStricter if _is_overtaken(name, now, value) else TighteningRefused)(
            f"{rules.name} asks “{now}” of this class ({rank.citation}); a house may ask for "
            f"{' or '.join(sorted(allowed))}, never for less."
        )
    if name == "quorum":
        return replace(rank, quorum=Quorum(value))
    return replace(rank, lesser=Lesser(value))
