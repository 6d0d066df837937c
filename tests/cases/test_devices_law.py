"""What the law asks of devices, at the gates; and the list of questions against its sources."""

from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest

from cases import acts, device_rules, law, radiation
from cases.device_list import NO_SOURCE, QUESTIONS
from cases.errors import ActRefused
from cases.gates import GATES, PASSED, REFUSED, Situation, Verdict
from cases.models import HARMLESS, STAYS_BY_LAW, Case, DeviceAnswer, Document
from cases.steps import STEPS
from crematory import clock
from crematory.models import Facility
from tests import cast, raw
from tests.cases.pages import browser, url

pytestmark = pytest.mark.django_db
NOON = datetime.fromisoformat("2026-03-10T12:00:00-06:00")
REMOVAL: dict[str, Any] = {
    "outcome": "removed",
    "removed_by": "T. Orrel, embalmer",
    "removed_at": NOON - timedelta(hours=2),
    "went_to": "the clinic",
    "receipt_reference": "R-14",
}


def house(code: str) -> Facility:
    return cast.make_facility("LX", jurisdiction=code)


def answer(case: Case, device: str, said: str = "yes", **fields: Any) -> None:
    """Answer one question, signed, for a device may stop mattering by it."""
    who = cast.member(case.facility, cast.OPERATOR)
    told = [{"device": device, "answer": said, "informant": "daughter", **fields}]
    acts.answer_devices(
        case, who, cast.token(), told, signed_by=cast.signature(who), why="looked again"
    )


def all_no(case: Case, *but: str) -> None:
    who = cast.member(case.facility, cast.OPERATOR)
    told = [
        {"device": device, "answer": "no", "informant": "daughter"}
        for device in device_rules.asked(case.law)
        if device not in but
    ]
    acts.answer_devices(case, who, cast.token(), told)


def ask(gate: str, case: Case, now: datetime = NOON) -> Verdict:
    fresh = Case.objects.get(pk=case.pk)
    return GATES[gate](Situation(case=fresh, step=STEPS["clear_devices"], now=now))


@pytest.fixture(autouse=True)
def at_noon() -> Any:
    with clock.pinned(NOON):
        yield


# The list


def test_every_question_has_help_and_a_source_or_says_that_it_has_none() -> None:
    assert set(QUESTIONS) == set(DeviceAnswer.Device.values)
    assert all(question.help and question.source for question in QUESTIONS.values())
    may_stay = {key for key, question in QUESTIONS.items() if question.stays_by}
    assert may_stay == {*HARMLESS, *STAYS_BY_LAW}


# Gale and Mulley 2002 and Smith 2012: pacemaker, expandable nail. The trust's page: a defibrillator
# is deactivated before it is removed. Trade journals: loop recorder, neurostimulator, pump.
# From memory in the notes on rules: resynchronisation, assist device, bone stimulator, shunt.
@pytest.mark.parametrize(
    ("device", "source"),
    [
        ("pacemaker", "J R Soc Med 2002"),
        ("leadless_pacemaker", "Cremation Regulations 1973"),
        ("expanding_nail", "Eur Geriatr Med 2012"),
        ("defibrillator", "mft.nhs.uk"),
        ("loop_recorder", "ICCM Journal"),
        ("neurostimulator", "ICCM Journal"),
        ("drug_pump", "ICCM Journal"),
        ("other_battery", "Cremation Regulations 1973"),
        ("radioactive", "hps.org"),
        ("prosthesis", "cremation.org.nz"),
        ("resynchroniser", NO_SOURCE),
        ("ventricular_assist", NO_SOURCE),
        ("bone_stimulator", NO_SOURCE),
        ("programmable_shunt", NO_SOURCE),
        ("silicone", NO_SOURCE),
    ],
)
def test_the_source_of_each_question(device: str, source: str) -> None:
    assert source in QUESTIONS[device].source


def test_a_defibrillator_is_deactivated_first() -> None:
    assert "deactivated first" in QUESTIONS["defibrillator"].help


# Whose statement


