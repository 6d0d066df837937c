"""A manager's answers to what was found on a run's record.

An answer is to exactly what was found: `digest` is of the finding's words and figures. Once
readings are corrected and something else is found, it asks for an answer of its own.
"""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from chain_of_custody import trail
from chain_of_custody.canonical import canonical_bytes
from crematory import clock
from crematory.models import Role
from crematory.signatures import Signature
from retort_log.finding import Finding
from retort_log.models import FindingSettled, Run
from retort_log.refusals import MachineRefused, refusals_recorded
from retort_log.run_records import findings_of

REASON_LENGTH = 1000
CLOSED_GAP = "gap_in_record"


class SettlingRefused(MachineRefused):
    """It cannot be settled."""


@dataclass(frozen=True)
class Found:
    """A finding, its digest, and a manager's answer where there is one."""

    finding: Finding
    digest: str
    settled: FindingSettled | None
    is_growing: bool = False  # it would read otherwise in a minute: a person still burns inside

    @property
    def is_open(self) -> bool:
        """True where a manager has still to answer."""
        return self.finding.needs_settling and self.settled is None


def digest_of(finding: Finding) -> str:
    """Return the SHA-256 of what a finding says: its code, words, and the times it is of."""
    told = {
        "code": finding.code,
        "words": finding.words,
        "intervals": [[start, end] for start, end in finding.intervals],
    }
    return hashlib.sha256(canonical_bytes(told)).hexdigest()


def found_of(run: Run, now: datetime) -> list[Found]:
    """Return all that was found on a run up to now, with the answers."""
    answers = {row.digest: row for row in _answers(run)}
    return [_found(run, finding, answers, now) for finding in findings_of(run, now)]


def open_of(run: Run, now: datetime) -> list[Found]:
    """Return what a manager has still to settle."""
    return [found for found in found_of(run, now) if found.is_open]


def settle(run: Run, digest: str, signed_by: Signature, reason: str) -> FindingSettled:
    """Record a manager's answer to one finding. Raises SettlingRefused.

    A second sending of the same answer is answered with the first.
    """
    member = signed_by.member
    with refusals_recorded(run.retort.facility, "settle_finding", member, case=run.case):
        return _settle(run, digest, signed_by, reason.strip())


def _settle(run: Run, digest: str, signed_by: Signature, reason: str) -> FindingSettled:
    trail.lock_log(run.retort.facility)
    now = clock.now()
    member = signed_by.member
    if member.facility_id != run.retort.facility_id or Role.MANAGER not in member.roles:
        raise SettlingRefused("role", "A manager of this facility settles what was found.")
    if not reason:
        raise SettlingRefused("reason_missing", "Say what you found out, and what follows from it.")
    if len(reason) > REASON_LENGTH:
        raise SettlingRefused("reason_long", f"Say it in at most {REASON_LENGTH} characters.")
    there = {found.digest: found for found in found_of(run, now)}
    found = there.get(digest)
    if found is None:
        raise SettlingRefused(
            "finding_changed", "This is no longer what the record shows. Open the page again."
        )
    if found.is_growing:
        raise SettlingRefused(
            "finding_growing",
            "This still goes on while the person burns. Settle it after burner off; a gap, once "
            "a reading has closed it.",
        )
    if found.settled:
        if (found.settled.settled_by_id, found.settled.reason) == (member.pk, reason):
            return found.settled
        raise SettlingRefused("finding_settled", "Another manager settled this meanwhile.")
    row = FindingSettled.objects.create(
        run=run,
        code=found.finding.code,
        digest=digest,
        words=found.finding.words,
        reason=reason,
        settled_at=now,
        settled_by=member,
    )
    _append(row, signed_by)
    return row


def _found(run: Run, finding: Finding, answers: dict[str, FindingSettled], now: datetime) -> Found:
    digest = digest_of(finding)
    return Found(finding, digest, answers.get(digest), _is_growing(run, finding, now))


def _is_growing(run: Run, finding: Finding, now: datetime) -> bool:
    """While a person burns inside only a gap that has closed says tomorrow what it says now."""
    if run.burner_off_at or run.ended_at:
        return False
    return finding.code != CLOSED_GAP or finding.until is None or finding.until >= now


def _answers(run: Run) -> Iterable[FindingSettled]:
    return FindingSettled.objects.filter(run=run).select_related("settled_by")


def _append(row: FindingSettled, signed_by: Signature) -> None:
    run = row.run
    trail.append(
        trail.Act(
            facility=run.retort.facility,
            name="settle_finding",
            happened_at=row.settled_at,
            recorded_at=row.settled_at,
            case=run.case,
            signed_by=signed_by.member,
            signature="pin",
            facts={
                "retort": run.retort.place.code,
                "finding": row.code,
                "finding_sha256": row.digest,
                "words": row.words,
                "reason": trail.Sealed(row.reason),
            },
        )
    )
