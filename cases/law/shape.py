"""One jurisdiction: its rules, table by table, and what gates read of them."""

import hashlib
import json
from dataclasses import dataclass, fields, is_dataclass
from datetime import date
from functools import cached_property
from typing import Any

import rfc8785

from cases.authority import Rank
from cases.law import after_rules as after
from cases.law import rules as before
from cases.law.base import Mark, Rule, State

AUTHORIZATION = "cremation_authorization"
# How a rule was read that is held to and is to be confirmed.
CAUTION = {
    Mark.FOUND_OLD: "older text",
    Mark.FOUND_BILL: "text of a bill",
    Mark.SECONDARY: "from a summary",
    Mark.PRIOR: "read once",
}
# Said where a citation stands alone; the caution of gates and pages says it in its own words.
ASK_LOCALLY = "Ask the local authority."


def not_asking(citation: str) -> str:
    """Return a citation without the words that a caution beside it says again."""
    return citation.replace(f". {ASK_LOCALLY}", "").rstrip(".")


# Papers that do for another one, whatever the text lists beside it.
STEPS_WITH_PAPERS = ("receive", "authorize", "charge")
INCLUDED = {"death_record": ("final_death_certificate",)}
# Either is the paper by which somebody with the right asks for the cremation.
REQUESTS = frozenset({AUTHORIZATION, "application"})


@dataclass(frozen=True)
class DocumentRule:
    """A paper that must be on file before authorization."""

    kind: str
    citation: str
    mark: str


@dataclass(frozen=True)
class PaperDue:
    """A paper due before a step; one of `instead` does as well.

    `condition`: the question whose yes the law asks it for; empty where it is asked always.
    """

    kind: str
    instead: tuple[str, ...]
    citation: str
    condition: str = ""

    @property
    def is_conditional(self) -> bool:
        """Whether the law asks for it in some cases only."""
        return bool(self.condition)


def _is_request(paper: before.Paper) -> bool:
    return bool(REQUESTS.intersection({paper.kind, *paper.alternatives}))


def _before(paper: before.Paper) -> str | None:
    """Return the step before which a paper is asked here."""
    return "authorize" if paper.before == "charge" and _is_request(paper) else paper.before


@dataclass(frozen=True, kw_only=True)
class Jurisdiction:
    """The rules of one jurisdiction, as read on `text_date`, tightened by the facility or not.

    `tightened` lists what the facility asks beyond the law: (path, value), sorted.
    """

    code: str
    name: str
    text_date: date
    tightened: tuple[tuple[str, str], ...] = ()
    wait: before.Wait
    medical_clearance: before.Clearance
    authority: before.Authority
    papers: tuple[before.Paper, ...]
    holdings: tuple[before.Holding, ...]
    holding_limits: tuple[before.HoldingLimit, ...]
    holding_area: before.HoldingArea
    identification: before.Identification
    disc: before.Disc
    container: before.ContainerRule
    devices: before.Devices
    radioactive: before.Radioactive
    one_body: before.OneBody
    receipt_delivery: after.Receipt
    receipt_release: after.Receipt
    record: after.Record
    form: after.Form
    certificate: after.Certificate
    retentions: tuple[after.Retention, ...]
    unclaimed: tuple[after.Unclaimed, ...]
    particle: after.Particle
    release: after.Release
    secondary_chambers: tuple[after.SecondaryChamber, ...]
    dispute: after.Dispute
    presence: after.Presence
    notices: tuple[after.Notice, ...]
    signatures: after.Signatures
    revocation: after.Revocation
    without_form: after.WithoutForm
    recovery: after.Recovery
    packaging: after.Packaging
    belongings: after.Belongings
    metals: after.Belongings

    @property
    def wait_hours(self) -> int | None:
        """Hours of wait that a gate holds to; None while they are unknown, never zero."""
        return self.wait.hours if self.wait.is_enforced else None

    @property
    def wait_citation(self) -> str:
        """Where the waiting period stands, or that it is unknown here."""
        return self.cited("hours", self.wait)

    @property
    def clearance_rule(self) -> str:
        """The rule of clearance; while unknown, whether the death is reportable is asked."""
        rule = self.medical_clearance
        return rule.rule if rule.is_enforced and rule.rule else "reportable"

    @property
    def clearance_citation(self) -> str:
        """Where the clearance stands, or that it is unknown here."""
        return self.cited("rule of clearance", self.medical_clearance)

    @cached_property
    def documents(self) -> tuple[DocumentRule, ...]:
        """Papers due before the cremation, asked at its authorization.

        A signed request is asked in any case, also where no text on it was read.
        """
        due = [p for p in self.papers if p.is_enforced and p.before != "after" and not p.condition]
        found = tuple(DocumentRule(p.kind, self.cited("paper", p), p.mark) for p in due)
        if self._names_a_request:
            return found
        return (self._request, *found)

    @property
    def _names_a_request(self) -> bool:
        # A paper that the house adds takes nothing away: only the law's own request counts here.
        return any(
            _is_request(p)
            for p in self.papers
            if p.state_by_law != State.UNKNOWN and p.before != "after" and not p.condition
        )

    @property
    def _request(self) -> DocumentRule:
        asked = f"No text on the authorization was read for {self.name}; one is asked always."
        return DocumentRule(AUTHORIZATION, asked, Mark.UNKNOWN)

    def papers_before(self, step: str) -> tuple["PaperDue", ...]:
        """Return the papers that must be on file before "receive", "authorize" or "charge".

        What an earlier step asks is asked again. A signed request is asked at the authorization
        at the latest, for it is what is authorized.
        """
        due = STEPS_WITH_PAPERS[: STEPS_WITH_PAPERS.index(step) + 1]
        found = [self._due(p) for p in self.papers if p.is_enforced and _before(p) in due]
        if step == "receive" or self._names_a_request:
            return tuple(found)
        return (PaperDue(AUTHORIZATION, (), self._request.citation), *found)

    def papers_after(self) -> tuple["PaperDue", ...]:
        """Return the papers that are due after the cremation."""
        return tuple(self._due(p) for p in self.papers if p.is_enforced and p.before == "after")

    def _due(self, paper: before.Paper) -> "PaperDue":
        also = (*paper.alternatives, *INCLUDED.get(paper.kind, ()))
        cited = self.cited("paper", paper)
        return PaperDue(paper.kind, also, cited, paper.condition or "")

    @property
    def ranks(self) -> tuple[Rank, ...]:
        """Return the order of those who may authorize, highest first; empty while unknown."""
        return self.authority.ranks if self.authority.is_enforced else ()

    @property
    def radioactive_citation(self) -> str:
        """Where the rule on radioactive implants stands; else that on implants in general."""
        for rule in (self.radioactive, self.devices):
            if rule.is_enforced:
                return self.cited("rule on implants", rule)
        return self.cited("rule on radioactive implants", self.radioactive)

    @property
    def devices_citation(self) -> str:
        """Where the rule on implants stands, or that it is unknown here."""
        return self.cited("rule on implants", self.devices)

    def cited(self, what: str, rule: Rule) -> str:
        """Return the citation with its caution, or that this is unknown here."""
        if rule.state == State.ENFORCED:
            return rule.citation
        if rule.state == State.CONFIRM:
            return f"{rule.citation} ({CAUTION[rule.mark]}; confirm before use)"
        seen = rule.citation.rstrip(".")
        said = f" ({seen}; {rule.mark.value})" if seen else ""
        return f"{self.name}: {what} unknown here{said}. {ASK_LOCALLY}"

    def retention(self, what: str) -> after.Retention | None:
        """Return how long `what` is kept, or None where nothing was read of it."""
        return next((r for r in self.retentions if r.what == what), None)

    @cached_property
    def digest(self) -> str:
        """SHA-256 of the canonical JSON (RFC 8785) of all rules, as 64 hex digits."""
        return hashlib.sha256(self.canonical().encode()).hexdigest()

    def canonical(self) -> str:
        """Return the canonical JSON of which `digest` is the SHA-256; a case keeps it."""
        return rfc8785.dumps(_plain(self)).decode()

    def to_json(self) -> str:
        """Return the rules as JSON, for a case that keeps those it was judged by."""
        return json.dumps(_plain(self), ensure_ascii=False, sort_keys=True)


