"""What the hands of the demonstration state at each step, and the slips that gates refuse."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from math import cos, sin
from typing import TYPE_CHECKING, Any

from cases import acts, thing_acts, things
from cases import facts as f
from cases.drawing import Stroke, as_png
from cases.thing_acts import Listed
from chain_of_custody import uploads_in
from chain_of_custody.models import Place
from crematory import clock

if TYPE_CHECKING:
    from cases.demo.life import Life

URN_L, KEEPSAKE_L = Decimal("3.3"), Decimal("0.3")
KEEPSAKE_KG = Decimal("0.150")


def receive(life: Life) -> f.Facts:
    return f.ReceiveFacts(
        band_reads=life.person.received_as or life.person.name,
        delivered_by="Corwin Pellanby",
        firm=life.person.sender,
        container_kind="plywood container, unlined",
        is_closed=True,
        is_rigid=True,
        is_leak_proof=True,
        is_combustible=True,
        mass_kg=life.person.mass_kg,
        belongings=life.person.belongings,
        place=life.hands.free(Place.Kind.BAY),
    )


def authorize(life: Life) -> f.Facts:
    return f.AuthorizeFacts()


def clear_devices(life: Life) -> f.Facts:
    return f.ClearDevicesFacts()


def answer(life: Life, told: dict[str, str], is_removed: bool = False) -> None:
    """Answer device questions; that a device was removed is signed."""
    operator = life.hands[life.operator()]
    acts.answer_devices(
        life.case,
        operator.member,
        life.hands.token(),
        [_told(life, device, word, is_removed) for device, word in told.items()],
        signed_by=operator if is_removed else None,
    )


def _told(life: Life, device: str, word: str, is_removed: bool) -> dict[str, Any]:
    return {
        "device": device,
        "answer": word if word in ("no", "unknown") else "yes",
        "informant": f"{life.person.agent}, by telephone",
        **(_removal(life) if is_removed else OUTCOMES.get(word, dict)()),
    }


def _removal(life: Life) -> dict[str, Any]:
    return {
        "outcome": "removed",
        "removed_by": "Tamsin Orrel, embalmer",
        "removed_at": clock.now() - timedelta(minutes=15),
        "went_to": "returned to the clinic in a sealed box",
        "receipt_reference": f"box {life.index:03d}",
    }


def _attested() -> dict[str, Any]:
    return {
        "outcome": "attested",
        "attested_by": "Marian Tolworthy, embalmer",
        "attester_licence": "E-2214",
    }


def _stays() -> dict[str, Any]:
    rule = "harmless: no battery and no pressure (common practice, no source)"
    return {"outcome": "stays", "stays_by_rule": rule}


def _waits() -> dict[str, Any]:
    placed = (clock.now() - timedelta(days=200)).date()
    return {
        "nuclide": "I-125",
        "nuclide_use": "seeds",
        "placed_on": placed,
        "activity_mbq": Decimal(1200),
        "activity_on": placed,
    }


# What is stated at once of a device that is there; of one still to be removed nothing is.
OUTCOMES: dict[str, Callable[[], dict[str, Any]]] = {
    "attested": _attested,
    "stays": _stays,
    "waits": _waits,
}


def list_things(life: Life) -> None:
    """List what came with the person, for the family to have back, and close the list."""
    person, lines = life.person, []
    if person.belongings != "none":
        lines = [Listed(person.belongings, "jewellery", "returned", person.agent, "safe, box 3")]
    member = life.hands.member(life.operator())
    thing_acts.list_things(life.case, member, life.hands.token(), lines, is_complete=True)


def give_back(life: Life) -> None:
    """Give back what lies here; the receiver signs on the tablet."""
    strokes = _signature()
    drawing = uploads_in.arrive(as_png(strokes), "signature.png")
    thing_acts.give_back(
        life.case,
        life.hands[life.front()],
        life.hands.token(),
        things.due(life.case),
        returned_to=life.person.agent,
        identification="driver licence, seen",
        receipt=thing_acts.Receipt(form="tablet", drawing=drawing, strokes=strokes),
    )


def _signature() -> list[Stroke]:
    """A drawn line of waves that is nobody's hand: hundredths of a mm, and milliseconds."""
    waves = [
        [round(60 * n), round(700 + 420 * sin(n / 3.1) * cos(n / 17)), 14 * n] for n in range(90)
    ]
    line = [[200 + 180 * n, 1300 - 6 * n, 1600 + 14 * n] for n in range(26)]
    return [waves, line]


