"""From a TOML file to a jurisdiction, strictly: whatever is odd is one clear error."""

import tomllib
from collections.abc import Iterator
from dataclasses import Field, fields
from datetime import date
from pathlib import Path
from typing import Any

from cases.authority import CLASSES, EXCLUSIONS, Lesser, Quorum, Rank
from cases.law.base import SOURCE, Mark, Rule
from cases.law.fields import BadValue, checked, key_of
from cases.law.rules import Authority, Wait, Waiver
from cases.law.shape import TABLES, Jurisdiction, Table

TOP = {"code", "name", "text_date"}
# Tables inside a table: the name in the file, and the attribute that holds the list.
NESTED = {(Wait, "waiver"): "waivers", (Authority, "rank"): "ranks"}
RANK_KEYS = {"key", "quorum", "lesser", "excluded_when", "citation", "mark"}


class RuleFileError(Exception):
    """A file of the law is wrong; the text names the file, the table and the key."""


class _At:
    """Where in which file, so that an error can name it."""

    def __init__(self, file: str, table: str) -> None:
        self.file, self.table = file, table

    def error(self, key: str, problem: str) -> RuleFileError:
        return RuleFileError(f"{self.file}: [{self.table}] {key}: {problem}.")


def _values(kind: type[Rule]) -> Iterator["Field[Any]"]:
    return (f for f in fields(kind) if "kind" in f.metadata)


def _text(table: dict[str, Any], key: str, at: _At, *, needed: bool) -> str:
    value = table.get(key, "")
    if not isinstance(value, str) or (needed and not value.strip()):
        raise at.error(key, "is missing or no text")
    return value


def _mark(table: dict[str, Any], at: _At) -> Mark:
    try:
        return Mark(str(table.get("mark")))
    except ValueError:
        marks = ", ".join(Mark)
        raise at.error("mark", f"{table.get('mark')!r} is none of: {marks}") from None


def _source(table: dict[str, Any], at: _At) -> dict[str, Any]:
    """Read what every rule carries beside its values."""
    read_on = table.get("read_on")
    if type(read_on) is not date:
        raise at.error("read_on", f"must be a date, not {read_on!r}")
    return {
        "citation": _text(table, "citation", at, needed=True),
        "link": _text(table, "link", at, needed=False),
        "note": _text(table, "note", at, needed=False),
        "mark": _mark(table, at),
        "read_on": read_on,
    }


def _rank(table: dict[str, Any], owner: dict[str, Any], at: _At) -> Rank:
    """Read one rank of the order of those who may authorize."""
    for key in table.keys() - RANK_KEYS:
        raise at.error(key, "is not known here")
    if table.get("key") not in CLASSES:
        raise at.error("key", f"{table.get('key')!r} is no class of persons")
    excluded = table.get("excluded_when", [])
    if not isinstance(excluded, list) or not set(excluded) <= EXCLUSIONS.keys():
        raise at.error("excluded_when", f"{excluded!r} names what takes no right away")
    try:
        quorum, lesser = Quorum(str(table.get("quorum"))), Lesser(str(table.get("lesser", "none")))
    except ValueError as problem:
        raise at.error("quorum or lesser", str(problem)) from None
    mark = _mark(table, at) if "mark" in table else owner["mark"]
    if mark == Mark.UNKNOWN:
        raise at.error("mark", "a rank that is unknown is not listed")
    citation = _text(table, "citation", at, needed=False) or owner["citation"]
    return Rank(table["key"], quorum, lesser, frozenset(excluded), citation, mark.value)


def _nested(
    kind: type[Rule], name: str, rows: object, owner: dict[str, Any], at: _At
) -> tuple[Any, ...]:
    """Read the waivers of a wait, or the ranks of an order."""
    inner = _At(at.file, f"{at.table}.{name}")
    if not isinstance(rows, list) or not rows or not all(isinstance(r, dict) for r in rows):
        raise at.error(name, "must be a list of tables")
    read: list[Any]
    if kind is Wait:
        read = [read_rule(Waiver, row, inner) for row in rows]
        _no_doubles("ground", [waiver.ground for waiver in read], inner)
    else:
        read = [_rank(row, owner, inner) for row in rows]
        _no_doubles("key", [rank.key for rank in read], inner)
    return tuple(read)


def _no_doubles(key: str, values: list[Any], at: _At) -> None:
    double = next((value for value in values if values.count(value) > 1), None)
    if double is not None:
        raise at.error(key, f"{double!r} stands twice")


