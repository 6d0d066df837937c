"""`take`: the one way to take a step.

In one transaction it locks the case, checks the stage, asks every gate, writes the step's rows,
appends the entry and moves the stage. A refusal leaves every row as it was; the attempt itself
is then recorded in the trail, in a transaction of its own.
"""

from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from cases import judged
from cases.effects import EFFECTS
from cases.errors import ActRefused, StepRefused, by_gates
from cases.facts import FACTS, Facts
from cases.gates import REFUSED, Situation, ask_all
from cases.models import Case
from cases.moments import MINUTE, Moment, moments_before, settle_minute, stands_on
from cases.steps import STAGES, STEPS, Step
from chain_of_custody import trail
from chain_of_custody.models import CustodyEntry
from crematory import clock
from crematory.models import StaffMember
from crematory.signatures import Signature


@dataclass(frozen=True)
class Attempt:
    """Who tries which step."""

    step: Step
    case: Case
    facts: Facts
    signed_by: Signature
    witness: Signature | None
    token: str

    @property
    def is_witnessed(self) -> bool:
        """True where a second person signs: always at this step, or for what is stated."""
        return self.step.witnessed or self.facts.needs_witness

    def happened_at(self, case: Case, now: datetime, stands: list[Moment]) -> datetime:
        """When it happened: as stated (a typed minute settled in the case's order), or now."""
        stated = self.facts.happened_at
        if stated is None or timezone.is_naive(stated):
            return stated or now
        known = moments_before(case, self.facts, stated + MINUTE)
        return settle_minute(stated, [*known, *(moment.at for moment in stands)])


def take(
    verb: str,
    case: Case,
    facts: Facts,
    *,
    signed_by: Signature,
    witness: Signature | None = None,
    token: str,
) -> CustodyEntry:
    """Take the step, or raise StepRefused and record the refused attempt.

    A repeated `token` of the same case is answered with the first entry.
    """
    if not isinstance(facts, FACTS[verb]):
        raise TypeError(f"{verb} takes {FACTS[verb].__name__}, not {type(facts).__name__}.")
    attempt = Attempt(STEPS[verb], case, facts, signed_by, witness, token)
    try:
        with transaction.atomic():
            return _take(attempt)
    except StepRefused as refusal:
        record_refusal(case, verb, refusal, signed_by.member)
        raise


def _take(attempt: Attempt) -> CustodyEntry:
    case = lock(attempt.case)
    now = clock.now()  # under the lock: what somebody did while this waited came before
    if earlier := repeated(case, attempt.step.verb, attempt.token):
        return earlier
    _check_stage(case, attempt.step)
    _check_signatures(case, attempt)
    stands = stands_on(case, attempt.step, attempt.facts)
    at = attempt.happened_at(case, now, stands)
    check_time(case, at, now, stands)
    verdicts = ask_all(
        Situation(
            case=case,
            step=attempt.step,
            now=at,
            facts=attempt.facts,
            signer=attempt.signed_by.member,
            witness=attempt.witness.member if attempt.witness else None,
        )
    )
    if any(verdict.state == REFUSED for verdict in verdicts):
        raise by_gates(verdicts)
    return _write(case, attempt, at, now)


def lock(case: Case) -> Case:
    """Return the case as it is now, locked until the transaction ends.

    The facility's log is locked with it, so that what a gate saw free (a bay, a retort, a disc
    number) is still free when the rows are written.
    """
    locked = lock_case(case)
    trail.lock_log(locked.facility)
    # Under the lock: the rules of the house change only with an entry of the same log.
    locked.facility.refresh_from_db(fields=["added_rules"])
    return locked


def lock_case(case: Case) -> Case:
    """Return the case as it is now, its row locked but for its key.

    An entry names the case by its key: with the key locked too, a refusal that holds the log and
    a step that holds the case would wait for each other on PostgreSQL.
    """
    rows = Case.objects.select_for_update(of=("self",), no_key=True)
    return rows.select_related("facility").get(pk=case.pk)


