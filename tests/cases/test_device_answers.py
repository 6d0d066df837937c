"""A device once said to be there stops mattering only by a signature; answers are all or none."""

from datetime import date, timedelta
from typing import Any

import pytest

from cases import acts, seen
from cases.errors import ActRefused
from cases.models import Case
from chain_of_custody.models import CustodyEntry
from chain_of_custody.trail import facts_of
from chain_of_custody.verify import verify
from crematory import clock
from crematory.models import Facility, StaffMember
from tests import cast
from tests.cases.pages import browser, signed, text_of, url
from tests.cases.test_pages_case import device_form

PACEMAKER = {"device": "pacemaker", "informant": "her physician"}
REMOVED = {
    "outcome": "removed",
    "removed_by": "Dr Example",
    "went_to": "the clinic",
    "receipt_reference": "R-14",
}


def say(case: Case, member: StaffMember, answer: str, **fields: Any) -> CustodyEntry:
    how = {name: fields.pop(name) for name in ("signed_by", "why") if name in fields}
    told = [{**PACEMAKER, "answer": answer, **fields}]
    return acts.answer_devices(case, member, cast.token(), told, **how)


@pytest.mark.parametrize("told", [["yes"], ["yes", "unknown"], ["no", "yes"]])
def test_what_was_there_is_not_gone_by_a_click(
    facility: Facility, operator: StaffMember, told: list[str]
) -> None:
    case, signature = cast.make_case(facility), cast.signature(operator)
    for answer in told:
        say(case, operator, answer, signed_by=signature, why="asked again")
    for how, code in (
        ({}, "signature_needed"),
        ({"why": "a slip"}, "signature_needed"),
        ({"signed_by": signature}, "reason_missing"),
        ({"signed_by": signature, "why": "  "}, "reason_missing"),
    ):
        with pytest.raises(ActRefused) as caught:
            say(case, operator, "no", **how)
        assert caught.value.code == code
    entry = say(case, operator, "no", signed_by=signature, why="the X-ray shows none")
    assert '"signature":"pin"' in entry.payload
    assert facts_of(entry)["why"] == "the X-ray shows none"


def test_what_is_worse_needs_no_signature(facility: Facility, clerk: StaffMember) -> None:
    case = cast.make_case(facility)
    for answer in ("no", "unknown", "no", "unknown", "yes"):
        say(case, clerk, answer)
    assert case.device_answers.count() == 5


def test_a_removal_and_a_safe_time_are_signed(facility: Facility, clerk: StaffMember) -> None:
    case, at = cast.make_case(facility), clock.now() - timedelta(hours=1)
    say(case, clerk, "yes")
    with pytest.raises(ActRefused, match="Sign with staff code"):
        say(case, clerk, "yes", removed_at=at, **REMOVED)
    say(case, clerk, "yes", removed_at=at, signed_by=cast.signature(clerk), **REMOVED)
    say(case, clerk, "yes", device="radioactive")
    advice = {"adviser": "A. Example", "advised_on": at.date(), "allowed_from": at.date()}
    seeds = {"nuclide": "I-125", "nuclide_use": "seeds", "placed_on": date(2020, 1, 1)}
    for lifts in (advice, seeds):
        with pytest.raises(ActRefused, match="Sign with staff code"):
            say(case, clerk, "yes", device="radioactive", **lifts)


ADVISED: dict[str, Any] = {
    "device": "radioactive",
    "nuclide": "I-125",
    "nuclide_use": "seeds",
    "placed_on": date(2020, 1, 1),
    "adviser": "A. Example",
    "advised_on": date(2024, 1, 2),
    "allowed_from": date(2030, 1, 1),
}


@pytest.mark.parametrize(
    "gone",
    [("nuclide",), ("nuclide_use",), ("placed_on",), ("adviser", "advised_on", "allowed_from")],
)
def test_what_decides_a_wait_is_not_emptied_by_a_click(
    facility: Facility, clerk: StaffMember, gone: tuple[str, ...]
) -> None:
    case, signature = cast.make_case(facility), cast.signature(clerk)
    say(case, clerk, "yes", **ADVISED)
    emptied = {name: value for name, value in ADVISED.items() if name not in gone}
    say(case, clerk, "yes", **ADVISED)  # the same again lowers nothing
    for how, code in (
        ({"why": "a slip"}, "signature_needed"),
        ({"signed_by": signature}, "reason_missing"),
    ):
        with pytest.raises(ActRefused) as caught:
            say(case, clerk, "yes", **emptied, **how)
        assert caught.value.code == code
    say(case, clerk, "yes", **emptied, signed_by=signature, why="advice of another person")


def test_the_form_asks_why_a_wait_is_changed(facility: Facility, clerk: StaffMember) -> None:
    case, client = cast.make_case(facility), browser(clerk)
    say(case, clerk, "yes", **ADVISED)
    data = device_form(**{
        "devices-10-answer": "yes", "devices-10-nuclide": "I-125",
        "devices-10-nuclide_use": "seeds", "devices-10-placed_on": "2020-01-01",
        "seen": seen.mark(case.device_answers.all()),
    })  # fmt: skip
    response = client.post(url("devices", case), data | signed(clerk))
    assert response.status_code == 422
    assert "what you changed of its wait" in response.content.decode()
    done = client.post(url("devices", case), data | signed(clerk) | {"why": "not his advice"})
    assert done.status_code == 302