@pytest.mark.parametrize(
    ("code", "on_file", "is_missing"),
    [
        # Public Health Law 4202(1): physician, coroner or medical examiner; an agent's "no" is not.
        ("us-ny", {"cremation_authorization"}, True),
        ("us-ny", {"battery_statement"}, False),
        # MCA 37-19-705(3): the agent states it, in the authorization.
        ("us-mt", {"cremation_authorization"}, False),
        ("us-mt", set(), True),
        # Form AB: the practitioner who examined the body.
        ("nz", {"application"}, True),
        ("nz", {"medical_certificate"}, False),
        # The cremation risk advice of New South Wales.
        ("au-nsw", {"application"}, True),
        ("au-nsw", {"risk_advice"}, False),
        # Form Cremation 6, or the medical certificate where there was no coroner.
        ("gb-ew", {"application"}, True),
        ("gb-ew", {"medical_clearance"}, False),
        # 410 ILCS 18/35(c) speaks of actual knowledge and of nobody's statement.
        ("us-il", set(), False),
    ],
)
def test_whose_statement_the_law_asks_for(code: str, on_file: set[str], is_missing: bool) -> None:
    assert bool(device_rules.statement_missing(law.jurisdiction(code), on_file)) is is_missing


def test_every_one_who_may_state_it_has_a_paper_for_it() -> None:
    for code in law.codes():
        rule = law.jurisdiction(code).devices
        assert set(rule.asserted_by) <= set(device_rules.STATEMENT_PAPERS), code


def test_new_york_is_not_satisfied_by_the_agent_alone() -> None:
    case = cast.make_case(house("us-ny"), at=NOON - timedelta(days=1))
    all_no(case)
    refused = ask("devices_answered", case)
    assert refused.state == REFUSED
    assert "physician, coroner or medical examiner" in refused.reason
    assert refused.citation.startswith("Public Health Law 4202(1)")
    Document.objects.create(
        case=case, kind="battery_statement", reference="B-1", issued_by="Dr Example",
        issued_on=NOON.date(), filed_at=NOON,
    )  # fmt: skip
    assert ask("devices_answered", case).state == PASSED


@pytest.mark.parametrize(
    ("code", "citation"),
    [
        ("us-mt", "MCA 37-19-705(3)"),
        ("us-il", "410 ILCS 18/35(c)"),
        ("ca-on", "O. Reg. 30/11 as amended by O. Reg. 412/19"),
    ],
)
def test_a_pacemaker_in_place_is_barred_and_the_law_is_named(code: str, citation: str) -> None:
    case = cast.make_case(house(code), at=NOON - timedelta(days=1))
    answer(case, "pacemaker")
    refused = ask("devices_removed", case)
    cautioned = f"{citation}. {law.CHECK_LOCALLY}"
    assert (refused.state, refused.citation) == (REFUSED, cautioned)
    answer(case, "pacemaker", **REMOVAL)
    assert ask("devices_removed", case).state == PASSED


def test_not_known_never_passes(case: Case) -> None:
    all_no(case, "neurostimulator")
    assert ask("devices_answered", case).state == REFUSED
    answer(case, "neurostimulator", "unknown")
    assert "Neurostimulator" in ask("devices_answered", case).reason


# What became of it


@pytest.mark.parametrize("lacking", ["removed_by", "removed_at", "went_to", "receipt_reference"])
def test_a_removal_is_stated_whole(case: Case, lacking: str) -> None:
    told = {**REMOVAL, lacking: None if lacking == "removed_at" else ""}
    with pytest.raises(ActRefused) as refused:
        answer(case, "pacemaker", **told)
    assert refused.value.code == "outcome_unfinished"


@pytest.mark.parametrize("lacking", ["attested_by", "attester_licence"])
def test_an_attestation_has_name_and_licence(case: Case, lacking: str) -> None:
    told: dict[str, Any] = {
        "outcome": "attested",
        "attested_by": "M. Tolworthy",
        "attester_licence": "E-22",
    }
    with pytest.raises(ActRefused) as refused:
        answer(case, "pacemaker", **{**told, lacking: ""})
    assert refused.value.code == "outcome_unfinished"
    answer(case, "pacemaker", **told)
    assert ask("devices_removed", case).state == PASSED


