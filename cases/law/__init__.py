"""Rules of law as data: one TOML file a jurisdiction. Pure: no database.

Every rule keeps its citation and whether its text was found, is old, or comes from memory.
"""

import tomllib
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path

FOLDER = Path(__file__).parent / "jurisdictions"
CHECK_LOCALLY = "Check with the local authority: this is not legal advice."


class JurisdictionUnknown(Exception):
    """No file for this code."""


@dataclass(frozen=True)
class DocumentRule:
    """A paper that must be on file before authorization."""

    kind: str
    citation: str
    mark: str


@dataclass(frozen=True)
class Jurisdiction:
    """The rules of one jurisdiction, as read on `text_date`."""

    code: str
    name: str
    text_date: date
    wait_hours: int
    wait_citation: str
    clearance_rule: str
    clearance_citation: str
    documents: tuple[DocumentRule, ...]
    radioactive_citation: str


def codes() -> list[str]:
    """Return the codes of all jurisdictions that have a file."""
    return sorted(path.stem for path in FOLDER.glob("*.toml"))


@cache
def jurisdiction(code: str) -> Jurisdiction:
    """Load one jurisdiction; raises JurisdictionUnknown if there is no such file."""
    if code not in codes():
        raise JurisdictionUnknown(f"No rules for “{code}”. There are: {', '.join(codes())}.")
    data = tomllib.loads((FOLDER / f"{code}.toml").read_text(encoding="utf-8"))
    return Jurisdiction(
        code=data["code"],
        name=data["name"],
        text_date=data["text_date"],
        wait_hours=data["wait"]["hours"],
        wait_citation=data["wait"]["citation"],
        clearance_rule=data["medical_clearance"]["rule"],
        clearance_citation=data["medical_clearance"]["citation"],
        documents=tuple(
            DocumentRule(d["kind"], d["citation"], d["mark"]) for d in data["document"]
        ),
        radioactive_citation=data["radioactive"]["citation"],
    )