def assign_disc(life: Life) -> f.Facts:
    return f.AssignDiscFacts(disc_number=life.disc, disc_number_again=life.disc, is_attached=True)


def charge(life: Life) -> f.Facts:
    return f.ChargeFacts(
        retort=life.retort,
        disc_scan=f"DISC/{life.disc}",
        label_scan=life.hands.label(life.case),
        chamber_is_empty=True,
    )


def burner_off(life: Life) -> f.Facts:
    return f.BurnerOffFacts(flame_has_ended=True)


def recover(life: Life) -> f.Facts:
    if life.person.lost_disc:
        return f.RecoverFacts(
            disc_state=life.person.lost_disc,
            photograph=life.photograph,
            chamber_is_swept=True,
            disc_number=life.new_disc,
            disc_number_again=f"DISC/{life.new_disc}",
            is_attached=True,
            place=life.hands.free(Place.Kind.TRAY),
            acceptance=life.hands["MG1"],
            acceptance_reason="The chamber was empty before, and one person was charged.",
        )
    return f.RecoverFacts(
        disc_scan=f"DISC/{life.disc}", chamber_is_swept=True, place=life.hands.free(Place.Kind.TRAY)
    )


def process(life: Life) -> f.Facts:
    accepted = life.person.accepted
    return f.ProcessFacts(
        disc_scan=f"DISC/{life.disc}",
        processor_was_empty=True,
        metal_fate="recycled, as authorized",
        mass_kg=life.remains_kg,
        acceptance=life.hands["MG1"] if accepted else None,
        acceptance_reason=accepted,
    )


def contain(life: Life) -> f.Facts:
    parts = [("urn", URN_L, life.remains_kg)]
    if life.person.keepsake:
        parts = [
            ("urn", URN_L, life.remains_kg - KEEPSAKE_KG),
            ("keepsake urn", KEEPSAKE_L, KEEPSAKE_KG),
        ]
    return f.ContainFacts(
        disc_scan=f"DISC/{life.disc}",
        containers=tuple(
            f.Container(
                kind=kind,
                volume_l=volume_l,
                mass_kg=mass_kg,
                label_scan=life.hands.label(life.case, back),
            )
            for back, (kind, volume_l, mass_kg) in enumerate(parts)
        ),
        are_sealed=True,
        place=life.hands.free(Place.Kind.SHELF),
    )


def release(life: Life) -> f.Facts:
    shipped = life.person.shipped
    return f.ReleaseFacts(
        recipient_name=life.person.agent,
        identification="carrier's acceptance slip" if shipped else "driver licence, seen",
        disc_on_paper=life.disc,
        disc_on_container=life.disc,
        receipt_is_signed=not shipped,
        things_are_given=True if things.due(life.case) else None,
        carrier="registered post" if shipped else "",
        tracking_number=f"RR {life.index:09d} ZZ" if shipped else "",
    )


def return_uncremated(life: Life) -> f.Facts:
    return f.ReturnFacts(
        recipient_name="Corwin Pellanby",
        firm=life.person.sender,
        identification="driver licence, seen",
        reason="The family could not agree; burial instead.",
        receipt_is_signed=True,
        things_are_given=True if things.due(life.case) else None,
    )


STATEMENTS: dict[str, Callable[[Life], f.Facts]] = {
    function.__name__: function
    for function in (
        receive,
        authorize,
        clear_devices,
        assign_disc,
        charge,
        burner_off,
        recover,
        process,
        contain,
        release,
        return_uncremated,
    )
}