def test_one_bad_answer_records_none(facility: Facility, clerk: StaffMember) -> None:
    case = cast.make_case(facility)
    say(case, clerk, "yes")
    told = [
        {"device": "drug_pump", "answer": "no", "informant": "son"},
        {**PACEMAKER, "answer": "no"},
    ]
    with pytest.raises(ActRefused):
        acts.answer_devices(case, clerk, cast.token(), told)
    assert case.device_answers.count() == 1
    with pytest.raises(ValueError, match="One answer"):
        acts.answer_devices(case, clerk, cast.token(), [told[0], told[0]])


def test_answers_are_one_entry_and_sealed(facility: Facility, clerk: StaffMember) -> None:
    case = cast.make_case(facility)
    told = [
        {"device": "drug_pump", "answer": "no", "informant": "Sonny Example"},
        {**PACEMAKER, "answer": "yes"},
    ]
    entry = acts.answer_devices(case, clerk, cast.token(), told)
    assert case.entries.filter(act="answer_device").count() == 1
    for word in ("yes", "Sonny", "physician"):
        assert word not in entry.payload
    page = text_of(browser(clerk), url("trail", case))
    assert "yes, said by: her physician" in page
    assert "no, said by: Sonny Example" in page
    assert verify(facility).findings == []


def test_time_of_death_and_container_are_sealed_and_shown(facility: Facility) -> None:
    case = cast.bring(cast.make_case(facility), "contained")
    announced = case.entries.get(act="announce")
    assert case.died_at.isoformat()[:16] not in announced.payload
    assert "fibreboard" not in case.entries.get(act="receive").payload
    assert "urn" not in case.entries.get(act="contain").payload.replace("returned", "")
    page = text_of(browser(cast.member(facility, cast.CLERK)), url("trail", case))
    for words in ("fibreboard", "urn", "Sat 2 Mar 2024 09:00 MST"):
        assert words in page


def test_the_form_asks_for_signature_and_reason_and_keeps_what_was_typed(
    facility: Facility, clerk: StaffMember
) -> None:
    case, client = cast.make_case(facility), browser(clerk)
    say(case, clerk, "yes")
    mark = {"seen": seen.mark(case.device_answers.all())}
    data = device_form(**mark, **{"devices-0-answer": "no", "devices-3-answer": "unknown"})
    response = client.post(url("devices", case), data)
    text = response.content.decode()
    assert response.status_code == 422
    assert "would no longer stop" in text
    assert "Say why a device said to be there is not" in text
    assert str(data["informant"]) in text
    assert case.device_answers.count() == 1
    full = data | signed(clerk) | {"why": "the X-ray shows none"}
    bad_pin = client.post(url("devices", case), full | signed(clerk, pin=cast.WRONG_PIN))
    assert bad_pin.status_code == 403
    assert "the X-ray shows none" in bad_pin.content.decode()
    for _ in range(2):
        assert client.post(url("devices", case), full).status_code == 302
    newest = {a.device: a.answer for a in case.device_answers.all()}
    assert newest == {"pacemaker": "no", "loop_recorder": "unknown"}
    assert case.entries.filter(act="answer_device", outcome="done").count() == 2


def test_a_code_filled_in_beforehand_is_no_signature(
    facility: Facility, clerk: StaffMember
) -> None:
    case, client = cast.make_case(facility), browser(clerk)
    assert "signer_pin" not in text_of(client, url("devices", case))  # nothing to be lifted yet
    say(case, clerk, "yes", device="drug_pump")
    assert f'value="{clerk.staff_code}"' in text_of(client, url("devices", case))
    data = device_form(**{"devices-0-answer": "no"}) | {"signer_code": clerk.staff_code}
    data["seen"] = seen.mark(case.device_answers.all())
    data["devices-6-answer"] = "yes"
    assert client.post(url("devices", case), data).status_code == 302
    entry = case.entries.filter(act="answer_device").latest("sequence")
    assert '"signature":"session"' in entry.payload


def test_who_answers_is_marked_as_required(facility: Facility, clerk: StaffMember) -> None:
    page = text_of(browser(clerk), url("devices", cast.make_case(facility)))
    label = page[page.index('for="id_informant"') :][:120]
    assert "asteriskField" in label


def test_who_signs_the_clearing_reads_every_answer_on_the_page(
    facility: Facility, operator: StaffMember
) -> None:
    case = cast.bring(cast.make_case(facility), "authorized")
    with clock.pinned(cast.time_of("clear_devices", case)):
        cast.prepare("clear_devices", case)
        page = text_of(browser(operator), url("step", case, "clear_devices"))
    assert "What was answered of devices" in page
    assert page.count("Pacemaker") >= 1
