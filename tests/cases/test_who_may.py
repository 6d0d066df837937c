"""Who corrects what, who is told apart from whom, and which buttons a member is shown."""

from decimal import Decimal
from typing import Any

import pytest
from django.urls import reverse

from cases import acts, hold_acts
from cases.corrections import CORRECTABLE, correct
from cases.errors import ActRefused
from cases.gates import GATES, REFUSED, Situation
from cases.models import Case
from cases.steps import STEPS
from crematory import clock
from crematory.models import Facility, StaffMember
from tests import cast
from tests.cases.pages import browser, text_of, url

NEW: dict[str, Any] = {
    "mass_kg": Decimal("90"), "sex": "f", "container_kind": "plywood", "sender": "Another",
}  # fmt: skip


def may_correct(case: Case, key: str, field: str) -> bool:
    signed = cast.signature(cast.member(case.facility, key))
    try:
        correct(case, signed, cast.token(), field, NEW[field], "misread")
    except ActRefused as refusal:
        return refusal.code != "role"
    case.refresh_from_db()
    return True


@pytest.mark.parametrize(
    ("field", "keys"),
    [
        ("mass_kg", {cast.OPERATOR, cast.MANAGER}),
        ("sex", {cast.CLERK, cast.MANAGER}),
        ("container_kind", {cast.CLERK, cast.MANAGER}),
    ],
)
@pytest.mark.parametrize("key", [cast.CLERK, cast.OPERATOR, cast.MANAGER])
def test_who_corrects_before_the_charge(case: Case, field: str, keys: set[str], key: str) -> None:
    cast.bring(case, "in_care")
    assert may_correct(case, key, field) is (key in keys)


@pytest.mark.parametrize("field", sorted(NEW))
@pytest.mark.parametrize("key", [cast.CLERK, cast.OPERATOR, cast.MANAGER])
def test_after_the_charge_a_manager_corrects(case: Case, field: str, key: str) -> None:
    cast.bring(case, "in_retort")
    assert may_correct(case, key, field) is (key == cast.MANAGER)


def test_what_was_settled_is_corrected_by_a_manager_after_the_charge(
    case: Case, manager: StaffMember
) -> None:
    cast.bring(case, "in_retort")
    signed = cast.signature(manager)
    for field, value in (("disposition", "ship"),):
        entry = correct(case, signed, cast.token(), field, value, "the family asks")
        case.refresh_from_db()
        assert getattr(case, field) == value
        assert case.entries.get(sequence=_corrects(entry)).act == "settle"
    page = text_of(browser(manager), url("trail", case))
    assert "shipped to a recipient" in page


def _corrects(entry: Any) -> int:
    return int(entry.payload.split('"corrects":')[1].split(",")[0])


def test_a_reportable_death_is_taken_back_only_by_correction(
    case: Case, clerk: StaffMember, manager: StaffMember
) -> None:
    acts.settle(case, clerk, cast.token(), is_death_reportable=True)
    with pytest.raises(ActRefused) as caught:
        acts.settle(case, clerk, cast.token(), is_death_reportable=False)
    assert caught.value.code == "reportable_stays"
    signed = cast.signature(manager)
    correct(case, signed, cast.token(), "is_death_reportable", False, "the coroner says no")
    case.refresh_from_db()
    assert case.is_death_reportable is False


def test_an_objection_sticks_to_the_person_named(
    case: Case, clerk: StaffMember, manager: StaffMember
) -> None:
    cast.bring(case, "in_care")
    elder = cast.says(case, clerk, "Anna Twin", "objects", relationship="elder daughter")
    younger = cast.says(case, clerk, "Anna Twin", "signed", relationship="younger daughter")

    def refused() -> bool:
        fresh = Case.objects.get(pk=case.pk)
        verdict = GATES["no_dispute"](
            Situation(case=fresh, step=STEPS["authorize"], now=clock.now())
        )
        return verdict.state == REFUSED

    assert refused()
    with pytest.raises(ActRefused) as caught:
        cast.speaks(younger, manager, "settled")
    assert caught.value.code == "no_objection"
    with pytest.raises(ActRefused) as caught:
        cast.speaks(elder, clerk, "settled")
    assert caught.value.code == "role"
    cast.speaks(elder, manager, "settled")
    assert not refused()


BUTTONS = {
    "documents": {cast.CLERK, cast.MANAGER},
    "recipients": {cast.CLERK, cast.MANAGER},
    "settle": {cast.CLERK},
    "devices": {cast.CLERK, cast.OPERATOR},
    "things": {cast.CLERK, cast.OPERATOR},
    "correct": {cast.CLERK, cast.OPERATOR, cast.MANAGER},
}


@pytest.mark.parametrize("key", [cast.CLERK, cast.OPERATOR, cast.MANAGER])
def test_a_member_is_shown_the_buttons_of_their_roles(facility: Facility, key: str) -> None:
    case = cast.bring(cast.make_case(facility), "in_care")
    hold_acts.open_hold(case, cast.signature(cast.member(facility, key)), cast.token(), "wait")
    client = browser(cast.member(facility, key))
    page = text_of(client, url("case", case))
    for name, keys in BUTTONS.items():
        assert (f'href="{url(name, case)}"' in page) is (key in keys), name
    # Everybody may read who may authorize; only these are offered to name somebody.
    assert ("Name, sign, object</a>" in page) is (key in {cast.CLERK, cast.MANAGER})
    lift = url("lift", case, case.holds.get().pk)
    assert (lift in page) is (key == cast.MANAGER)
    assert ("A manager lifts this hold" in page) is (key != cast.MANAGER)
    for name in ("today", "cases:list"):
        text = text_of(client, reverse(name))
        assert (f'href="{reverse("cases:announce")}"' in text) is (key == cast.CLERK)
        assert ("Who may announce: front office" in text) is (key != cast.CLERK)


def test_after_the_charge_only_a_manager_is_shown_the_corrections(
    facility: Facility, clerk: StaffMember, manager: StaffMember
) -> None:
    case = cast.bring(cast.make_case(facility), "in_retort")
    assert "Who may correct this: manager" in text_of(browser(clerk), url("case", case))
    assert "?field=" not in text_of(browser(clerk), url("correct", case))
    page = text_of(browser(manager), url("correct", case))
    assert all(f"?field={field}" in page for field in CORRECTABLE)


def test_a_refusal_says_what_since_when_and_who(facility: Facility, clerk: StaffMember) -> None:
    case, client = cast.bring(cast.make_case(facility), "in_care"), browser(clerk)
    data = {"token": cast.token(), "signer_code": clerk.staff_code, "signer_pin": cast.PINS["C1"]}
    with clock.pinned(cast.time_of("authorize", case)):
        text = client.post(url("step", case, "authorize"), data).content.decode()
    alert = text[text.index('role="alert"') :][:1500]
    assert "Not on file" in alert
    assert "Since Mon 4 Mar 2024 09:00 MST." in alert
    assert "Who can settle it: front office, from Example Funeral Home." in alert
    assert "Not met" not in text
