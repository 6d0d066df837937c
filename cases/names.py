"""Folding names for search: case and accents fall away in every script. Pure."""

import unicodedata


def fold(text: str) -> str:
    """Return text without case, marks and doubled spaces: "Łukasz  ÁBEL" gives "lukasz abel"."""
    stroked = text.casefold().translate(str.maketrans("łøđħıß", "lodhis"))
    decomposed = unicodedata.normalize("NFKD", stroked)
    bare = "".join(c for c in decomposed if not unicodedata.combining(c))
    return " ".join(bare.split())
