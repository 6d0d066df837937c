"""What the law of a case says of devices: what is asked, whose statement, what may stay."""

from collections.abc import Set as AbstractSet

from cases.law import Jurisdiction, paper_words
from cases.law.words import BY
from cases.models import STAYS_BY_LAW, DeviceAnswer

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


def leadless_may_stay(law: Jurisdiction) -> bool:
    """Whether the law names leadless pacemakers apart and lets them stay."""
    return law.devices.is_enforced and bool(law.devices.leadless_may_stay)


def asked(law: Jurisdiction) -> list[DeviceAnswer.Device]:
    """Return the devices that are asked about; one is asked apart only where a law tells it apart.

    Elsewhere a leadless pacemaker is one of the pacemakers.
    """
    apart = leadless_may_stay(law)
    return [device for device in DeviceAnswer.Device if apart or device not in STAYS_BY_LAW]


def may_end_so(law: Jurisdiction, answer: DeviceAnswer) -> bool:
    """Whether the outcome counts under this law: what stays by a law needs that law."""
    if answer.outcome != "stays" or answer.device not in STAYS_BY_LAW:
        return True
    return leadless_may_stay(law)


def what_may_stay(law: Jurisdiction) -> str:
    """Return in words what may stay in the body."""
    more = "leadless pacemakers, " if leadless_may_stay(law) else ""
    return f"{more}silicone and prostheses"


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
    if rule.leadless_may_stay:
        lines.append("A leadless pacemaker need not be removed; it is asked about apart.")
    if rule.removed_by:
        lines.append(f"Removed by: {' or '.join(BY[by] for by in rule.removed_by)}.")
    if rule.removed_before:
        lines.append("Removed before the person is brought here.")
    return lines
