"""Comparing names: case and accents fall away in every script. Pure."""

import unicodedata


def fold(text: str) -> str:
    """Return text without case, marks and doubled spaces: "Łukasz  ÁBEL" gives "lukasz abel"."""
    stroked = text.casefold().translate(str.maketrans("łøđħıß", "lodhis"))
    decomposed = unicodedata.normalize("NFKD", stroked)
    bare = "".join(c for c in decomposed if not unicodedata.combining(c))
    return " ".join(bare.split())


def is_same_name(one: str, other: str) -> bool:
    """Whether two writings are one name: "OLDMEADOW, Vera" is "Vera Oldmeadow", as on papers."""
    return _in_order(one) == _in_order(other)


def _in_order(name: str) -> str:
    family, comma, given = name.partition(",")
    is_turned = comma and family.strip() and given.strip() and "," not in given
    return fold(f"{given} {family}" if is_turned else name)