@pytest.mark.parametrize("device", DeviceAnswer.Device.values)
def test_only_silicone_and_prostheses_stay(case: Case, device: str) -> None:
    told: dict[str, Any] = {"outcome": "stays", "stays_by_rule": "harmless"}
    if device in HARMLESS:
        answer(case, device, **told)
        assert ask("devices_removed", case).state == PASSED
        return
    with pytest.raises(ActRefused) as refused:
        answer(case, device, **told)
    by_law = device in STAYS_BY_LAW
    assert refused.value.code == ("device_not_asked" if by_law else "outcome_not_allowed")


# New Zealand: a leadless pacemaker need not be removed (Cremation Regulations 1973 ss. 2, 7, as
# summarized); where no law tells it apart it is one of the pacemakers.


def test_a_leadless_pacemaker_is_asked_apart_and_may_stay_in_new_zealand() -> None:
    case = cast.make_case(house("nz"), at=NOON - timedelta(days=1))
    cast.file_paper(case, "medical_certificate")
    all_no(case, "leadless_pacemaker")
    assert "Leadless pacemaker" in ask("devices_answered", case).reason
    answer(case, "leadless_pacemaker")
    assert ask("devices_answered", case).state == PASSED
    left = ask("devices_removed", case)
    assert left.state == REFUSED
    assert "only leadless pacemakers, silicone and prostheses may stay" in left.who
    assert "Cremation Regulations 1973" in left.citation
    stays = {"outcome": "stays", "stays_by_rule": QUESTIONS["leadless_pacemaker"].stays_by}
    answer(case, "leadless_pacemaker", **stays)
    assert ask("devices_removed", case).state == PASSED
    with pytest.raises(ActRefused):
        answer(case, "pacemaker", **stays)


@pytest.mark.parametrize("code", [code for code in law.codes() if code != "nz"])
def test_elsewhere_it_is_one_of_the_pacemakers(code: str) -> None:
    asked = device_rules.asked(law.jurisdiction(code))
    assert "leadless_pacemaker" not in asked
    assert len(asked) == len(DeviceAnswer.Device) - 1


def test_what_stays_by_a_law_does_not_pass_under_another_one(case: Case) -> None:
    DeviceAnswer.objects.create(
        case=case, device="leadless_pacemaker", answer="yes", informant="son", answered_at=NOON,
        outcome="stays", stays_by_rule="New Zealand",
    )  # fmt: skip
    refused = ask("devices_removed", case)
    assert refused.state == REFUSED
    assert "Leadless pacemaker" in refused.reason


def test_the_page_of_new_zealand_asks_about_it_and_that_of_montana_does_not(case: Case) -> None:
    clerk = cast.member(case.facility, cast.CLERK)
    here = browser(clerk).get(url("devices", case)).content.decode()
    assert "Leadless pacemaker" not in here
    other = cast.make_case(house("nz"), at=NOON - timedelta(days=1))
    member = cast.member(other.facility, cast.CLERK)
    there = browser(member).get(url("devices", other)).content.decode()
    assert "Leadless pacemaker" in there
    assert "A leadless pacemaker need not be removed; it is asked about apart." in there


# The caution


@pytest.mark.parametrize("code", law.codes())
@pytest.mark.parametrize("gate", ["devices_answered", "devices_removed", "radionuclide_wait"])
def test_each_citation_bids_to_check_locally_once(code: str, gate: str) -> None:
    case = cast.make_case(house(code), at=NOON - timedelta(days=1))
    answer(case, "pacemaker")
    answer(case, "radioactive")
    refused = ask(gate, case)
    assert refused.state == REFUSED
    assert refused.citation.count("local authority") == 1
    assert refused.citation.endswith(law.CHECK_LOCALLY)


