"""A manager settles what a run's record shows; the path goes on only then."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import DatabaseError, transaction

from cases.errors import StepRefused
from cases.models import Case
from cases.taking import take
from chain_of_custody import trail
from chain_of_custody.models import CustodyEntry
from chain_of_custody.verify import verify
from crematory import clock
from crematory.models import StaffMember
from retort_log import settling
from retort_log.corrections import RightValues, correct_reading
from retort_log.models import FindingSettled, PermitToOperate, Reading, Run
from retort_log.settling import SettlingRefused, settle
from tests import cast

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)
MINIMUM = {"value": "1600", "unit": "degF", "citation": "Permit, condition 4", "mark": "house"}
REASON = "Thermocouple checked, door was open for the repositioning."


@pytest.fixture
def dipped(case: Case) -> Case:
    """A person recovered from a run whose secondary chamber fell below its minimum once."""
    terms = {"code": "p", "title": "Permit", "secondary_minimum": MINIMUM}
    PermitToOperate.objects.filter(facility=case.facility).update(terms=terms)
    cast.bring(case, "in_retort")
    at = case.run.charged_at + 20 * MINUTE
    with clock.pinned(at):
        cast.read(case.run.retort, (Decimal("650"), Decimal("850")))
    return cast.bring(case, "recovered")


def found(case: Case) -> list[settling.Found]:
    run = Run.objects.get(case=case)
    return settling.open_of(run, case.stage_since)


def test_what_was_found_stops_the_path_until_a_manager_answers(
    dipped: Case, manager: StaffMember
) -> None:
    with pytest.raises(StepRefused) as refused:
        cast.do("process", dipped)
    assert "findings_settled" in refused.value.codes
    codes = [one.finding.code for one in found(dipped)]
    assert codes == ["below_minimum"]
    for one in found(dipped):
        settle(dipped.run, one.digest, cast.signature(manager), REASON)
    assert found(dipped) == []
    cast.do("process", dipped)
    entry = CustodyEntry.objects.get(act="settle_finding")
    facts = trail.facts_of(entry)
    assert (entry.case, entry.signed_by, facts["reason"]) == (dipped, manager, REASON)
    assert "1,600" in facts["words"]
    assert verify(dipped.facility).holds


def test_a_correction_that_changes_what_is_found_asks_anew(
    dipped: Case, manager: StaffMember
) -> None:
    signed = cast.signature(manager)
    settle(dipped.run, found(dipped)[0].digest, signed, REASON)
    reading = Reading.objects.get(secondary_c=Decimal("850"))
    with clock.pinned(dipped.stage_since):
        worse = RightValues(Decimal("650"), Decimal("820"), is_confirmed=True)
        correct_reading(reading, signed, "read again from the chart", worse)
    assert [one.finding.code for one in found(dipped)] == ["below_minimum"]
    with clock.pinned(dipped.stage_since):
        right = RightValues(Decimal("650"), Decimal("880"), is_confirmed=True)
        correct_reading(reading, signed, "typed wrongly", right)
    assert found(dipped) == []


def test_a_run_is_judged_for_ever_by_the_permit_of_its_charge(dipped: Case) -> None:
    before = [one.finding.words for one in found(dipped)]
    PermitToOperate.objects.filter(facility=dipped.facility).update(terms={})
    assert [one.finding.words for one in found(dipped)] == before
    with pytest.raises(DatabaseError), transaction.atomic():
        Run.objects.filter(case=dipped).update(permit_terms={})


@pytest.mark.parametrize(
    ("key", "reason", "digest", "code"),
    [
        (cast.OPERATOR, REASON, None, "role"),
        (cast.MANAGER, "  ", None, "reason_missing"),
        (cast.MANAGER, "x" * 1001, None, "reason_long"),
        (cast.MANAGER, REASON, "0" * 64, "finding_changed"),
    ],
)
def test_refused_and_recorded(
    dipped: Case, key: str, reason: str, digest: str | None, code: str
) -> None:
    signed = cast.signature(cast.member(dipped.facility, key))
    with pytest.raises(SettlingRefused) as refused:
        settle(dipped.run, digest or found(dipped)[0].digest, signed, reason)
    assert refused.value.code == code
    assert not FindingSettled.objects.exists()
    entry = CustodyEntry.objects.get(act="settle_finding")
    assert (entry.outcome, entry.case) == ("refused", dipped)


def test_a_second_sending_is_one_answer_and_another_one_is_refused(
    dipped: Case, manager: StaffMember
) -> None:
    digest, signed = found(dipped)[0].digest, cast.signature(manager)
    first = settle(dipped.run, digest, signed, REASON)
    assert settle(dipped.run, digest, signed, REASON) == first
    with pytest.raises(SettlingRefused, match="meanwhile"):
        settle(dipped.run, digest, signed, "Another reason.")


def test_a_gap_is_never_filled_but_a_manager_may_answer_for_it(
    case: Case, manager: StaffMember
) -> None:
    cast.bring(case, "in_retort")
    at = case.run.charged_at
    for minutes in (10, 40):
        with clock.pinned(at + minutes * MINUTE):
            cast.read(case.run.retort, cast.HOT)
    with clock.pinned(at + 45 * MINUTE):
        with pytest.raises(StepRefused) as refused:
            _burner_off(case)
        assert refused.value.codes == ["readings_cover"]
        (one,) = settling.open_of(case.run, clock.now())
        assert (one.finding.code, one.is_growing) == ("gap_in_record", False)
        settle(case.run, one.digest, cast.signature(manager), "Logger lost power.")
        _burner_off(case)
    case.refresh_from_db()
    assert case.stage == "cooling"
    run = Run.objects.get(case=case)
    assert settling.open_of(run, clock.now()) == []  # the answer given then still stands


def test_what_still_goes_on_is_not_settled_yet(case: Case, manager: StaffMember) -> None:
    cast.bring(case, "in_retort")
    with clock.pinned(case.run.charged_at + 40 * MINUTE):  # no reading since the charge
        open_now = settling.open_of(case.run, clock.now())
        assert open_now
        assert all(one.is_growing for one in open_now)
        with pytest.raises(SettlingRefused) as refused:
            settle(case.run, open_now[0].digest, cast.signature(manager), REASON)
        assert refused.value.code == "finding_growing"


def _burner_off(case: Case) -> None:
    facts = cast.facts_for("burner_off", case)
    take("burner_off", case, facts, **cast.signers("burner_off", case), token=cast.token())
