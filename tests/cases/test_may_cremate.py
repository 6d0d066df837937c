"""The case page's one answer: may this person be cremated, what is missing, and by which law."""

from datetime import timedelta

import pytest
from django.test import Client

from cases import acts, hold_acts, right_acts
from cases.errors import StepRefused
from cases.gates import GATES
from cases.may_cremate import ON_RECORD, May, Verdicts, may_cremate
from cases.models import Case
from cases.steps import ORDER, STEPS
from crematory import clock
from crematory.models import Facility, StaffMember
from tests import cast
from tests.cases import families as f
from tests.cases.pages import browser, text_of, url


def ask(case: Case) -> Verdicts:
    answer = may_cremate(Case.objects.get(pk=case.pk), clock.now())
    assert answer is not None
    return answer


def shown(case: Case, client: Client) -> str:
    """The card on the page of the case."""
    page = text_of(client, url("case", case))
    return page[page.index('id="may-cremate"') : page.index('<div class="columns')]


def needs(case: Case) -> set[str]:
    return {need.verdict.gate for need in ask(case).needs}


def test_every_gate_of_the_answer_is_one_of_the_table() -> None:
    up_to_charge = ORDER[: ORDER.index("charge") + 1]
    asked = {gate for verb in up_to_charge for gate in STEPS[verb].gates}
    assert asked & GATES.keys() >= ON_RECORD


def test_at_first_it_says_all_that_is_missing_and_by_whom(
    facility: Facility, clerk: StaffMember
) -> None:
    case = cast.make_case(facility)
    assert ask(case).may is May.NOT_YET
    card = shown(case, browser(clerk))
    assert "Not yet" in card
    for gate in ("documents_on_file", "authorizing_agent", "devices_answered"):
        assert gate in needs(case)
    assert "MCA 37-19-904" in card
    assert "Who can settle it: front office, with the family." in card
    assert url("agents", case) in card


def test_when_all_is_proved_it_says_yes(facility: Facility, clerk: StaffMember) -> None:
    case = cast.bring(cast.make_case(facility), "tagged")
    assert (ask(case).may, needs(case)) == (May.YES, set())
    card = shown(case, browser(clerk))
    assert "Yes" in card
    assert "MCA 37-19-705(2)" in card  # by which section the wait is over


def test_where_only_the_wait_is_left_it_says_until_when(
    facility: Facility, clerk: StaffMember
) -> None:
    died_at = cast.START - timedelta(hours=1)
    case = cast.bring(cast.make_case(facility, died_at=died_at), "tagged")
    with clock.pinned(case.stage_since):
        answer = ask(case)
        assert answer.may is May.NOT_YET
        assert answer.passes_at == died_at + timedelta(hours=24)
        card = shown(case, browser(clerk))
    assert "Nothing is missing but time." in card


def test_an_objection_makes_it_disputed_at_once(facility: Facility, clerk: StaffMember) -> None:
    case = cast.bring(cast.make_case(facility), "tagged")
    f.name(case, "Ben Example", "objects")
    assert ask(case).may is May.DISPUTED
    assert {"no_hold", "no_dispute", "authorizing_agent"} <= needs(case)
    card = shown(case, browser(clerk))
    assert "Disputed" in card
    assert "MCA 37-19-907" in card


def test_a_hold_on_another_ground_is_no_dispute(facility: Facility, clerk: StaffMember) -> None:
    case = cast.bring(cast.make_case(facility), "tagged")
    hold_acts.open_hold(case, cast.signature(clerk), cast.token(), "the family asks us to wait")
    assert ask(case).may is May.NOT_YET


def test_what_the_rules_leave_open_is_a_managers(
    facility: Facility, clerk: StaffMember, manager: StaffMember
) -> None:
    case = cast.bring(cast.make_case(facility), "tagged")
    # The only child turns out to have been under age: the known order of Montana ends there.
    cast.knows(case.right_holders.get(), clerk, is_minor=True)
    f.name(case, "Sam Brother", "signed", rank="sibling", relationship="brother")
    assert ask(case).may is May.REVIEW
    assert "A manager must review" in shown(case, browser(clerk))
    right_acts.review_authority(
        case, cast.signature(manager), cast.token(), "the county says yes", None
    )
    assert ask(case).may is May.YES


@pytest.mark.parametrize("stage", ["in_retort", "released", "returned"])
def test_after_the_charge_it_is_not_asked(
    facility: Facility, clerk: StaffMember, stage: str
) -> None:
    case = cast.bring(cast.make_case(facility), stage)
    assert may_cremate(case, clock.now()) is None
    assert "May this person be cremated?" not in text_of(browser(clerk), url("case", case))


def test_the_answer_and_the_charge_agree(facility: Facility, clerk: StaffMember) -> None:
    """What the card names is exactly what refuses the charge, of what the record answers."""
    case = cast.bring(cast.make_case(facility), "tagged")
    acts.answer_device(
        case, clerk, cast.token(), device="pacemaker", answer="yes", informant="physician"
    )
    f.name(case, "Ben Example", "objects")
    with pytest.raises(StepRefused) as refused:
        cast.do("charge", case)
    assert set(refused.value.codes) & ON_RECORD == needs(case)


def test_the_next_step_does_not_repeat_what_the_card_tells(
    facility: Facility, clerk: StaffMember
) -> None:
    case = cast.bring(cast.make_case(facility), "in_care")
    page = text_of(browser(clerk), url("case", case))
    assert page.count("The authorization is not sufficient yet.") == 1
    assert "is told above" in page
