"""The step pages: every step taken through its form, and every refusal that a person can meet."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from cases.models import Case
from cases.steps import ORDER, STEPS
from chain_of_custody.models import CustodyEntry, Place
from chain_of_custody.trail import facts_of
from crematory import clock
from crematory.models import Facility, StaffMember
from retort_log.models import Retort
from tests import cast
from tests.cases.pages import browser, signed, url

pytestmark = pytest.mark.django_db


def typed(verb: str, case: Case) -> dict[str, Any]:
    """What a person types for the step, without signatures."""
    disc = cast.disc_of(case)

    def place(kind: str) -> int:
        return cast.free_place(case, kind).pk

    fill_in: dict[str, Callable[[], dict[str, Any]]] = {
        "receive": lambda: {
            "band_reads": case.decedent_name, "delivered_by": "Dora Driver", "firm": "Example",
            "container_kind": "fibreboard", "is_closed": "on", "is_rigid": "on",
            "is_leak_proof": "on", "is_combustible": "on", "mass_kg": "180 lb",
            "belongings": "none", "place": place("bay"),
        },
        "authorize": dict,
        "clear_devices": dict,
        "assign_disc": lambda: {
            "disc_number": disc, "disc_number_again": f"DISC/{disc}", "is_attached": "on"
        },
        "charge": lambda: {
            "retort": cast.free_retort(case).pk, "disc_scan": disc,
            "label_scan": cast.label_of(case), "chamber_is_empty": "on",
        },
        "burner_off": lambda: {"flame_has_ended": "on"},
        "recover": lambda: {"chamber_is_swept": "on", "disc_scan": disc, "place": place("tray")},
        "process": lambda: {
            "disc_scan": disc, "processor_was_empty": "on", "metal_fate": "recycled",
            "mass_kg": "2.4 kg",
        },
        "contain": lambda: {
            "disc_scan": disc, "are_sealed": "on", "place": place("shelf"),
            **containers(("urn", "200 in3", "1.4 kg"), ("keepsake", "1.2 L", "1 kg"), of=case),
        },
        "release": lambda: {
            "recipient_name": "Rita Recipient", "identification": "licence",
            "disc_on_paper": disc, "disc_on_container": disc, "receipt_is_signed": "on",
        },
        "return_uncremated": lambda: {
            "recipient_name": "Dora Driver", "firm": "Example", "identification": "licence",
            "reason": "burial", "receipt_is_signed": "on",
        },
    }  # fmt: skip
    return fill_in[verb]()


def containers(*rows: tuple[str, str, str], of: Case) -> dict[str, Any]:
    """Rows of the formset as the page sends them, each with a label of its own."""
    data: dict[str, Any] = {"containers-TOTAL_FORMS": len(rows), "containers-INITIAL_FORMS": 0}
    for position, row in enumerate(rows):
        for name, value in zip(("kind", "volume_l", "mass_kg"), row, strict=True):
            data[f"containers-{position}-{name}"] = value
        own = cast.own_label(of) if position else cast.label_of(of)
        data[f"containers-{position}-label_scan"] = own
    return data


def form_for(verb: str, case: Case, **changes: Any) -> dict[str, Any]:
    """The whole form, signed as the cast signs it."""
    office = cast.FRONT_OFFICE in STEPS[verb].signers
    first, second = ("C1", "C2") if office else ("O1", "O2")
    data = typed(verb, case) | {"token": cast.token()}
    data |= signed(cast.member(case.facility, first))
    if STEPS[verb].witnessed:
        data |= signed(cast.member(case.facility, second), "witness")
    return data | changes


def send(client: Client, verb: str, case: Case, **changes: Any) -> Any:
    """Prepare the step and send its form, at its time."""
    with clock.pinned(cast.time_of(verb, case)):
        cast.prepare(verb, case)
        response = client.post(url("step", case, verb), form_for(verb, case, **changes))
    case.refresh_from_db()
    return response


def test_every_step_is_taken_through_its_form(
    facility: Facility, clerk: StaffMember, operator: StaffMember
) -> None:
    case = cast.make_case(facility)
    for verb in ORDER:
        with clock.pinned(cast.time_of(verb, case)):
            page = browser(operator).get(url("step", case, verb))
            assert page.status_code == 200
        response = send(browser(operator), verb, case)
        errors = response.context and response.context["form"].errors
        assert response.status_code == 302, (verb, errors)
        assert case.stage == STEPS[verb].stage_to
    assert list(case.containers.values_list("mass_kg", flat=True)) == [Decimal("1.4"), Decimal(1)]


def test_the_way_out_before_the_charge(facility: Facility, clerk: StaffMember) -> None:
    case = cast.bring(cast.make_case(facility), "in_care")
    assert send(browser(clerk), "return_uncremated", case).status_code == 302
    assert case.stage == "returned"
    page = browser(clerk).get(url("case", case))
    assert b"Return uncremated" in page.content


def test_masses_are_read_in_the_units_of_the_facility(
    facility: Facility, clerk: StaffMember
) -> None:
    case = cast.make_case(facility)
    send(browser(clerk), "receive", case, mass_kg="180")
    assert case.delivery.mass_kg == Decimal("81.647")


def test_the_step_pages_keep_their_number_of_queries(
    facility: Facility, operator: StaffMember, django_assert_max_num_queries: Any
) -> None:
    case = cast.bring(cast.make_case(facility), "tagged")
    client = browser(operator)
    client.get(url("case", case))
    with django_assert_max_num_queries(27):
        client.get(url("step", case, "charge"))


def test_a_repeated_form_is_answered_with_the_first_result(
    facility: Facility, clerk: StaffMember
) -> None:
    case = cast.make_case(facility)
    data = form_for("receive", case)
    with clock.pinned(cast.time_of("receive", case)):
        for _ in range(2):
            response = browser(clerk).post(url("step", case, "receive"), data, follow=True)
    assert response.status_code == 200
    assert CustodyEntry.objects.filter(case=case, act="receive").count() == 1
    assert "already sent" in response.content.decode()
    assert case.placements.count() == 1


def test_the_page_of_the_charge_shows_all_gates_and_those_of_the_chosen_retort(
    facility: Facility, operator: StaffMember, retort: Retort
) -> None:
    case = cast.bring(cast.make_case(facility), "tagged")
    response = browser(operator).get(url("step", case, "charge"), {"retort": retort.pk})
    text = response.content.decode()
    assert text.count('class="gate ') == len(STEPS["charge"].gates)
    assert "No reading of Retort 1 in the last 15 minutes" in text


@pytest.mark.parametrize(
    ("verb", "stage", "field"),
    [
        ("charge", "tagged", "disc_scan"),
        ("recover", "cooling", "disc_scan"),
        ("process", "recovered", "disc_scan"),
        ("contain", "processed", "disc_scan"),
        ("release", "contained", "disc_on_container"),
    ],
)
def test_another_persons_disc_fills_the_screen(
    facility: Facility, operator: StaffMember, verb: str, stage: str, field: str
) -> None:
    case = cast.bring(cast.make_case(facility), stage)
    client = browser(operator)
    response = send(client, verb, case, **{field: "D99999"})
    text = response.content.decode()
    assert response.status_code == 409
    assert 'class="refusal-screen"' in text
    assert "WRONG" in text
    assert "no case has this disc" in text
    assert case.disc.number not in text
    assert reverse("cases:hold", args=[case.number]) in text
    assert case.stage == stage
    back = client.get(url("step", case, verb)).content.decode()
    assert 'value="D99999"' not in back
    assert "Kept, not recorded yet" in back
    assert cast.pin_of(operator) not in back


def test_a_wrong_pin_is_refused_at_the_form_and_recorded(
    facility: Facility, clerk: StaffMember
) -> None:
    case = cast.make_case(facility)
    response = send(browser(clerk), "receive", case, signer_pin=cast.WRONG_PIN)
    text = response.content.decode()
    assert response.status_code == 403
    assert "do not match" in text
    assert 'value="Dora Driver"' in text
    assert cast.WRONG_PIN not in text
    entry = CustodyEntry.objects.get(case=case, outcome="refused")
    assert "signature_wrong" in entry.payload


def test_an_unknown_staff_code_is_refused_and_names_nobody(
    facility: Facility, clerk: StaffMember
) -> None:
    case = cast.make_case(facility)
    response = send(browser(clerk), "receive", case, signer_code="NOBODY")
    assert response.status_code == 403
    entry = CustodyEntry.objects.get(case=case, outcome="refused")
    assert entry.signed_by is None
    assert "NOBODY" not in entry.payload
    assert facts_of(entry) == {"reasons": ["signature_wrong"], "staff_code": "unknown"}


@pytest.mark.parametrize(
    ("changes", "status", "words"),
    [
        (lambda f: signed(cast.member(f, "C1")), 403, "signed by operator"),
        (lambda f: signed(cast.member(f, "O3")), 409, "certificate expired"),
        (lambda f: signed(cast.member(f, "O1"), "witness"), 409, "another person"),
    ],
)
def test_a_signer_without_the_right_is_told_why(
    facility: Facility, operator: StaffMember, changes: Any, status: int, words: str
) -> None:
    case = cast.bring(cast.make_case(facility), "tagged")
    response = send(browser(operator), "charge", case, **changes(facility))
    assert response.status_code == status
    assert words in response.content.decode()
    assert case.stage == "tagged"


def test_a_stage_taken_by_another_says_who_and_when(facility: Facility, clerk: StaffMember) -> None:
    case = cast.make_case(facility)
    cast.do("receive", case)
    response = send(browser(clerk), "receive", case)
    assert response.status_code == 409
    assert "by Clara Clerk at " in response.content.decode()


@pytest.mark.parametrize(
    ("moment", "words"),
    [
        ("2024-03-10T02:30", "clocks were set forward"),
        ("2024-11-03T01:30", "struck twice"),
        ("yesterday", "Write the day and the time"),
        ("2024-13-40T02:30", "Write the day and the time"),
        ("2024-11-03 01:30 CET", "The zone here"),
    ],
)
def test_a_time_that_the_clock_did_not_show_once_is_asked_again(
    facility: Facility, clerk: StaffMember, moment: str, words: str
) -> None:
    case = cast.make_case(facility)
    response = send(browser(clerk), "receive", case, happened_at=moment)
    assert response.status_code == 422
    assert words in response.content.decode()


def test_a_time_struck_twice_is_taken_with_its_zone(facility: Facility, clerk: StaffMember) -> None:
    case = cast.make_case(facility, at=datetime(2024, 11, 3, 7, 0, tzinfo=UTC))
    with clock.pinned(datetime(2024, 11, 3, 12, 0, tzinfo=UTC)):
        data = form_for("receive", case, happened_at="2024-11-03 01:30 MST")
        response = browser(clerk).post(url("step", case, "receive"), data)
    assert response.status_code == 302
    case.refresh_from_db()
    assert case.stage_since == datetime(2024, 11, 3, 8, 30, tzinfo=UTC)


def test_a_mass_out_of_range_needs_a_managers_hand(
    facility: Facility, operator: StaffMember, manager: StaffMember
) -> None:
    case = cast.bring(cast.make_case(facility), "recovered")
    refused = send(browser(operator), "process", case, mass_kg="9 kg")
    assert refused.status_code == 409
    assert "Mass plausible" in refused.content.decode()
    wrong = signed(manager, "manager", cast.WRONG_PIN)
    response = send(
        browser(operator), "process", case, mass_kg="9 kg", acceptance_reason="dense", **wrong
    )
    assert response.status_code == 403
    right = signed(manager, "manager")
    accepted = send(
        browser(operator), "process", case, mass_kg="9 kg", acceptance_reason="dense", **right
    )
    assert accepted.status_code == 302
    assert case.processing.accepted_by == manager


def test_a_container_more_keeps_what_was_typed(facility: Facility, operator: StaffMember) -> None:
    case = cast.bring(cast.make_case(facility), "processed")
    response = send(browser(operator), "contain", case, more="1")
    text = response.content.decode()
    assert response.status_code == 200
    assert "Container 3" in text
    assert 'value="keepsake"' in text
    assert 'name="containers-TOTAL_FORMS" value="3"' in text
    assert case.stage == "processed"
    many = containers(*[("urn", "200 in3", "1 kg")] * 9, of=case)
    full = send(browser(operator), "contain", case, more="1", **many).content.decode()
    assert "Container 9" in full
    assert "Container 10" not in full


def test_more_than_nine_containers_are_refused(facility: Facility, operator: StaffMember) -> None:
    case = cast.bring(cast.make_case(facility), "processed")
    many = containers(*[("urn", "200 in3", "0.2 kg")] * 12, of=case)
    assert send(browser(operator), "contain", case, **many).status_code == 422
    assert case.stage == "processed"


def test_what_was_typed_outlives_the_session(facility: Facility, operator: StaffMember) -> None:
    case = cast.bring(cast.make_case(facility), "processed")
    client = browser(operator)
    client.logout()
    client.post(url("step", case, "contain"), form_for("contain", case))
    signed_in = client.post(
        reverse("login"),
        {"username": operator.staff_code, "password": cast.PASSWORD, "next": url("case", case)},
    )
    assert signed_in.status_code == 302, signed_in.content.decode()
    text = client.get(url("step", case, "contain")).content.decode()
    assert 'value="keepsake"' in text
    assert "Container 2" in text
    assert "enter PINs where they are asked" in text
    assert cast.pin_of(operator) not in text
    assert 'value="keepsake"' not in client.get(url("step", case, "contain")).content.decode()


def test_pins_are_typed_unseen_and_scans_do_not_send(
    facility: Facility, operator: StaffMember
) -> None:
    case = cast.bring(cast.make_case(facility), "tagged")
    text = browser(operator).get(url("step", case, "charge")).content.decode()
    assert text.count('type="password"') == 2
    assert text.count('inputmode="numeric"') == 2
    assert text.count("data-scan") == 4
    assert "scan.js" in text


def test_unknown_steps_and_cases_are_not_found(
    facility: Facility, operator: StaffMember, other_operator: StaffMember
) -> None:
    case = cast.make_case(facility)
    assert browser(operator).get(url("step", case, "fly")).status_code == 404
    assert browser(other_operator).get(url("step", case, "receive")).status_code == 404
    assert browser(operator).put(url("step", case, "receive")).status_code == 405
    wrong = reverse(
        "cases:case", args=[case.number[:-1] + ("A" if case.number[-1] != "A" else "B")]
    )
    response = browser(operator).get(wrong)
    assert response.status_code == 404
    assert "no case number" in response.content.decode()


def test_places_offered_are_free_ones_of_this_house(
    facility: Facility, other_facility: Facility, clerk: StaffMember
) -> None:
    case = cast.make_case(facility)
    theirs = Place.objects.filter(facility=other_facility, kind="bay").first()
    assert theirs is not None
    assert send(browser(clerk), "receive", case, place=theirs.pk).status_code == 422


def test_the_screen_says_whose_disc_it_was_by_the_case_number(
    facility: Facility, operator: StaffMember
) -> None:
    other = cast.bring(cast.make_case(facility, decedent_name="Bea Other"), "tagged")
    case = cast.bring(cast.make_case(facility), "tagged")
    text = send(browser(operator), "charge", case, disc_scan=other.disc.number).content.decode()
    assert f"it is the disc of case {other.number}" in text
    assert "Bea Other" not in text
    assert case.disc.number not in text


@pytest.mark.parametrize("query", ["", "?retort=retort-1"])
def test_a_refused_charge_lands_on_the_reasons(
    facility: Facility, operator: StaffMember, query: str
) -> None:
    case = cast.bring(cast.make_case(facility), "tagged")
    with clock.pinned(cast.time_of("charge", case)):
        cast.prepare("charge", case)
        sent = form_for("charge", case, chamber_is_empty="")
        page = browser(operator).post(url("step", case, "charge") + query, sent)
    text = page.content.decode()
    assert page.status_code == 409
    assert text.count("autofocus") == 1
    assert 'role="alert" tabindex="-1" autofocus>' in text


def test_no_cursor_stands_in_a_staff_code_that_is_filled_in(
    facility: Facility, clerk: StaffMember
) -> None:
    case = cast.bring(cast.make_case(facility), "in_care")
    form = browser(clerk).get(url("step", case, "authorize")).context["form"]
    assert form["signer_code"].value() == clerk.staff_code
    focused = [name for name, field in form.fields.items() if "autofocus" in field.widget.attrs]
    assert focused == ["signer_pin"]


@pytest.mark.parametrize(
    ("verb", "stage"), [("charge", "tagged"), ("burner_off", "in_retort"), ("recover", "cooling")]
)
def test_a_step_opened_at_the_machine_stays_there(
    facility: Facility, operator: StaffMember, verb: str, stage: str
) -> None:
    case = cast.bring(cast.make_case(facility), stage)
    machine = reverse("machine", args=["retort-1"])
    address = url("step", case, verb) + "?retort=retort-1"
    with clock.pinned(cast.time_of(verb, case)):
        cast.prepare(verb, case)
        client = browser(operator)
        page = client.get(address).content.decode()
        assert "at-machine shop-floor" in page
        assert f'<a href="{reverse("machines")}" aria-current="true">' in page
        assert page.count("aria-current") == 1
        assert f'href="{machine}"' in page
        assert client.post(address, form_for(verb, case)).headers["Location"] == machine
    assert "shop-floor" not in client.get(url("step", case, verb)).content.decode()


def test_a_burner_off_right_after_the_charge_is_asked_about(
    facility: Facility, operator: StaffMember
) -> None:
    case = cast.bring(cast.make_case(facility), "in_retort")
    client = browser(operator)
    address = url("step", case, "burner_off")
    with clock.pinned(case.stage_since + timedelta(seconds=40)):
        assert "short_burn_confirmed" in client.get(address).content.decode()
        asked = client.post(address, form_for("burner_off", case))
        assert asked.status_code == 422
        assert "Charged 40 s before: is that right?" in asked.content.decode()
    with clock.pinned(case.stage_since + timedelta(minutes=14)):
        cast.read(case.run.retort, cast.HOT)
        sent = form_for("burner_off", case, short_burn_confirmed="on")
        assert client.post(address, sent).status_code == 302
    entry = CustodyEntry.objects.get(case=case, act="burner_off", outcome="done")
    assert facts_of(entry)["short_burn_confirmed"] is True


def test_after_a_real_burn_nothing_is_asked(facility: Facility, operator: StaffMember) -> None:
    case = cast.bring(cast.make_case(facility), "in_retort")
    assert send(browser(operator), "burner_off", case).status_code == 302
    entry = CustodyEntry.objects.get(case=case, act="burner_off", outcome="done")
    assert "short_burn_confirmed" not in facts_of(entry)