def _plain(value: Any) -> Any:
    """Return the value in types of JSON; None and empty lists are left out."""
    if is_dataclass(value):
        pairs = ((f.name, _plain(getattr(value, f.name))) for f in fields(value))
        return {name: v for name, v in pairs if v is not None and v != []}
    if isinstance(value, frozenset):
        return sorted(value)
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    return value.isoformat() if isinstance(value, date) else value


@dataclass(frozen=True)
class Table:
    """A table of the files: its name there, the attribute here, and what it holds.

    `is_core`: every file has it. `unique` None: it stands once; else it is a list of tables of
    which no two have the same value under that key ("" for a list that has no such key).
    """

    name: str
    attribute: str
    rule: type[Rule]
    is_core: bool
    unique: str | None


TABLES: tuple[Table, ...] = (
    Table("wait", "wait", before.Wait, True, None),
    Table("medical_clearance", "medical_clearance", before.Clearance, True, None),
    Table("authority", "authority", before.Authority, True, None),
    Table("document", "papers", before.Paper, True, "kind"),
    Table("holding", "holdings", before.Holding, True, ""),
    Table("holding_limit", "holding_limits", before.HoldingLimit, False, ""),
    Table("holding_area", "holding_area", before.HoldingArea, False, None),
    Table("identification", "identification", before.Identification, True, None),
    Table("disc", "disc", before.Disc, True, None),
    Table("container", "container", before.ContainerRule, True, None),
    Table("devices", "devices", before.Devices, True, None),
    Table("radioactive", "radioactive", before.Radioactive, True, None),
    Table("one_body", "one_body", before.OneBody, True, None),
    Table("receipt_delivery", "receipt_delivery", after.Receipt, True, None),
    Table("receipt_release", "receipt_release", after.Receipt, True, None),
    Table("record", "record", after.Record, True, None),
    Table("form", "form", after.Form, True, None),
    Table("certificate", "certificate", after.Certificate, False, None),
    Table("retention", "retentions", after.Retention, True, "what"),
    Table("unclaimed", "unclaimed", after.Unclaimed, True, "then"),
    Table("particle", "particle", after.Particle, True, None),
    Table("release", "release", after.Release, True, None),
    Table("secondary_chamber", "secondary_chambers", after.SecondaryChamber, True, "applies"),
    Table("dispute", "dispute", after.Dispute, False, None),
    Table("presence", "presence", after.Presence, False, None),
    Table("notice", "notices", after.Notice, False, "of"),
    Table("signatures", "signatures", after.Signatures, False, None),
    Table("revocation", "revocation", after.Revocation, False, None),
    Table("without_form", "without_form", after.WithoutForm, False, None),
    Table("recovery", "recovery", after.Recovery, False, None),
    Table("packaging", "packaging", after.Packaging, False, None),
    Table("belongings", "belongings", after.Belongings, False, None),
    Table("metals", "metals", after.Belongings, False, None),
)