def repeated(case: Case, act: str, token: str) -> CustodyEntry | None:
    """Return the entry that this token made before, or None."""
    entry = CustodyEntry.objects.filter(case=case, token=token).first()
    if entry and entry.act != act:
        raise StepRefused("token", "This form was already used for another act. Reload the page.")
    return entry


def _check_stage(case: Case, step: Step) -> None:
    if case.stage in step.stages_from:
        return
    done = CustodyEntry.objects.filter(case=case, stage_to=step.stage_to).first()
    if done and done.signed_by:
        at = timezone.localtime(done.happened_at, case.facility.zone)
        raise StepRefused(
            "stage",
            f"Already done: {step.label.lower()}, by {done.signed_by.printed_name} "
            f"at {at:%H:%M %Z} on {at.day} {at:%b %Y}. Nothing was changed.",
        )
    raise StepRefused(
        "stage",
        f"“{step.label}” cannot follow: this case is {STAGES[case.stage]}. Nothing was changed.",
    )


def _check_signatures(case: Case, attempt: Attempt) -> None:
    step, signer, witness = attempt.step, attempt.signed_by.member, attempt.witness
    check_member(case, signer)
    if not signer.roles & step.signers:
        needed = " or ".join(sorted(role.label for role in step.signers))
        raise StepRefused("role", f"“{step.label}” is signed by {needed}.")
    if attempt.is_witnessed:
        check_witness(case, signer, witness)


def check_witness(case: Case, signer: StaffMember, witness: Signature | None) -> None:
    """Refuse a missing witness, one who may not sign here, and one who is the signer."""
    if witness is None:
        raise StepRefused("witness_missing", "A second person must sign as witness.")
    check_member(case, witness.member)
    if witness.member == signer:
        raise StepRefused("witness_same", "The witness must be another person than the signer.")


def check_member(case: Case, member: StaffMember) -> None:
    """Refuse a member of another facility or one who is no longer active."""
    member.refresh_from_db()
    if member.facility_id != case.facility_id or not member.is_active:
        raise StepRefused("member", "This member cannot sign here.")


def check_time(case: Case, happened_at: datetime, now: datetime, stands: list[Moment]) -> None:
    """Refuse a time in the future, before the death, or before what the step stands on."""
    if timezone.is_naive(happened_at):
        raise StepRefused("time_zone", "The time has no zone.")
    if happened_at > now:
        raise StepRefused("time_future", "The time lies in the future. Correct it.")
    if happened_at < case.died_at:
        raise StepRefused("time_death", "The time lies before the death. Correct one of them.")
    last = max(stands, key=lambda moment: moment.at, default=None)
    if last and happened_at < last.at:
        at = timezone.localtime(last.at, case.facility.zone)
        raise StepRefused(
            "time_order",
            f"The time lies before {last.what} ({at:%a} {at.day} {at:%b %Y %H:%M %Z}).",
        )


def _write(case: Case, attempt: Attempt, at: datetime, now: datetime) -> CustodyEntry:
    step = attempt.step
    moved = EFFECTS[step.verb](case, attempt.facts, at)
    is_judged = step.verb in judged.JUDGED
    version = judged.keep(case, now) if is_judged else case.judged_under
    named = judged.judged_facts(case) if is_judged else {}
    entry = trail.append(
        trail.Act(
            facility=case.facility,
            name=step.verb,
            happened_at=at,
            recorded_at=now,
            case=case,
            stage_from=case.stage,
            stage_to=step.stage_to,
            signed_by=attempt.signed_by.member,
            signature="pin",
            witness=attempt.witness.member if attempt.is_witnessed and attempt.witness else None,
            place_from=moved.origin,
            place_to=moved.goal,
            token=attempt.token,
            facts=attempt.facts.trail() | named | moved.found,
        )
    )
    if moved.after:
        moved.after(entry)
    Case.objects.filter(pk=case.pk).update(
        stage=step.stage_to, stage_entry=entry, stage_since=at, judged_under=version
    )
    return entry


def record_refusal(
    case: Case, act: str, refusal: ActRefused, member: StaffMember | None
) -> CustodyEntry:
    """Record an attempt on this case that was refused."""
    return trail.record_refusal(case.facility, act, refusal.codes, member, case=case)