@pytest.mark.parametrize("device", HARMLESS)
def test_what_is_harmless_needs_its_outcome_too(case: Case, device: str) -> None:
    answer(case, device)
    assert ask("devices_removed", case).state == REFUSED


@pytest.mark.parametrize(
    ("device", "fields", "code"),
    [
        ("pacemaker", {"removed_by": "Dr Example"}, "outcome_unfinished"),
        ("pacemaker", {"nuclide": "I-125"}, "outcome_not_allowed"),
        ("radioactive", {"nuclide_use": "dose", **REMOVAL}, "outcome_not_allowed"),
        ("radioactive", {"activity_mbq": Decimal(3)}, "outcome_unfinished"),
        ("radioactive", {"activity_mbq": Decimal(-3), "activity_on": NOON.date()},
         "outcome_unfinished"),
        ("radioactive", {"adviser": "A. Example"}, "outcome_unfinished"),
        ("radioactive", {"placed_on": date(2026, 3, 11)}, "time_future"),
        ("pacemaker", {**REMOVAL, "removed_at": NOON + timedelta(minutes=1)}, "time_future"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused(
    case: Case, device: str, fields: dict[str, Any], code: str
) -> None:
    with pytest.raises(ActRefused) as refused:
        answer(case, device, **fields)
    assert refused.value.code == code
    assert not case.device_answers.exists()


def test_only_a_device_that_is_there_has_an_outcome(case: Case) -> None:
    with pytest.raises(ActRefused) as refused:
        answer(case, "pacemaker", "no", outcome="removed")
    assert refused.value.code == "outcome_not_allowed"


# Radioactivity

SEEDS: dict[str, Any] = {"nuclide": "I-125", "nuclide_use": "seeds"}


def test_the_wait_opens_by_itself_at_the_local_midnight(case: Case) -> None:
    # ICRP 98: twelve months after I-125 seeds; placed 11 Mar 2025, so from 11 Mar 2026.
    answer(case, "radioactive", **SEEDS, placed_on=date(2025, 3, 11))
    refused = ask("radionuclide_wait", case)
    assert refused.state == REFUSED
    assert refused.passes_at == datetime.fromisoformat("2026-03-11T00:00:00-06:00")
    assert "ICRP Publication 98" in refused.citation
    assert "adviser" in refused.reason
    assert refused.passes_at is not None
    assert ask("radionuclide_wait", case, refused.passes_at).state == PASSED
    before = refused.passes_at - timedelta(seconds=1)
    assert ask("radionuclide_wait", case, before).state == REFUSED


def test_ontario_takes_its_two_years_from_its_own_file() -> None:
    # O. Reg. 412/19: seeds of 1 Jun 2024 wait until 1 Jun 2026, unless it is recorded as safe.
    case = cast.make_case(house("ca-on"), at=NOON - timedelta(days=1))
    answer(case, "radioactive", **SEEDS, placed_on=date(2024, 6, 1))
    refused = ask("radionuclide_wait", case)
    assert refused.passes_at is not None
    assert refused.passes_at.date() == date(2026, 6, 1)
    assert "O. Reg. 412/19" in refused.citation
    advice: dict[str, Any] = {
        "adviser": "A. Example", "advised_on": NOON.date(), "allowed_from": NOON.date(),
    }  # fmt: skip
    answer(case, "radioactive", **SEEDS, placed_on=date(2024, 6, 1), **advice)
    assert ask("radionuclide_wait", case).state == PASSED


def test_western_australia_asks_for_written_advice_in_every_case() -> None:
    case = cast.make_case(house("au-wa"), at=NOON - timedelta(days=1))
    answer(case, "radioactive", **SEEDS, placed_on=date(2020, 1, 1))
    refused = ask("radionuclide_wait", case)
    assert (refused.state, refused.passes_at) == (REFUSED, None)
    assert "Form 7" in refused.citation


@pytest.mark.parametrize(
    "fields",
    [
        {},
        {"nuclide": "Lu-177", "nuclide_use": "dose", "placed_on": date(2020, 1, 1)},
        {"nuclide": "Cs-131", "nuclide_use": "seeds", "placed_on": date(2020, 1, 1)},
        {"nuclide": "other", "nuclide_use": "seeds", "placed_on": date(2020, 1, 1)},
        {"nuclide": "I-125", "placed_on": date(2020, 1, 1)},
        SEEDS,
    ],
)
def test_without_a_wait_the_adviser_is_asked(case: Case, fields: dict[str, Any]) -> None:
    answer(case, "radioactive", **fields)
    refused = ask("radionuclide_wait", case)
    assert (refused.state, refused.passes_at) == (REFUSED, None)
    assert "adviser" in refused.who


ATTESTED: dict[str, Any] = {
    "outcome": "attested", "attested_by": "M. Tolworthy", "attester_licence": "E-22",
}  # fmt: skip


@pytest.mark.parametrize("outcome", [REMOVAL, ATTESTED])
def test_only_seeds_end_the_wait_by_an_outcome(case: Case, outcome: dict[str, Any]) -> None:
    for use in ({}, {"nuclide": "I-125"}, {"nuclide_use": "dose"}):
        with pytest.raises(ActRefused) as refused:
            answer(case, "radioactive", **use, **outcome)
        assert refused.value.code == "outcome_not_allowed"
    answer(case, "radioactive", **SEEDS, **outcome)
    assert ask("radionuclide_wait", case).state == PASSED


@pytest.mark.parametrize("use", ["", "dose"])
def test_the_database_too_lets_only_seeds_have_an_outcome(case: Case, use: str) -> None:
    row = {
        "case_id": case.pk, "device": "radioactive", "answer": "yes", "informant": "daughter",
        "outcome": "attested", "removed_by": "", "went_to": "", "receipt_reference": "",
        "attested_by": "M. Tolworthy", "attester_licence": "E-22", "stays_by_rule": "",
        "nuclide": "I-125", "nuclide_use": "seeds", "adviser": "", "answered_at": NOON,
    }  # fmt: skip
    with raw.refuses("device_dose_not_removed"):
        raw.insert("cases_deviceanswer", **row | {"nuclide_use": use})
    raw.insert("cases_deviceanswer", **row)


def test_an_outcome_that_does_not_say_seeds_does_not_pass_the_gate(case: Case) -> None:
    """The gate alone: the database keeps no such row."""
    row = DeviceAnswer(
        case=case, device="radioactive", answer="yes", informant="son", answered_at=NOON, **ATTESTED
    )
    case._prefetched_objects_cache = {"device_answers": [row]}  # type: ignore[attr-defined]
    situation = Situation(case=case, step=STEPS["clear_devices"], now=NOON)
    assert GATES["radionuclide_wait"](situation).state == REFUSED


def test_the_activity_now_is_that_of_icrp_107(case: Case) -> None:
    # Half-life of I-125 59.40 d, fraction left after 30 d 0.704636 (ICRP 107, radioactivedecay).
    stated: dict[str, Any] = {"activity_mbq": Decimal(1000), "activity_on": date(2026, 2, 7)}
    answer(case, "radioactive", **SEEDS, **stated)
    midnight = datetime.fromisoformat("2026-02-08T00:00:00-07:00")
    row = case.device_answers.get()
    found = radiation.activity_now(case, row, midnight + timedelta(days=30))
    assert found is not None
    assert float(found.now_mbq) == pytest.approx(704.636, abs=1e-3)
    assert float(found.now_mci) == pytest.approx(704.636 / 37, abs=1e-4)
    early = radiation.activity_now(case, row, midnight - timedelta(hours=5))
    assert early is not None
    assert early.now_mbq == 1000


def test_of_another_nuclide_no_activity_is_reckoned(case: Case) -> None:
    stated: dict[str, Any] = {"activity_mbq": Decimal(5), "activity_on": date(2026, 2, 7)}
    answer(case, "radioactive", nuclide="other", **stated)
    assert radiation.activity_now(case, case.device_answers.get(), NOON) is None
