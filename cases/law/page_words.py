"""The rules of a jurisdiction as a page lists them: every value in words. Pure: no Django."""

from collections.abc import Iterator
from dataclasses import dataclass, fields
from datetime import date

from cases.authority import CLASSES, EXCLUSIONS, Rank
from cases.law.base import Rule, State
from cases.law.item_words import ITEMS
from cases.law.offers import Offer, offers
from cases.law.rules import Waiver
from cases.law.scales import UNITS
from cases.law.shape import CAUTION, TABLES, Jurisdiction, Table
from cases.law.words import BY, CONDITIONS, GROUNDS, PAPERS, WITHOUT_FORM

TITLES = {
    "wait": "Wait between death and cremation",
    "medical_clearance": "Clearance by coroner, medical examiner or referee",
    "authority": "Who may authorize",
    "document": "Papers",
    "holding": "Cooling",
    "holding_limit": "Limits of holding",
    "holding_area": "Place of holding",
    "identification": "Identification",
    "disc": "Disc",
    "container": "Container",
    "devices": "Devices in the body",
    "radioactive": "Radioactive implants and therapy",
    "one_body": "One person in a retort",
    "receipt_delivery": "Receipt at delivery",
    "receipt_release": "Receipt at release",
    "record": "Record of a cremation",
    "form": "Authorization form",
    "certificate": "Certificate of cremation",
    "retention": "How long what is kept",
    "unclaimed": "Remains that nobody claims",
    "particle": "Size of processed remains",
    "release": "Release and shipping",
    "secondary_chamber": "Secondary chamber",
    "dispute": "Disputes",
    "presence": "Who may be present",
    "notice": "Notices to an authority",
    "signatures": "Signatures",
    "revocation": "Taking an authorization back",
    "without_form": "Without a signed form",
    "recovery": "Order of recovery",
    "packaging": "Containers of remains",
    "belongings": "Belongings",
    "metals": "Metals",
}
_VOCABULARIES = (PAPERS, ITEMS, GROUNDS, BY, CLASSES, EXCLUSIONS, CONDITIONS, WITHOUT_FORM)
_STARTS = {"starts": "counted from"}


@dataclass(frozen=True)
class Entry:
    """One rule: its values in words, where it stands, how it was read, what a house may ask."""

    heading: str
    values: tuple[tuple[str, str], ...]
    citation: str
    link: str
    note: str
    mark: str
    state: str
    read_on: date
    is_unknown: bool
    is_adopted: bool
    offers: tuple["Asking", ...]


@dataclass(frozen=True)
class Asking:
    """A value that a house may ask more of: its path, and the words of the link to it."""

    path: str
    words: str


@dataclass(frozen=True)
class Section:
    """A table of the law with its entries."""

    name: str
    title: str
    entries: tuple[Entry, ...]


def sections(rules: Jurisdiction) -> tuple[Section, ...]:
    """Return everything that is kept of a jurisdiction, in the order of the tables."""
    free = {offer.path: offer for offer in offers(rules)}
    return tuple(
        Section(table.name, TITLES[table.name], tuple(_entries(rules, table, free)))
        for table in TABLES
    )


def title_of(path: str) -> str:
    """Return what a path of a rule is called: "Wait between death and cremation: hours"."""
    table, *rest = path.split(".")
    if path == "document.add":
        return "Papers: more papers before authorization"
    return f"{TITLES.get(table, table)}: {' '.join(_one(part) for part in rest)}"


def _entries(rules: Jurisdiction, table: Table, free: dict[str, Offer]) -> Iterator[Entry]:
    found = getattr(rules, table.attribute)
    if table.unique is None:
        yield _entry(table.name, "", found, free)
    for number, rule in enumerate(found if table.unique is not None else (), 1):
        key = str(getattr(rule, table.unique) if table.unique else number)
        yield _entry(f"{table.name}.{key}", _one(key), rule, free)
    if table.name == "wait":
        for waiver in rules.wait.waivers:
            yield _entry("", f"Waiver: {_one(waiver.ground)}", waiver, {})
    if table.name == "authority":
        for number, rank in enumerate(rules.authority.ranks, 1):
            yield _rank(number, rank, rules, free)


def _entry(path: str, heading: str, rule: Rule, free: dict[str, Offer]) -> Entry:
    values = tuple((_label(name), text) for name, text in _values(rule))
    of_rule = tuple(
        _asking(o, rule) for p, o in free.items() if path and p.rpartition(".")[0] == path
    )
    return Entry(
        heading="" if heading in ("None", "none") else heading,
        values=values,
        citation=rule.citation,
        link=rule.link,
        note=rule.note,
        mark=rule.mark.value,
        state=state_words(rule),
        read_on=rule.read_on,
        is_unknown=rule.state is State.UNKNOWN,
        is_adopted=rule.adopted,
        offers=of_rule,
    )


def _asking(offer: Offer, rule: Rule) -> Asking:
    name = offer.path.rpartition(".")[2]
    if name == "adopt":
        return Asking(offer.path, "Hold to it as it stands")
    if offer.path == "wait.hours" and rule.state_by_law is State.UNKNOWN:
        return Asking(offer.path, "Record the local authority’s answer")
    may = offer.may.replace("_", " ")
    unit = UNITS.get(name, "").strip()
    of_unit = f" ({unit})" if unit else ""
    return Asking(offer.path, f"{_label(name).capitalize()}{of_unit}: ask {may}")


def state_words(rule: Rule) -> str:
    """Say what gates do with a rule."""
    if rule.adopted:
        return "Asked by this house."
    if rule.state is State.ENFORCED:
        return "Held to."
    if rule.state is State.CONFIRM:
        return f"Held to; confirm before use ({CAUTION[rule.mark]})."
    return "Unknown here, which is not “no rule”: ask the local authority."


def _values(rule: Rule) -> Iterator[tuple[str, str]]:
    for field in fields(rule):
        value = getattr(rule, field.name)
        if "kind" not in field.metadata or value in (None, ()):
            continue
        yield field.name, _text(field.name, value)
    if isinstance(rule, Waiver) and not rule.needs:
        yield "needs", "no paper that the text names"


def _text(name: str, value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return "; ".join(_one(str(item)) for item in value)
    return f"{_one(str(value))}{UNITS.get(name, '')}"


def _one(key: str) -> str:
    """Return a key in words."""
    for words in _VOCABULARIES:
        if key in words:
            return words[key]
    return key.replace("_", " ")


def _label(name: str) -> str:
    name = _STARTS.get(name, name).removeprefix("is_")
    for ending in ("_min_f", "_f", "_c", "_mm", "_s", "_hours", "_days", "_years"):
        name = name.removesuffix(ending)
    return name.replace("_", " ")


def _rank(number: int, rank: Rank, rules: Jurisdiction, free: dict[str, Offer]) -> Entry:
    owner = rules.authority
    path = f"authority.{rank.key}"
    values = [("how many sign", _one(rank.quorum.value))]
    if rank.lesser != "none":
        values.append(("fewer after efforts to reach the others", _one(rank.lesser.value)))
    if rank.excluded_when:
        values.append(("not who", "; ".join(_one(key) for key in sorted(rank.excluded_when))))
    return Entry(
        heading=f"{number}. {_one(rank.key)}",
        values=tuple(values),
        citation=rank.citation,
        link=owner.link,
        note="",
        mark=str(rank.mark),
        state=state_words(owner),
        read_on=owner.read_on,
        is_unknown=owner.state is State.UNKNOWN,
        is_adopted=False,
        offers=tuple(_asking(o, owner) for p, o in free.items() if p.rpartition(".")[0] == path),
    )
