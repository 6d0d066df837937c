"""`take` works along the whole path, keeps time, and answers a repeat with the first entry."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from cases.facts import ReceiveFacts
from cases.models import Case
from cases.steps import STEPS
from cases.taking import take
from chain_of_custody.models import CustodyEntry, open_placement
from crematory import clock
from tests import cast
from tests.attempts import VERBS, attempt, before, refusal
from tests.snapshot import picture

KINDS = {"receive": "bay", "charge": "retort", "recover": "tray", "contain": "shelf"}


@pytest.mark.parametrize("verb", VERBS)
def test_it_moves_the_stage_with_its_entry(case: Case, verb: str) -> None:
    before(verb, case)
    stage = case.stage
    entry = attempt(verb, case)
    case.refresh_from_db()
    assert case.stage == STEPS[verb].stage_to
    assert case.stage_entry == entry
    assert case.stage_since == entry.happened_at
    assert (entry.act, entry.outcome, entry.case) == (verb, "done", case)
    assert (entry.stage_from, entry.stage_to) == (stage, STEPS[verb].stage_to)
    assert entry.signed_by is not None
    assert (entry.witness is not None) is STEPS[verb].witnessed


@pytest.mark.parametrize("verb", VERBS)
def test_it_says_where_the_person_is(case: Case, verb: str) -> None:
    before(verb, case)
    stood = open_placement(case)
    entry = attempt(verb, case)
    stands = open_placement(case)
    assert entry.place_from == (stood.place if stood else None)
    assert entry.place_to == (stands.place if stands else None)
    if verb in KINDS:
        assert stands
        assert stands.place.kind == KINDS[verb]
    elif STEPS[verb].stage_to in ("released", "returned"):
        assert stands is None
    else:
        assert stands == stood


def test_the_whole_path_leaves_its_rows(case: Case) -> None:
    cast.bring(case, "released")
    assert case.delivery.mass_kg == Decimal("81.500")
    assert case.disc.number == cast.disc_of(case)
    run = case.run
    assert run.burner_off_at
    assert run.ended_at
    assert run.charged_at < run.burner_off_at < run.ended_at
    assert case.run.charge_temperature_c == cast.HOT[1]
    assert case.processing.mass_kg == cast.MASS_KG
    assert [c.mass_kg for c in case.containers.all()] == [cast.MASS_KG]
    assert case.release.recipient_name == "Rita Recipient"
    assert case.placements.count() == 4
    assert not case.placements.filter(until=None).exists()


@pytest.mark.parametrize("stage", STEPS["return_uncremated"].stages_from)
def test_a_person_may_go_back_from_each_stage_before_the_charge(case: Case, stage: str) -> None:
    cast.bring(case, stage)
    cast.do("return_uncremated", case)
    assert case.stage == "returned"


def test_it_keeps_names_out_of_the_hashed_bytes(case: Case) -> None:
    cast.bring(case, "released")
    written = " ".join(e.payload for e in CustodyEntry.objects.filter(case=case))
    for name in ("Ada Example", "Rita Recipient", "Dora Driver", "driver licence", "Anna Agent"):
        assert name not in written


@pytest.mark.parametrize("verb", VERBS)
def test_the_future_is_refused(case: Case, verb: str) -> None:
    before(verb, case)
    future = cast.time_of(verb, case) + timedelta(seconds=1)
    assert refusal(verb, case, happened_at=future).codes == ["time_future"]


@pytest.mark.parametrize("verb", [v for v in VERBS if v != "receive"])
def test_a_time_before_the_previous_step_is_refused(case: Case, verb: str) -> None:
    before(verb, case)
    early = case.stage_since - timedelta(seconds=1)
    assert refusal(verb, case, happened_at=early).codes == ["time_order"]


def test_a_time_without_a_zone_is_refused(case: Case) -> None:
    naive = cast.time_of("receive", case).replace(tzinfo=None)
    assert refusal("receive", case, happened_at=naive).codes == ["time_zone"]


@pytest.mark.parametrize("verb", VERBS)
def test_a_stated_time_is_kept_beside_the_time_of_recording(case: Case, verb: str) -> None:
    before(verb, case, prepared=False)
    stated = cast.time_of(verb, case) - timedelta(minutes=1)
    with clock.pinned(stated):
        cast.prepare(verb, case)
    entry = attempt(verb, case, happened_at=stated)
    assert (entry.happened_at, entry.recorded_at) == (stated, cast.time_of(verb, case))


@pytest.mark.parametrize("verb", VERBS)
def test_a_repeated_token_gives_the_first_entry(case: Case, verb: str) -> None:
    before(verb, case)
    given: dict[str, Any] = {"token": cast.token(), **cast.signers(verb, case)}
    facts = cast.facts_for(verb, case)
    with clock.pinned(cast.time_of(verb, case)):
        first = take(verb, case, facts, **given)
        earlier = picture()
        assert take(verb, case, facts, **given) == first
    assert picture() == earlier


@pytest.mark.parametrize("verb", VERBS)
def test_the_same_step_again_is_told_as_done(case: Case, verb: str) -> None:
    before(verb, case)
    attempt(verb, case)
    refused = refusal(verb, case)
    assert refused.codes == ["stage"]
    assert "Already done" in refused.text


def test_a_token_of_another_act_is_refused(case: Case) -> None:
    used = attempt("receive", case).token
    case.refresh_from_db()
    with clock.pinned(cast.time_of("authorize", case)):
        cast.prepare("authorize", case)
    assert refusal("authorize", case, token=used).codes == ["token"]


def test_the_facts_of_another_step_are_a_fault_of_the_program(case: Case) -> None:
    with pytest.raises(TypeError):
        take(
            "authorize",
            case,
            cast.facts_for("receive", case),
            **cast.signers("authorize", case),
            token=cast.token(),
        )
    assert ReceiveFacts.__name__ in str(cast.facts_for("receive", case))
