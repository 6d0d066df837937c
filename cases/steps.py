"""The one table of steps: read it from top to bottom. No database in here.

From this table come the buttons, the forms, the gates that are asked, and the triggers that
refuse a stage moved in any other way. Each gate name is a function in `cases/gates/`.
"""

from dataclasses import dataclass

from crematory.models import Role

FRONT_OFFICE, OPERATOR, MANAGER = Role.FRONT_OFFICE, Role.OPERATOR, Role.MANAGER

STAGES: dict[str, str] = {
    "expected": "expected",
    "in_care": "in care",
    "authorized": "authorized",
    "cleared": "cleared of devices",
    "tagged": "tagged with a disc",
    "in_retort": "in the retort",
    "cooling": "cooling",
    "recovered": "recovered",
    "processed": "processed",
    "contained": "contained",
    "released": "released",
    "returned": "returned uncremated",
}
FINAL_STAGES = ("released", "returned")
BEFORE_CHARGE = ("expected", "in_care", "authorized", "cleared", "tagged")


@dataclass(frozen=True)
class Step:
    """One way from a stage to the next: who signs, and what it must prove."""

    verb: str
    label: str
    stages_from: tuple[str, ...]
    stage_to: str
    signers: frozenset[Role]
    witnessed: bool
    gates: tuple[str, ...]
    meaning: str

    def moves(self) -> tuple[tuple[str, str], ...]:
        """Return the (from, to) pairs that this step may write."""
        return tuple((stage, self.stage_to) for stage in self.stages_from)


def _step(
    verb: str,
    label: str,
    move: tuple[tuple[str, ...] | str, str],
    signers: set[Role],
    gates: str,
    meaning: str,
    witnessed: bool = False,
) -> Step:
    origin = (move[0],) if isinstance(move[0], str) else move[0]
    names = ("no_hold", *gates.split())
    return Step(verb, label, origin, move[1], frozenset(signers), witnessed, names, meaning)


STEPS: dict[str, Step] = {
    step.verb: step
    for step in (
        _step(
            "receive",
            "Receive into care",
            ("expected", "in_care"),
            {FRONT_OFFICE, OPERATOR},
            "papers_at_receipt identity_band deliverer_named container_fit body_mass_stated "
            "belongings_listed free_bay",
            "I received this person and compared the identity band with the paperwork.",
            witnessed=True,
        ),
        _step(
            "authorize",
            "Authorize",
            ("in_care", "authorized"),
            {FRONT_OFFICE},
            "band_compared documents_on_file authorizing_agent no_dispute disposition_named "
            "recipients_named medical_clearance",
            "I have seen every paper and the right to cremate exists.",
        ),
        _step(
            "clear_devices",
            "Clear of devices",
            ("authorized", "cleared"),
            {OPERATOR},
            "band_compared devices_answered devices_removed radionuclide_wait jewellery_settled",
            "I checked every device question and nothing hazardous remains.",
            witnessed=True,
        ),
        _step(
            "assign_disc",
            "Tag with the disc",
            ("cleared", "tagged"),
            {OPERATOR},
            "band_compared disc_read_twice disc_unused disc_attached",
            "I fixed the disc with this number to this person's container.",
        ),
        _step(
            "charge",
            "Charge",
            ("tagged", "in_retort"),
            {OPERATOR},
            # What was proved earlier is asked again: an objection or a new answer may have come.
            "band_compared waiting_period papers_at_charge authorizing_agent no_dispute "
            "medical_clearance disposition_named recipients_named devices_answered devices_removed "
            "radionuclide_wait jewellery_settled operator_certified retort_free retort_fit "
            "upkeep_current permitted_hours "
            "retort_empty mass_limit charging_temperature disc_scanned label_scanned",
            "I compared disc, label and paperwork, and charged this person and no other.",
            witnessed=True,
        ),
        _step(
            "burner_off",
            "Burner off",
            ("in_retort", "cooling"),
            {OPERATOR},
            "not_interrupted readings_cover flame_ended",
            "Visible flame has ended and the burner is off.",
        ),
        _step(
            "recover",
            "Recover",
            ("cooling", "recovered"),
            {OPERATOR},
            "cool_enough swept_clear disc_found loss_photographed loss_accepted new_disc_tied "
            "free_tray",
            "I swept the chamber clear and found this person's disc among the remains.",
        ),
        _step(
            "process",
            "Process",
            ("recovered", "processed"),
            {OPERATOR},
            "disc_on_tray findings_settled processor_empty metal_settled mass_plausible",
            "I processed these remains and no others.",
        ),
        _step(
            "contain",
            "Contain",
            ("processed", "contained"),
            {OPERATOR},
            "disc_on_tray masses_add_up volumes_hold label_disc_scanned containers_sealed "
            "free_shelf",
            "All of these remains are in these containers, labelled and sealed.",
        ),
        _step(
            "release",
            "Release",
            ("contained", "released"),
            {FRONT_OFFICE},
            "labels_stand recipient_named identification_seen disc_read_aloud handed_over "
            "things_given_back",
            "I gave these remains to the person named.",
            witnessed=True,
        ),
        _step(
            "return_uncremated",
            "Return uncremated",
            (("in_care", "authorized", "cleared", "tagged"), "returned"),
            {FRONT_OFFICE},
            "band_compared return_receipt things_given_back",
            "I returned this person uncremated against a receipt.",
            witnessed=True,
        ),
    )
}

ORDER = tuple(verb for verb in STEPS if verb != "return_uncremated")


def next_step(stage: str) -> Step | None:
    """Return the step forward from this stage, or None at an end."""
    return next((STEPS[verb] for verb in ORDER if stage in STEPS[verb].stages_from), None)


def steps_from(stage: str) -> tuple[Step, ...]:
    """Return every step that may be taken from this stage."""
    return tuple(step for step in STEPS.values() if stage in step.stages_from)
