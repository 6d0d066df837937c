"""Rules that were kept as text: read back as they stood, whatever the files say by now."""

import json
from dataclasses import fields
from datetime import date
from typing import Any

from cases.authority import Lesser, Quorum, Rank
from cases.law.base import Mark, Rule
from cases.law.rules import Waiver
from cases.law.shape import TABLES, Jurisdiction


class KeptRulesError(Exception):
    """A kept text does not have the digest under which it was kept."""


def from_text(text: str, digest: str) -> Jurisdiction:
    """Return the rules that `Jurisdiction.canonical` wrote.

    Raises KeptRulesError where the text is not the one of this digest (SHA-256, 64 hex digits).
    """
    data = json.loads(text)
    read: dict[str, Any] = {
        "code": data["code"],
        "name": data["name"],
        "text_date": date.fromisoformat(data["text_date"]),
        "tightened": tuple((path, value) for path, value in data.get("tightened", [])),
    }
    for table in TABLES:
        if table.unique is None:
            read[table.attribute] = _rule(table.rule, data[table.attribute])
        else:
            rows = data.get(table.attribute, [])
            read[table.attribute] = tuple(_rule(table.rule, row) for row in rows)
    rules = Jurisdiction(**read)
    if rules.digest != digest:
        raise KeptRulesError(f"The rules kept as {digest[:12]} do not have this digest.")
    return rules


def _rule(kind: type[Rule], data: dict[str, Any]) -> Any:
    known = {field.name for field in fields(kind)}
    values = {name: _value(name, value) for name, value in data.items() if name in known}
    return kind(**values)


def _value(name: str, value: Any) -> Any:
    if name == "mark":
        return Mark(value)
    if name == "read_on":
        return date.fromisoformat(value)
    if name == "waivers":
        return tuple(_rule(Waiver, row) for row in value)
    if name == "ranks":
        return tuple(_rank(row) for row in value)
    return tuple(value) if isinstance(value, list) else value


def _rank(row: dict[str, Any]) -> Rank:
    return Rank(
        **{
            **row,
            "quorum": Quorum(row["quorum"]),
            "lesser": Lesser(row["lesser"]),
            "excluded_when": frozenset(row.get("excluded_when", [])),
        }
    )
