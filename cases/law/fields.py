"""What a value in a file of the law may be: bounds, vocabularies, and the check of one value."""

import dataclasses
import re
from decimal import Decimal
from typing import Any

PRINTED = re.compile(r"-?[0-9]{1,6}(\.[0-9]{1,6})?")


class BadValue(Exception):
    """A value is none that the law's files may hold; the text says why."""


def _field(**metadata: Any) -> Any:
    default = () if metadata["kind"] == "words" else None
    return dataclasses.field(default=default, metadata=metadata)


def whole(low: int, high: int, *, needed: bool = False) -> Any:
    """Return a field for a whole number from low to high."""
    return _field(kind="whole", low=low, high=high, needed=needed)


def measure(low: str, high: str, *, needed: bool = False) -> Any:
    """Return a field for a decimal number, kept as it is printed in the text."""
    return _field(kind="measure", low=Decimal(low), high=Decimal(high), needed=needed)


def word(*vocabulary: str, needed: bool = False, key: str = "") -> Any:
    """Return a field for one word of a vocabulary; `key` is its name in the file."""
    return _field(kind="word", vocabulary=frozenset(vocabulary), needed=needed, key=key)


def words(*vocabulary: str, needed: bool = False) -> Any:
    """Return a field for a list of words of a vocabulary, without doubles."""
    return _field(kind="words", vocabulary=frozenset(vocabulary), needed=needed)


def flag(*, needed: bool = False) -> Any:
    """Return a field for yes or no; None is "the text read does not say"."""
    return _field(kind="flag", needed=needed)


def key_of(field: "dataclasses.Field[Any]") -> str:
    """Return the field's name in the file."""
    return field.metadata.get("key") or field.name


def _whole(value: object, meta: Any) -> int:
    if type(value) is not int:
        raise BadValue(f"must be a whole number, not {value!r}")
    if not meta["low"] <= value <= meta["high"]:
        raise BadValue(f"must lie between {meta['low']} and {meta['high']}, not {value}")
    return value


def _measure(value: object, meta: Any) -> str:
    if not isinstance(value, str) or not PRINTED.fullmatch(value):
        raise BadValue(f'must be a number in quotes, as printed in the text ("50"), not {value!r}')
    if not meta["low"] <= Decimal(value) <= meta["high"]:
        raise BadValue(f"must lie between {meta['low']} and {meta['high']}, not {value}")
    return value


def _word(value: object, meta: Any) -> str:
    if not isinstance(value, str) or value not in meta["vocabulary"]:
        raise BadValue(f"{value!r} is none of: {', '.join(sorted(meta['vocabulary']))}")
    return value


def _words(value: object, meta: Any) -> tuple[str, ...]:
    if not isinstance(value, list | tuple) or not value:
        raise BadValue(f"must be a list that is not empty, not {value!r}")
    read = tuple(_word(item, meta) for item in value)
    if len(set(read)) != len(read):
        raise BadValue("names something twice")
    return read


def _flag(value: object, meta: Any) -> bool:
    if not isinstance(value, bool):
        raise BadValue(f"must be true or false, not {value!r}")
    return value


_CHECKS = {"whole": _whole, "measure": _measure, "word": _word, "words": _words, "flag": _flag}


def checked(field: "dataclasses.Field[Any]", value: object) -> Any:
    """Return the value as the field keeps it; raises BadValue."""
    return _CHECKS[field.metadata["kind"]](value, field.metadata)
