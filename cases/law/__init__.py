"""Rules of law as data: one TOML file a jurisdiction. Pure: no Django, no database.

Every rule keeps its citation, where it was read, and how well: found, old, or from memory. What
is unknown is a state of its own and never means that there is no rule.
"""

import json
from collections.abc import Mapping
from functools import cache, lru_cache
from pathlib import Path

from cases.law.base import Mark, Rule, State
from cases.law.kept import KeptRulesError, from_text
from cases.law.offers import Offer, offers
from cases.law.reading import RuleFileError, parse
from cases.law.scales import UNITS, TighteningRefused
from cases.law.shape import DocumentRule, Jurisdiction, PaperDue, not_asking
from cases.law.tightening import tighten, tighten_stored
from cases.law.words import ITEMS, PAPERS, item_words, paper_words

FOLDER = Path(__file__).parent.parent / "jurisdictions"
CHECK_LOCALLY = "Check with the local authority: this is not legal advice."


class JurisdictionUnknown(Exception):
    """No file for this code."""


def codes() -> list[str]:
    """Return the codes of all jurisdictions that have a file."""
    return sorted(path.stem for path in FOLDER.glob("*.toml"))


@cache
def jurisdiction(code: str) -> Jurisdiction:
    """Load one jurisdiction.

    Raises JurisdictionUnknown if there is no such file, RuleFileError if the file is wrong.
    """
    if code not in codes():
        raise JurisdictionUnknown(f"No rules for “{code}”. There are: {', '.join(codes())}.")
    return parse((FOLDER / f"{code}.toml").read_text(encoding="utf-8"), f"{code}.toml")


def tightened(code: str, added: Mapping[str, object]) -> Jurisdiction:
    """Return the rules of a jurisdiction with what a house adds ({path: value}), kept in memory.

    What was stored and the law now exceeds is left out. Raises what `jurisdiction` and
    `tighten_stored` raise.
    """
    return _stored(code, json.dumps(added, sort_keys=True))[0] if added else jurisdiction(code)


def overtaken(code: str, added: Mapping[str, object]) -> frozenset[str]:
    """Return the paths of what a house adds where the law by now asks more itself."""
    return _stored(code, json.dumps(added, sort_keys=True))[1] if added else frozenset()


@lru_cache(maxsize=64)
def _stored(code: str, added: str) -> tuple[Jurisdiction, frozenset[str]]:
    return tighten_stored(jurisdiction(code), json.loads(added))


@lru_cache(maxsize=64)
def kept(text: str, digest: str) -> Jurisdiction:
    """Return rules that were kept as text; raises KeptRulesError where it is not the text kept."""
    return from_text(text, digest)


__all__ = [
    "CHECK_LOCALLY",
    "ITEMS",
    "PAPERS",
    "UNITS",
    "DocumentRule",
    "Jurisdiction",
    "JurisdictionUnknown",
    "KeptRulesError",
    "Mark",
    "Offer",
    "PaperDue",
    "Rule",
    "RuleFileError",
    "State",
    "TighteningRefused",
    "codes",
    "item_words",
    "jurisdiction",
    "kept",
    "not_asking",
    "offers",
    "overtaken",
    "paper_words",
    "tighten",
    "tightened",
]