def read_rule(kind: type[Rule], table: dict[str, Any], at: _At) -> Any:
    """Return the rule of this kind that the table gives; raises RuleFileError."""
    read = _source(table, at)
    nested = {name: to for (owner, name), to in NESTED.items() if owner is kind}
    known = {key_of(f): f for f in _values(kind)}
    for key in table.keys() - SOURCE - known.keys() - nested.keys():
        raise at.error(key, "is not known here")
    values: dict[str, Any] = {}
    for key, field in known.items():
        if key in table:
            try:
                values[field.name] = checked(field, table[key])
            except BadValue as problem:
                raise at.error(key, str(problem)) from None
    for name, attribute in nested.items():
        if name in table:
            values[attribute] = _nested(kind, name, table[name], read, at)
    _complete(kind, read["mark"], values, at)
    return kind(**read, **values)


def _complete(kind: type[Rule], mark: Mark, values: dict[str, Any], at: _At) -> None:
    """Refuse values where nothing is known, and gaps where something is."""
    if mark == Mark.UNKNOWN:
        if values:
            raise at.error(next(iter(values)), "a rule that is unknown has no value")
        return
    if not values and mark != Mark.HEADING:
        raise at.error("mark", f"says {mark.value!r}, but the table has no value")
    for field in _values(kind):
        if values and field.metadata.get("needed") and field.name not in values:
            raise at.error(key_of(field), "is missing")
    _fits_together(values, at)


def _fits_together(values: dict[str, Any], at: _At) -> None:
    """Refuse values that contradict one another."""
    if values.get("rule") == "years" and "years" not in values:
        raise at.error("years", "is missing beside rule = “years”")
    if values.get("rule") == "permanent" and "years" in values:
        raise at.error("years", "what is kept permanently has no years")
    if "then" in values and ("days" in values) == ("years" in values):
        raise at.error("days", "give days or years, one of them")
    if "condition" in values and "alternatives" in values:
        raise at.error("alternatives", "a paper asked on a condition is that paper and no other")
    if "max_f" in values and "max_c" in values:
        raise at.error("max_c", "one limit has one unit, that of the text")
    if "min_f" in values and "min_c" in values:
        raise at.error("min_c", "one limit has one unit, that of the text")


def _absent(table: Table, read_on: date) -> Any:
    """Return what stands for a table that the file does not have: unknown, never "no rule"."""
    if table.unique is not None:
        return ()
    return table.rule(citation="", mark=Mark.UNKNOWN, read_on=read_on)


def _table(table: Table, given: object, at: _At) -> Any:
    """Read one table, or one list of tables, of a file."""
    if table.unique is None:
        if not isinstance(given, dict):
            raise at.error(table.name, f"is written [{table.name}], once")
        return read_rule(table.rule, given, at)
    if not isinstance(given, list) or not given or not all(isinstance(row, dict) for row in given):
        raise at.error(table.name, f"is written [[{table.name}]]")
    read = tuple(read_rule(table.rule, row, at) for row in given)
    if len(read) > 1 and any(rule.mark == Mark.UNKNOWN for rule in read):
        raise at.error("mark", "what is unknown stands alone")
    if table.name == "document":
        _no_doubles("condition", [rule.condition for rule in read if rule.condition], at)
    if table.unique:
        _no_doubles(table.unique, [getattr(rule, table.unique) for rule in read], at)
    return read


def parse(text: str, file: str) -> Jurisdiction:
    """Return the jurisdiction that a file's text gives; raises RuleFileError."""
    top = _At(file, "top")
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise RuleFileError(f"{file}: not TOML: {problem}") from None
    for key in data.keys() - TOP - {table.name for table in TABLES}:
        raise top.error(key, "is not known here")
    if type(data.get("text_date")) is not date:
        raise top.error("text_date", "must be a date")
    code, name = (_text(data, key, top, needed=True) for key in ("code", "name"))
    if code != Path(file).stem:
        raise top.error("code", f"{code!r} is not the file's name")
    read: dict[str, Any] = {}
    for table in TABLES:
        if table.name in data:
            read[table.attribute] = _table(table, data[table.name], _At(file, table.name))
        elif table.is_core:
            raise top.error(table.name, "is missing; what is not known has the mark “unknown”")
        else:
            read[table.attribute] = _absent(table, data["text_date"])
    return Jurisdiction(code=code, name=name, text_date=data["text_date"], **read)
