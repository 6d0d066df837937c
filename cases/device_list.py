"""What is asked of devices: how each is known, why it matters, and who says so. Pure.

"Common practice, no source" marks what the trade knows and nobody was seen to publish.
"""

from collections.abc import Mapping
from dataclasses import dataclass

NO_SOURCE = "common practice, no source"
GALE = "Gale and Mulley, J R Soc Med 2002;95:353-5"
SMITH = "Smith et al., Eur Geriatr Med 2012;3(2):97-102"
TRUST = "mft.nhs.uk, infectious bodies and medical devices"
JOURNAL = "ICCM Journal, autumn 2021, p. 9"
NEW_ZEALAND = "Cremation Regulations 1973 (New Zealand) ss. 2, 7, as summarized at cremation.org.nz"
PHYSICS = "hps.org/publicinformation/ate/q10119.html"


@dataclass(frozen=True)
class Question:
    """The help beside a question, its published source, and the rule by which it may stay."""

    help: str
    source: str
    stays_by: str = ""


QUESTIONS: Mapping[str, Question] = {
    "pacemaker": Question(
        "A small case under the skin, mostly below the collarbone. Its battery bursts in the "
        "chamber. A leadless one inside the heart counts too, where it is not asked about apart.",
        f"{GALE}; {SMITH}",
    ),
    "leadless_pacemaker": Question(
        "A capsule of two or three centimetres inside the heart; nothing is to be seen below the "
        "skin. The law here tells it apart: it need not be removed.",
        NEW_ZEALAND,
        f"need not be removed: {NEW_ZEALAND}",
    ),
    "defibrillator": Question(
        "Looks like a pacemaker. It is deactivated first and then removed: it can give a shock "
        "to whoever removes it.",
        TRUST,
    ),
    "resynchroniser": Question(
        "A pacemaker with three leads, with or without a defibrillator; the same dangers.",
        NO_SOURCE,
    ),
    "loop_recorder": Question("A stick of a few centimetres below the skin of the chest.", JOURNAL),
    "ventricular_assist": Question(
        "A pump at the heart, with a cable through the skin and batteries outside.", NO_SOURCE
    ),
    "neurostimulator": Question(
        "In the back, belly, buttock or chest: against pain, tremor or seizures, for bladder or "
        "stomach.",
        JOURNAL,
    ),
    "drug_pump": Question(
        "Below the skin of the belly: a battery and a reservoir under pressure.", JOURNAL
    ),
    "bone_stimulator": Question("A small battery near a broken or fused bone.", NO_SOURCE),
    "expanding_nail": Question(
        "A hollow nail in a long bone, blown up with salt water: it bursts by steam.",
        f"{TRUST}; {SMITH}",
    ),
    "programmable_shunt": Question(
        "A valve under the scalp that drains the brain; ask whether it has a battery.", NO_SOURCE
    ),
    "radioactive": Question(
        "Seeds in the prostate or elsewhere, or a dose given in the last months. What is left "
        "goes into the ash and the air.",
        PHYSICS,
    ),
    "other_battery": Question(
        "Whatever else is sealed or has a battery: hearing implant, monitor, limb with a motor, "
        "and what came in the container.",
        NEW_ZEALAND,
    ),
    "silicone": Question(
        "Breast or other. It does not burst; it fouls the hearth.",
        NO_SOURCE,
        f"harmless: no battery and no pressure ({NO_SOURCE})",
    ),
    "prosthesis": Question(
        "Joint, plate, screw, port or limb without a battery. Metal is found again afterwards.",
        NEW_ZEALAND,
        "inert: joints, plates and ports are not removed (New Zealand's guidance)",
    ),
}
