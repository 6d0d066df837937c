"""Signing with code and PIN: counted, locked, and one person's own."""

from datetime import timedelta

import pytest

from crematory import clock
from crematory.models import Facility, StaffMember
from crematory.signatures import SignatureRefused, sign
from tests import cast


def _try(who: StaffMember, pin: str) -> str:
    try:
        sign(who.facility, who.staff_code, pin)
    except SignatureRefused as refused:
        return refused.code
    return "signed"


def test_wrong_pins_are_counted_and_lock_for_a_quarter_of_an_hour(clerk: StaffMember) -> None:
    right = cast.pin_of(clerk)
    with clock.pinned(cast.START):
        assert [_try(clerk, cast.WRONG_PIN) for _ in range(5)] == ["signature_wrong"] * 5
        assert _try(clerk, right) == "signature_locked"
    with clock.pinned(cast.START + timedelta(minutes=14, seconds=59)):
        assert _try(clerk, right) == "signature_locked"
    with clock.pinned(cast.START + timedelta(minutes=15)):
        assert _try(clerk, right) == "signed"


def test_a_right_pin_ends_the_count(clerk: StaffMember) -> None:
    for _ in range(2):
        assert [_try(clerk, cast.WRONG_PIN) for _ in range(4)] == ["signature_wrong"] * 4
        assert _try(clerk, cast.pin_of(clerk)) == "signed"


def test_the_lock_is_one_members_own(clerk: StaffMember, second_clerk: StaffMember) -> None:
    for _ in range(5):
        _try(clerk, cast.WRONG_PIN)
    assert _try(second_clerk, cast.pin_of(second_clerk)) == "signed"


def test_one_members_pin_does_not_sign_for_another(
    clerk: StaffMember, second_clerk: StaffMember
) -> None:
    assert _try(clerk, cast.pin_of(second_clerk)) == "signature_wrong"


def test_no_pin_signs_in_another_house(facility: Facility, other_operator: StaffMember) -> None:
    with pytest.raises(SignatureRefused) as caught:
        sign(facility, other_operator.staff_code, cast.pin_of(other_operator))
    assert caught.value.code == "signature_wrong"


def test_an_inactive_member_does_not_sign(clerk: StaffMember) -> None:
    StaffMember.objects.filter(pk=clerk.pk).update(is_active=False)
    assert _try(clerk, cast.pin_of(clerk)) == "signature_inactive"


@pytest.mark.parametrize(("code", "pin"), [("", "240611"), ("QVC1", ""), (" ", " ")])
def test_nothing_typed_is_told_as_missing(facility: Facility, code: str, pin: str) -> None:
    with pytest.raises(SignatureRefused) as caught:
        sign(facility, code, pin)
    assert caught.value.code == "signature_missing"