def _one_container(facts: Any, **changes: Any) -> f.Facts:
    return replace(facts, containers=(replace(facts.containers[0], **changes),))


Slip = Callable[["Life", Any], f.Facts]
# One slip a gate: what somebody in a hurry states, and the gate refuses.
SLIPS: dict[str, Slip] = {
    "identity_band": lambda life, facts: replace(facts, band_reads="Oriel Stannick"),
    "deliverer_named": lambda life, facts: replace(facts, delivered_by=" "),
    "container_fit": lambda life, facts: replace(facts, is_leak_proof=False),
    "body_mass_stated": lambda life, facts: replace(facts, mass_kg=Decimal(0)),
    "belongings_listed": lambda life, facts: replace(facts, belongings=""),
    "free_bay": lambda life, facts: replace(facts, place=life.hands.not_free("bay")),
    "disc_read_twice": lambda life, facts: replace(facts, disc_number_again=life.disc[::-1]),
    "disc_unused": lambda life, facts: replace(
        facts,
        disc_number=life.hands.other_disc(life.case),
        disc_number_again=life.hands.other_disc(life.case),
    ),
    "disc_attached": lambda life, facts: replace(facts, is_attached=False),
    "retort_empty": lambda life, facts: replace(facts, chamber_is_empty=False),
    "mass_limit": lambda life, facts: replace(facts, retort=life.hands.retorts[1]),
    "disc_scanned": lambda life, facts: replace(facts, disc_scan=life.hands.other_disc(life.case)),
    "label_scanned": lambda life, facts: replace(
        facts, label_scan=life.hands.other_label(life.case)
    ),
    "flame_ended": lambda life, facts: replace(facts, flame_has_ended=False),
    "swept_clear": lambda life, facts: replace(facts, chamber_is_swept=False),
    "disc_found": lambda life, facts: replace(facts, disc_scan=life.hands.other_disc(life.case)),
    "loss_photographed": lambda life, facts: replace(facts, photograph=None),
    "loss_accepted": lambda life, facts: replace(facts, acceptance=None, acceptance_reason=""),
    "new_disc_tied": lambda life, facts: replace(facts, disc_number_again=life.disc),
    "free_tray": lambda life, facts: replace(facts, place=life.hands.not_free("tray")),
    "disc_on_tray": lambda life, facts: replace(facts, disc_scan=life.hands.other_disc(life.case)),
    "processor_empty": lambda life, facts: replace(facts, processor_was_empty=False),
    "metal_settled": lambda life, facts: replace(facts, metal_fate=""),
    "mass_plausible": lambda life, facts: replace(
        facts,
        mass_kg=Decimal(life.person.weighed_kg or "12.4"),
        acceptance=None,
        acceptance_reason="",
    ),
    "masses_add_up": lambda life, facts: _one_container(
        facts, mass_kg=life.remains_kg - Decimal("0.4")
    ),
    "volumes_hold": lambda life, facts: _one_container(facts, volume_l=Decimal("1.0")),
    "label_disc_scanned": lambda life, facts: _one_container(
        facts, label_scan=life.hands.other_label(life.case)
    ),
    "containers_sealed": lambda life, facts: replace(facts, are_sealed=False),
    "free_shelf": lambda life, facts: replace(facts, place=life.hands.not_free("shelf")),
    "recipient_named": lambda life, facts: replace(facts, recipient_name="Oriel Stannick"),
    "identification_seen": lambda life, facts: replace(facts, identification=""),
    "disc_read_aloud": lambda life, facts: replace(
        facts, disc_on_container=life.hands.other_disc(life.case)
    ),
    "handed_over": lambda life, facts: replace(
        facts, receipt_is_signed=False, carrier="", tracking_number=""
    ),
    "things_given_back": lambda life, facts: replace(facts, things_are_given=False),
    "return_receipt": lambda life, facts: replace(facts, receipt_is_signed=False),
}
