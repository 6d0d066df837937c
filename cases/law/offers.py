"""The list of what a facility may tighten in a jurisdiction, with the direction of each."""

from collections.abc import Iterator
from dataclasses import dataclass, fields

from cases.authority import Lesser
from cases.law.base import Mark, Rule
from cases.law.scales import DIRECTIONS, LESSER, QUORUM, STRICTER, UNITS, Direction, direction
from cases.law.shape import TABLES, Jurisdiction, Table


@dataclass(frozen=True)
class Offer:
    """A value that may be tightened: its path, what stands, and what may be asked instead."""

    path: str
    now: str
    may: str
    citation: str


def offers(rules: Jurisdiction) -> tuple[Offer, ...]:
    """Return what a facility may tighten, in the order of the tables."""
    listed: list[Offer] = []
    for table in TABLES:
        listed += _of_table(rules, table)
        if table.name == "authority":
            listed += _of_ranks(rules)
    return (*listed, Offer("document.add", "", "more papers before authorization", ""))


def _entries(rules: Jurisdiction, table: Table) -> Iterator[tuple[str, Rule]]:
    """Yield the path and the rule of each entry; one without its key cannot be named."""
    found = getattr(rules, table.attribute)
    if table.unique is None:
        yield table.name, found
        return
    for number, entry in enumerate(found, 1):
        key = getattr(entry, table.unique) if table.unique else str(number)
        if key:
            yield f"{table.name}.{key}", entry


def _of_table(rules: Jurisdiction, table: Table) -> Iterator[Offer]:
    for path, rule in _entries(rules, table):
        if not rule.adopted and rule.mark not in (Mark.FOUND, Mark.UNKNOWN) and _says(rule):
            yield Offer(f"{path}.adopt", rule.mark.value, "taken over as it stands", rule.citation)
        for owner, name in DIRECTIONS:
            which = direction(table.name, name, rule)
            if owner == table.name and which and not _is_closed(rule, name):
                now = getattr(rule, name)
                shown = "unknown" if now is None else f"{now}{UNITS.get(name, '')}"
                may = _may(table.name, name, rule, which)
                yield Offer(f"{path}.{name}", shown, may, rule.citation)


def _says(rule: Rule) -> bool:
    """True when the rule has a value that a facility could take over."""
    names = [f.name for f in fields(rule) if "kind" in f.metadata]
    return any(getattr(rule, name) for name in names)


def _is_closed(rule: Rule, name: str) -> bool:
    """True where nothing tighter is left, or the value has no meaning beside the others."""
    if getattr(rule, "rule", None) == "permanent":
        return True
    twins = {"max_f": "max_c", "max_c": "max_f", "min_f": "min_c", "min_c": "min_f"}
    twins |= {"within_hours": "within_days", "within_days": "within_hours"}
    twins |= {"days": "years", "years": "days"} if hasattr(rule, "then") else {}
    other = twins.get(name)
    return bool(other and getattr(rule, other, None) is not None)


def _may(table: str, name: str, rule: Rule, which: Direction) -> str:
    if which is Direction.SCALE:
        now = getattr(rule, name) if rule.is_enforced else None
        return " or ".join(sorted(STRICTER[table, name][now]))
    more = "more" if which is Direction.UP else "less"
    return f"{more}, or “permanent”" if (table, name) == ("retention", "years") else more


def _of_ranks(rules: Jurisdiction) -> Iterator[Offer]:
    for rank in rules.authority.ranks:
        path, allowed = f"authority.{rank.key}", " or ".join(sorted(QUORUM[rank.quorum]))
        yield Offer(f"{path}.quorum", rank.quorum.value, allowed, rank.citation)
        if rank.lesser != Lesser.NONE:
            allowed = " or ".join(sorted(LESSER[rank.lesser]))
            yield Offer(f"{path}.lesser", rank.lesser.value, allowed, rank.citation)
