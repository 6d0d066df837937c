"""The limit itself passes a gate; one step beyond it does not."""

from datetime import date, timedelta
from decimal import Decimal

import pytest

from cases.errors import StepRefused
from cases.models import Case
from cases.taking import take
from chain_of_custody.models import Place
from crematory import clock
from crematory.models import Facility, StaffMember
from retort_log.models import PermitToOperate
from tests import cast, raw
from tests.attempts import attempt, before, refusal
from tests.cases.pages import browser, url


def test_the_wait_ends_after_the_last_second(case: Case) -> None:
    before("charge", case)
    died = cast.time_of("charge", case) - timedelta(hours=24)
    raw.past_triggers("UPDATE cases_case SET died_at = %s WHERE id = %s", died, case.pk)
    assert attempt("charge", case).outcome == "done"


def test_a_certificate_holds_through_its_last_day(case: Case, operator: StaffMember) -> None:
    before("charge", case)
    today = cast.time_of("charge", case).astimezone(case.facility.zone).date()
    StaffMember.objects.filter(pk=operator.pk).update(
        certificate_expires_on=today - timedelta(days=1)
    )
    assert refusal("charge", case).codes == ["operator_certified"]
    StaffMember.objects.filter(pk=operator.pk).update(certificate_expires_on=today)
    assert attempt("charge", case).outcome == "done"


def test_a_certificates_last_day_is_the_facilitys(facility: Facility) -> None:
    """Charged at 20:30 in Denver, when it is the next day in UTC."""
    case = cast.make_case(facility, at=cast.START + timedelta(hours=9))
    before("charge", case)
    assert cast.time_of("charge", case).date() == date(2024, 3, 5)
    StaffMember.objects.update(certificate_expires_on=date(2024, 3, 4))
    assert attempt("charge", case).outcome == "done"


def test_a_missing_certificate_is_refused(case: Case, operator: StaffMember) -> None:
    before("charge", case)
    StaffMember.objects.filter(pk=operator.pk).update(certificate_number="")
    assert refusal("charge", case).codes == ["operator_certified"]


def test_an_old_reading_does_not_count(case: Case) -> None:
    before("charge", case)
    stated = cast.time_of("charge", case)
    with clock.pinned(stated + timedelta(minutes=15, seconds=1)):
        with pytest.raises(StepRefused) as caught:
            take(
                "charge",
                case,
                cast.facts_for("charge", case),
                **cast.signers("charge", case),
                token=cast.token(),
            )
        assert caught.value.codes == ["charging_temperature"]
        back = cast.facts_for("charge", case, happened_at=stated)
        take("charge", case, back, **cast.signers("charge", case), token=cast.token())


def test_the_run_keeps_the_temperature_of_the_chamber_that_opened_the_charge(
    case: Case, clerk: StaffMember
) -> None:
    """A permit may ask it of the primary chamber: that one is kept and told, not the other."""
    before("charge", case)
    limit = {"value": "1100", "unit": "degF", "citation": "Condition 4", "mark": "house"}
    PermitToOperate.objects.update(
        terms={"code": "own", "title": "Own", "charging": {"chamber": "primary", **limit}},
        charging_temperature_c=Decimal("593.33"),
    )
    assert attempt("charge", case).outcome == "done"
    assert case.run.charge_temperature_c == cast.HOT[0]
    page = browser(clerk).get(url("case", case)).content.decode()
    assert "<dt>Primary at the charge</dt>" in page


def test_a_manager_accepts_an_unusual_mass_in_writing(case: Case, manager: StaffMember) -> None:
    before("process", case)
    low = {"mass_kg": Decimal("0.400"), "acceptance": cast.signature(manager)}
    assert refusal("process", case, **low).codes == ["mass_plausible"]
    entry = attempt("process", case, **low, acceptance_reason="very small person, seen by me")
    assert case.processing.accepted_by == manager
    assert '"acceptance":"QVM1"' in entry.payload
    assert "very small" not in entry.payload


def test_only_a_manager_of_this_house_accepts_an_unusual_mass(
    case: Case, second_operator: StaffMember, other_facility: Facility
) -> None:
    before("process", case)
    elsewhere = cast.member(other_facility, cast.MANAGER)
    for member in (second_operator, elsewhere):
        low = {"mass_kg": Decimal("0.400"), "acceptance": cast.signature(member)}
        assert refusal("process", case, **low, acceptance_reason="seen").codes == ["mass_plausible"]


def test_a_carrier_with_a_number_stands_for_the_receipt(case: Case) -> None:
    before("release", case)
    shipped = {"receipt_is_signed": False, "carrier": "Post", "tracking_number": "T1"}
    assert attempt("release", case, **shipped).outcome == "done"
    assert case.release.tracking_number == "T1"


def test_a_retort_elsewhere_is_refused(case: Case, other_facility: Facility) -> None:
    before("charge", case)
    theirs = other_facility.retorts.all()[0]
    with clock.pinned(cast.time_of("charge", case)):
        cast.read(theirs, cast.HOT)
    assert refusal("charge", case, retort=theirs).codes == ["retort_fit"]


def test_an_expired_permit_is_refused(case: Case) -> None:
    before("charge", case)
    today = cast.time_of("charge", case).date()
    permits = case.facility.permits
    permits.update(expires_on=today - timedelta(days=1))
    assert refusal("charge", case).codes == ["retort_fit"]
    permits.update(expires_on=today)
    assert attempt("charge", case).outcome == "done"


def test_a_place_of_another_kind_or_house_is_refused(
    case: Case, shelves: list[Place], other_facility: Facility
) -> None:
    theirs = other_facility.places.filter(kind="bay")[0]
    for place in (shelves[0], theirs):
        assert refusal("receive", case, place=place).codes == ["free_bay"]


def test_a_place_out_of_use_is_refused(case: Case, bays: list[Place]) -> None:
    Place.objects.filter(pk=bays[0].pk).update(is_in_use=False)
    assert refusal("receive", case, place=bays[0]).codes == ["free_bay"]
