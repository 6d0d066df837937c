"""What the law of a case says of devices: whose statement it asks for, and what it bars. Pure."""

from collections.abc import Set as AbstractSet

from cases.law import Jurisdiction, paper_words
from cases.law.words import BY

# Which papers hold the statement of whom. The agent's stands in the signed authorization itself.
STATEMENT_PAPERS: dict[str, tuple[str, ...]] = {
    "physician_coroner_or_medical_examiner": ("battery_statement",),
    "practitioner": ("risk_advice",),
    "examining_practitioner": ("medical_certificate",),
    "coroner": ("medical_clearance", "medical_certificate"),
    "agent": ("cremation_authorization", "application"),
}
BARS = frozenset({"none_in_place", "actual_knowledge", "not_knowingly"})


def statement_missing(law: Jurisdiction, on_file: AbstractSet[str]) -> str:
    """Return whose statement on devices the law asks for and nobody filed, or "".

    One paper of one of those who may state it is enough.
    """
    rule = law.devices
    if not rule.is_enforced or not rule.asserted_by:
        return ""
    papers = [paper for by in rule.asserted_by for paper in STATEMENT_PAPERS.get(by, ())]
    if not papers or not on_file.isdisjoint(papers):
        return ""
    who = " or ".join(BY[by] for by in rule.asserted_by)
    return f"The law asks that the {who} states it: {' or '.join(map(paper_words, papers))}."


def told(law: Jurisdiction) -> list[str]:
    """Return in plain words what the law says of devices here; empty where nothing was read."""
    rule = law.devices
    if not rule.is_enforced:
        return []
    lines = []
    if rule.rule in BARS:
        known = {"none_in_place": "in place", "actual_knowledge": "known to be in place"}
        what = " or ".join(rule.devices).replace("_", " ") or "implant"
        held = known.get(rule.rule or "", "knowingly in place")
        lines.append(f"No cremation with one {held}: {what}.")
    if rule.asserted_by:
        lines.append(f"Stated by the {' or '.join(BY[by] for by in rule.asserted_by)}.")
    if rule.removed_by:
        lines.append(f"Removed by: {' or '.join(BY[by] for by in rule.removed_by)}.")
    if rule.removed_before:
        lines.append("Removed before the person is brought here.")
    return lines
