"""Each gate of each step is refused alone, and changes no row."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from cases import acts, hold_acts
from cases.corrections import correct
from cases.models import Case, Hold
from cases.steps import ORDER, STEPS
from chain_of_custody.models import open_placement
from crematory import clock
from retort_log.corrections import correct_reading
from retort_log.events import Stated, record_event
from retort_log.models import PermitToOperate, Reading, Retort
from retort_log.upkeep import Asked, ask
from retort_log.upkeep_due import Every
from tests import cast, raw
from tests.attempts import VERBS, attempt, before, refusal

GATE_FACTS: list[tuple[str, str, dict[str, Any]]] = [
    ("receive", "identity_band", {"band_reads": "Eda Example"}),
    ("receive", "deliverer_named", {"delivered_by": " "}),
    ("receive", "deliverer_named", {"firm": ""}),
    ("receive", "container_fit", {"is_closed": False}),
    ("receive", "container_fit", {"is_rigid": False}),
    ("receive", "container_fit", {"is_leak_proof": False}),
    ("receive", "container_fit", {"is_combustible": False}),
    ("receive", "body_mass_stated", {"mass_kg": Decimal(0)}),
    ("receive", "body_mass_stated", {"mass_kg": Decimal("1000.001")}),
    ("receive", "belongings_listed", {"belongings": "  "}),
    ("assign_disc", "disc_read_twice", {"disc_number_again": "D00009"}),
    ("assign_disc", "disc_read_twice", {"disc_number": "?", "disc_number_again": "?"}),
    ("assign_disc", "disc_attached", {"is_attached": False}),
    ("charge", "retort_empty", {"chamber_is_empty": False}),
    ("charge", "disc_scanned", {"disc_scan": "D99999"}),
    ("charge", "disc_scanned", {"disc_scan": ""}),
    ("charge", "label_scanned", {"label_scan": "CASE/QV24-00099-X"}),
    ("charge", "label_scanned", {"label_scan": "K7QM-2XHD-9"}),
    ("charge", "label_scanned", {"label_scan": ""}),
    ("burner_off", "flame_ended", {"flame_has_ended": False}),
    ("recover", "swept_clear", {"chamber_is_swept": False}),
    ("recover", "disc_found", {"disc_scan": "D99999"}),
    ("process", "disc_on_tray", {"disc_scan": "D99999"}),
    ("process", "disc_on_tray", {"disc_scan": ""}),
    ("contain", "disc_on_tray", {"disc_scan": "D99999"}),
    ("process", "processor_empty", {"processor_was_empty": False}),
    ("process", "metal_settled", {"metal_fate": " "}),
    ("process", "mass_plausible", {"mass_kg": Decimal("0.400")}),
    ("process", "mass_plausible", {"mass_kg": Decimal("9")}),
    ("contain", "containers_sealed", {"are_sealed": False}),
    ("contain", "masses_add_up", {"containers": ()}),
    ("release", "recipient_named", {"recipient_name": "Ruth Stranger"}),
    ("release", "identification_seen", {"identification": " "}),
    ("release", "disc_read_aloud", {"disc_on_paper": "D99999"}),
    ("release", "disc_read_aloud", {"disc_on_container": ""}),
    ("release", "handed_over", {"receipt_is_signed": False}),
    ("release", "handed_over", {"receipt_is_signed": False, "carrier": "Post"}),
    ("return_uncremated", "return_receipt", {"receipt_is_signed": False}),
    ("return_uncremated", "return_receipt", {"recipient_name": ""}),
    ("return_uncremated", "return_receipt", {"identification": ""}),
    ("return_uncremated", "return_receipt", {"reason": " "}),
]


@pytest.mark.parametrize(
    ("verb", "gate", "facts"),
    GATE_FACTS,
    ids=[f"{v}-{g}-{next(iter(f))}" for v, g, f in GATE_FACTS],
)
def test_a_gate_refuses_what_is_stated(
    case: Case, verb: str, gate: str, facts: dict[str, Any]
) -> None:
    assert refusal(verb, before(verb, case), **facts).codes == [gate]


SITUATIONS: dict[str, str] = {}


def situation(verb: str) -> Any:
    """Register a function that spoils one thing beside the facts of this step."""

    def register(function: Any) -> Any:
        SITUATIONS[function.__name__] = verb
        return function

    return register


@situation("authorize")
def band_compared(case: Case) -> dict[str, Any]:
    with clock.pinned(cast.time_of("authorize", case)):
        manager = cast.signature(cast.member(case.facility, cast.MANAGER))
        correct(case, manager, cast.token(), "decedent_name", "Ada Exemple", "misheard")
    return {}


def _without_removal_authorization(case: Case) -> dict[str, Any]:
    raw.past_triggers("DELETE FROM cases_document WHERE kind = 'removal_authorization'")
    return {}


@situation("receive")
def papers_at_receipt(case: Case) -> dict[str, Any]:
    return _without_removal_authorization(case)


@situation("authorize")
def documents_on_file(case: Case) -> dict[str, Any]:
    return _without_removal_authorization(case)


@situation("charge")
def papers_at_charge(case: Case) -> dict[str, Any]:
    return _without_removal_authorization(case)


@situation("authorize")
def authorizing_agent(case: Case) -> dict[str, Any]:
    raw.past_triggers("DELETE FROM cases_authorizingagent")
    return {}


@situation("authorize")
def no_dispute(case: Case) -> dict[str, Any]:
    with clock.pinned(cast.time_of("authorize", case)):
        cast.says(case, cast.member(case.facility, cast.CLERK), "Oona Objector", "objects")
    return {}


@situation("authorize")
def disposition_named(case: Case) -> dict[str, Any]:
    Case.objects.filter(pk=case.pk).update(disposition="")
    return {}


@situation("authorize")
def recipients_named(case: Case) -> dict[str, Any]:
    raw.past_triggers("DELETE FROM cases_recipient")
    return {}


@situation("authorize")
def medical_clearance(case: Case) -> dict[str, Any]:
    Case.objects.filter(pk=case.pk).update(is_death_reportable=True)
    return {}


def _answer(case: Case, **fields: Any) -> dict[str, Any]:
    with clock.pinned(cast.time_of("clear_devices", case)):
        operator = cast.member(case.facility, cast.OPERATOR)
        acts.answer_device(case, operator, cast.token(), informant="physician", **fields)
    return {}


@situation("clear_devices")
def devices_answered(case: Case) -> dict[str, Any]:
    return _answer(case, device="pacemaker", answer="unknown")


@situation("clear_devices")
def devices_removed(case: Case) -> dict[str, Any]:
    return _answer(case, device="pacemaker", answer="yes")


@situation("clear_devices")
def radionuclide_wait(case: Case) -> dict[str, Any]:
    today = cast.time_of("clear_devices", case).date()
    return _answer(
        case, device="radioactive", answer="yes", nuclide="I-125", nuclide_use="seeds",
        placed_on=today - timedelta(days=364),
    )  # fmt: skip


@situation("clear_devices")
def jewellery_settled(case: Case) -> dict[str, Any]:
    raw.past_triggers("DELETE FROM cases_thingslookedfor")
    return {}


@situation("release")
def things_given_back(case: Case) -> dict[str, Any]:
    with clock.pinned(cast.time_of("release", case)):
        cast.list_ring(case)
    return {}


@situation("assign_disc")
def disc_unused(case: Case) -> dict[str, Any]:
    other = cast.bring(cast.make_case(case.facility), "tagged")
    return {"disc_number": other.disc.number, "disc_number_again": other.disc.number.lower()}


@situation("charge")
def waiting_period(case: Case) -> dict[str, Any]:
    died = cast.time_of("charge", case) - timedelta(hours=24) + timedelta(seconds=1)
    raw.past_triggers("UPDATE cases_case SET died_at = %s WHERE id = %s", died, case.pk)
    return {}


@situation("charge")
def operator_certified(case: Case) -> dict[str, Any]:
    with clock.pinned(cast.time_of("charge", case)):
        expired = cast.member(case.facility, cast.EXPIRED_OPERATOR)
        return {"signed_by": cast.signature(expired)}


@situation("charge")
def retort_free(case: Case) -> dict[str, Any]:
    cast.bring(cast.make_case(case.facility), "in_retort")
    occupied = Retort.objects.get(runs__isnull=False)
    with clock.pinned(cast.time_of("charge", case)):
        cast.read(occupied, cast.HOT)
    return {"retort": occupied}


@situation("charge")
def retort_fit(case: Case) -> dict[str, Any]:
    Retort.objects.update(is_fit=False, unfit_reason="brickwork")
    return {}


@situation("charge")
def mass_limit(case: Case) -> dict[str, Any]:
    Retort.objects.update(mass_limit_kg=Decimal("81.499"))
    return {}


@situation("charge")
def charging_temperature(case: Case) -> dict[str, Any]:
    retort = Retort.objects.filter(facility=case.facility)[1]
    with clock.pinned(cast.time_of("charge", case)):
        cast.read(retort, (Decimal(600), Decimal("871.10")))
    return {"retort": retort}


@situation("charge")
def upkeep_current(case: Case) -> dict[str, Any]:
    manager = cast.signature(cast.member(case.facility, cast.MANAGER))
    inspection = Asked("inspection", Every(days=30), "house rule", blocks=True)
    for retort in Retort.objects.filter(facility=case.facility):
        ask(retort, manager, inspection)
    return {}


def _permit(case: Case, **terms: Any) -> None:
    PermitToOperate.objects.filter(facility=case.facility).update(
        terms={"code": "p", "title": "Permit", **terms}
    )


@situation("charge")
def permitted_hours(case: Case) -> dict[str, Any]:
    at = cast.time_of("charge", case).astimezone(case.facility.zone)
    first, last = at + timedelta(minutes=1), at + timedelta(hours=2)
    hours = {"from": f"{first:%H:%M}", "until": f"{last:%H:%M}", "citation": "Permit"}
    _permit(case, hours=hours)
    return {}


@situation("process")
def findings_settled(case: Case) -> dict[str, Any]:
    return _withdraw_a_reading(case)


def _withdraw_a_reading(case: Case) -> dict[str, Any]:
    during = Reading.objects.filter(retort=case.run.retort, at__gt=case.run.charged_at)
    signed = cast.signature(cast.member(case.facility, cast.OPERATOR))
    with clock.pinned(case.stage_since + timedelta(hours=1)):
        correct_reading(during.order_by("at")[0], signed, "entered for the wrong retort", None)
    return {}


@situation("burner_off")
def readings_cover(case: Case) -> dict[str, Any]:
    return _withdraw_a_reading(case)


@situation("recover")
def cool_enough(case: Case) -> dict[str, Any]:
    Retort.objects.update(sweep_limit_c=Decimal("59.99"))
    return {}


@situation("contain")
def volumes_hold(case: Case) -> dict[str, Any]:
    return {"containers": (cast.urn(case, volume_l=Decimal("2.18")),)}


@situation("contain")
def label_disc_scanned(case: Case) -> dict[str, Any]:
    return {"containers": (cast.urn(case, label_scan=f"DISC/{cast.disc_of(case)}"),)}


@situation("contain")
def masses_add_up(case: Case) -> dict[str, Any]:
    mass_kg = cast.MASS_KG - Decimal("0.051")
    return {"containers": (cast.urn(case, volume_l=Decimal(5), mass_kg=mass_kg),)}


@situation("release")
def labels_stand(case: Case) -> dict[str, Any]:
    manager = cast.signature(cast.member(case.facility, cast.MANAGER))
    correct(case, manager, cast.token(), "sender", "Another House", "misheard")
    return {}


def _occupied(case: Case, kind: str, stage: str) -> dict[str, Any]:
    other = cast.bring(cast.make_case(case.facility), stage)
    place = open_placement(other).place  # type: ignore[union-attr]
    assert place.kind == kind
    return {"place": place}


@situation("receive")
def free_bay(case: Case) -> dict[str, Any]:
    return _occupied(case, "bay", "in_care")


@situation("recover")
def free_tray(case: Case) -> dict[str, Any]:
    return _occupied(case, "tray", "recovered")


@situation("recover")
def loss_photographed(case: Case) -> dict[str, Any]:
    return cast.without_disc(case, photograph=None)


@situation("recover")
def loss_accepted(case: Case) -> dict[str, Any]:
    return cast.without_disc(case, acceptance_reason=" ")


@situation("recover")
def new_disc_tied(case: Case) -> dict[str, Any]:
    return cast.without_disc(case, is_attached=False)


@situation("burner_off")
def not_interrupted(case: Case) -> dict[str, Any]:
    at = case.run.charged_at + timedelta(minutes=10)
    signed = cast.signature(cast.member(case.facility, cast.OPERATOR))
    with clock.pinned(at):
        record_event(case.run.retort, Stated("interrupted", at, note="power lost"), signed)
    return {}


@situation("contain")
def free_shelf(case: Case) -> dict[str, Any]:
    return _occupied(case, "shelf", "contained")


@pytest.mark.parametrize(("gate", "verb"), SITUATIONS.items())
def test_a_gate_refuses_what_it_finds(case: Case, verb: str, gate: str) -> None:
    before(verb, case)
    given = globals()[gate](case)
    case.refresh_from_db()
    # An objection that matters is a hold by itself, and what is disputed is not sufficient.
    beside = ["no_hold", "authorizing_agent"] if gate == "no_dispute" else []
    assert refusal(verb, case, **given).codes == [*beside, gate]


def test_every_gate_is_refused_here() -> None:
    tested = {gate for _, gate, _ in GATE_FACTS} | set(SITUATIONS) | {"no_hold"}
    assert {gate for step in STEPS.values() for gate in step.gates} == tested


@pytest.mark.parametrize("verb", VERBS)
def test_a_hold_stops_each_step_until_it_is_lifted(case: Case, verb: str) -> None:
    before(verb, case)
    at = cast.time_of(verb, case)
    with clock.pinned(at):
        clerk = cast.signature(cast.member(case.facility, cast.CLERK))
        hold_acts.open_hold(case, clerk, cast.token(), "the family asks us to wait")
    assert refusal(verb, case).codes == ["no_hold"]
    with clock.pinned(at):
        manager = cast.signature(cast.member(case.facility, cast.MANAGER))
        hold_acts.lift_hold(
            Hold.objects.get(),
            manager,
            cast.token(),
            hold_acts.Lifting(on="cleared", reason="the family agrees"),
        )
    assert attempt(verb, case).stage_to == STEPS[verb].stage_to


@pytest.mark.parametrize("verb", ORDER[1:])
def test_all_reasons_are_told_at_once(case: Case, verb: str) -> None:
    before(verb, case, prepared=False)
    mine = {gate for v, gate, _ in GATE_FACTS if v == verb}
    facts = {k: v for name, _, stated in GATE_FACTS if name == verb for k, v in stated.items()}
    if verb == "charge":
        with clock.pinned(cast.time_of(verb, case)):
            cast.prepare(verb, case)
    assert mine <= set(refusal(verb, case, **facts).codes)


def test_two_reasons_are_both_told(case: Case) -> None:
    codes = refusal("receive", case, firm="", belongings="").codes
    assert codes == ["deliverer_named", "belongings_listed"]
