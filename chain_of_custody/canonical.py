"""The exact bytes that the trail hashes: canonical JSON (RFC 8785), and salted commitments.

Floats are refused: their text depends on how a number was reckoned. Quantities come as Decimal
and become text with the decimals that they have ("82.550").
"""

import hashlib
import re
from collections.abc import Mapping
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import rfc8785

SALT_BYTES = 32
# JSON readers keep integers exact only up to here (RFC 8785, section 3.2.2.3, and RFC 7493).
LARGEST_INTEGER = 2**53 - 1

_HALF_A_PAIR = re.compile("[\ud800-\udfff]")
_COMMITMENT_PREFIX = b"custody-seal-v1\0"


def canonical_bytes(obj: object) -> bytes:
    """Canonical JSON of plain values, in UTF-8.

    Takes None, bool, int, str, list, tuple, mappings with text keys; Decimal becomes text in
    plain notation, an aware datetime "2026-03-02T15:04:05.123456Z", a date "2026-03-02".
    Raises TypeError for floats, keys that are not text and any other type, ValueError for
    values out of range, each naming the path ("$.weights[2].mass_kg").
    """
    return rfc8785.dumps(_plain(obj, "$"))


def commitment(salt: bytes, value: str) -> str:
    """Hex SHA-256 that binds a value without showing it; the value's exact text counts.

    Raises ValueError unless the salt has 32 bytes: a short salt lets a name be guessed.
    """
    if len(salt) != SALT_BYTES:
        raise ValueError(f"the salt has {len(salt)} bytes, want {SALT_BYTES}")
    return hashlib.sha256(_COMMITMENT_PREFIX + salt + value.encode()).hexdigest()


def _plain(obj: object, path: str) -> Any:
    if isinstance(obj, Mapping):
        return {_key(key, path): _plain(item, f"{path}.{key}") for key, item in obj.items()}
    if isinstance(obj, list | tuple):
        return [_plain(item, f"{path}[{place}]") for place, item in enumerate(obj)]
    if obj is None or isinstance(obj, bool):
        return obj
    if isinstance(obj, str):
        return _text(obj, path)
    if isinstance(obj, int):
        return _integer(obj, path)
    if isinstance(obj, Decimal):
        return _decimal(obj, path)
    return _moment(obj, path)


def _key(key: object, path: str) -> str:
    if not isinstance(key, str):
        raise TypeError(f"{path}: the key {key!r} is {type(key).__name__}, want text")
    return _text(key, path)


def _text(value: str, path: str) -> str:
    if _HALF_A_PAIR.search(value):
        raise ValueError(f"{path}: the text holds half of a surrogate pair, which is no character")
    # The bare text of members of text enumerations, whatever they print as.
    return str.__str__(value)


def _integer(value: int, path: str) -> int:
    if abs(value) > LARGEST_INTEGER:
        raise ValueError(
            f"{path}: the integer {value} is beyond ±{LARGEST_INTEGER}; pass it as text"
        )
    return int(value)


def _decimal(value: Decimal, path: str) -> str:
    if not value.is_finite():
        raise ValueError(f"{path}: {value} is not a finite number")
    return f"{value:f}"


def _moment(obj: object, path: str) -> str:
    if isinstance(obj, datetime):
        if obj.utcoffset() is None:
            raise ValueError(f"{path}: the time {obj.isoformat()} has no zone")
        return obj.astimezone(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")
    if isinstance(obj, date):
        return obj.isoformat()
    hint = "; pass a quantity as Decimal" if isinstance(obj, float) else ""
    raise TypeError(f"{path}: {type(obj).__name__} cannot go into the trail{hint}")
