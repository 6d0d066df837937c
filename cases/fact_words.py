"""The facts of an entry in plain words: what each is called, and how its value reads.

The trail keeps keys and codes, for it is hashed and must never change its spelling; people read
words. A key or code that stands nowhere here is shown with its underscores as spaces.
"""

import json
from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import Any, cast

from cases import law
from cases.authority import EXCLUSIONS
from cases.death import read_words
from cases.law.page_words import title_of
from cases.law.words import GROUNDS, PAPERS
from cases.models import (
    AuthorizingAgent,
    Case,
    DeviceAnswer,
    DiscReplaced,
    Hold,
    PersonalThing,
    ThingsReceipt,
)
from cases.paper_titles import PAPER_TITLES
from cases.right_words import class_title
from cases.scans import DISC_MARK
from crematory.templatetags.crematory import long_day, when
from crematory.units import KindName, UnitSystem, show_quantity

UNITS: dict[str, str] = {"_kg": "mass", "_c": "temperature", "_l": "volume", "_cm": "length"}
LABELS: dict[str, str] = {
    "acceptance": "mass accepted by",
    "acceptance_reason": "reason of the acceptance",
    "after_charge": "came after the charge",
    "are_sealed": "containers are sealed",
    "band_reads": "identity band reads",
    "band_shows_no_birth": "band shows no date of birth",
    "basis": "stated by whom, on what",
    "born_on": "born",
    "by_hand": "written by hand",
    "bytes": "size",
    "chamber_is_empty": "chamber empty, seen",
    "chamber_is_swept": "chamber swept clear",
    "container_kind": "container",
    "container_kinds": "kinds of container",
    "decedent_name": "name of the decedent",
    "died_at": "died",
    "disc_number": "disc",
    "disc_number_again": "disc, read again",
    "disc_on_container": "disc on the container",
    "disc_on_paper": "disc on the paper",
    "disc_scan": "disc read",
    "disc_state": "disc",
    "discovered_at": "found",
    "document": "paper",
    "drawing_sha256": "drawn signature",
    "efforts": "efforts to give notice",
    "excluded": "this person",
    "firm": "firm",
    "flame_has_ended": "flame has ended, seen",
    "form": "in which form",
    "hold_kind": "kind of hold",
    "hold_opened_at": "hold since",
    "already_there": "stored already",
    "file_sha256": "SHA-256 of the file",
    "series_sha256": "SHA-256 of its readings",
    "how": "how it came",
    "identification": "identification seen",
    "informant": "said by",
    "is_another_person": "another person than the one of the same name, said so",
    "is_attached": "disc attached to the container",
    "is_claimed": "ground is claimed",
    "is_closed": "container closed",
    "is_combustible": "container combustible",
    "is_death_reportable": "death is reportable",
    "is_leak_proof": "container leak-proof",
    "is_objection_settled": "objection is settled",
    "is_rigid": "container rigid",
    "judged_under": "rules, by their SHA-256",
    "jurisdiction": "law",
    "label_scan": "label, by its paper number",
    "lifted_on": "lifted on",
    "list_is_complete": "list is complete",
    "meaning": "sentence that was signed",
    "metal_fate": "metal",
    "name": "name",
    "new": "now",
    "new_channels": "channels now",
    "new_device": "device now",
    "new_every_s": "asked every so many seconds now",
    "new_host": "address now",
    "new_is_on": "is asked now",
    "new_port": "port now",
    "number": "paper number",
    "old": "before",
    "old_channels": "channels before",
    "old_device": "device before",
    "old_every_s": "asked every so many seconds before",
    "old_host": "address before",
    "old_is_on": "was asked before",
    "old_port": "port before",
    "old_disc_number": "disc until then",
    "path": "rule",
    "person": "number of the person in this case",
    "position": "says",
    "processor_was_empty": "processor empty before, seen",
    "rank": "class",
    "ranks": "classes",
    "ranks_informant": "said by",
    "reasons": "reasons",
    "receipt_is_signed": "receipt is signed",
    "receipt_form": "receipt signed",
    "recipient_name": "recipient",
    "replaced_filed_at": "that paper was filed",
    "replaces": "replaces",
    "returned_to": "given to",
    "said_at": "signed or said",
    "said_before_charge": "said before the charge",
    "sha256": "SHA-256",
    "short_burn_confirmed": "short burn, confirmed",
    "text_of": "law as of",
    "things": "personal things",
    "things_are_given": "personal things were given too",
    "told": "told",
    "told_at": "told at",
    "scan": "scan of the receipt",
    "unsigned_reason": "why it was not signed, or has no scan",
    "why": "reason",
}
# The same key says something else in these acts.
OF_ACT: dict[tuple[str, str], str] = {
    ("open_hold", "ground"): "reason of the hold",
    ("lift_hold", "reason"): "reason of the lifting",
    ("lift_hold", "document"): "paper it rests on",
    ("tell_of_hold", "how"): "how they were told",
    ("receive", "mass_kg"): "mass with container",
    ("receive", "firm"): "firm of the deliverer",
    ("process", "mass_kg"): "mass of the remains",
    ("recover", "acceptance"): "accepted by",
    ("recover", "disc_number"): "new disc",
    ("recover", "disc_number_again"): "new disc, read again",
    ("recover", "is_attached"): "new disc tied to the remains",
    ("print", "kind"): "paper",
    ("take_in", "kind"): "kind of file",
}
DEVICES = dict(DeviceAnswer.Device.choices)
YES_NO = {"True": "yes", "False": "no"}
CHOICES: dict[str, Mapping[str, str]] = {
    "sex": {"f": "female", "m": "male"},
    "disc_state": dict(DiscReplaced.Found.choices),
    "disposition": dict(Case.Disposition.choices),
    "hold_kind": dict(Hold.Kind.choices),
    "lifted_on": dict(Hold.LiftedBy.choices),
    "is_death_reportable": YES_NO,
    "is_embalmed": YES_NO,
    "kind": PAPERS,
    "document": PAPERS,
    "paper": PAPERS,
    "replaces": PAPERS,
    "ground": GROUNDS,
    "excluded": EXCLUSIONS,
    "position": dict(AuthorizingAgent.Position.choices),
    "form": dict(AuthorizingAgent.Form.choices),
    "receipt_form": dict(ThingsReceipt.Form.choices),
    "answer": dict(DeviceAnswer.Answer.choices),
    "outcome": dict(DeviceAnswer.Outcome.choices),
    "nuclide_use": dict(DeviceAnswer.Use.choices),
    "wish": dict(PersonalThing.Wish.choices),
}
# Values of these keys are texts and numbers as somebody wrote them: nothing in them is a code.
AS_WRITTEN = frozenset({"number", "sha256", "reference", "tracking_number", "judged_under"})


def label(key: str, act: str = "") -> str:
    """Return what a fact is called, without its unit: "mass_kg" gives "mass"."""
    if found := OF_ACT.get((act, key)) or LABELS.get(key) or DEVICES.get(key):
        return found
    if key.startswith("name_") and key.removeprefix("name_").isdigit():
        return f"name of file {key.removeprefix('name_')}"
    for ending in UNITS:
        key = key.removesuffix(ending)
    return key.removeprefix("is_").replace("_", " ")


def shown(key: str, value: Any, units: UnitSystem, act: str = "") -> str:
    """Write one value: quantities with both units, times in the zone in force, codes in words."""
    if value is None or value == "":
        return "nothing"
    if key in DEVICES and isinstance(value, str) and value.startswith("{"):
        return _device(json.loads(value), units)
    if act == "print" and key == "kind":
        return PAPER_TITLES.get(str(value), str(value).replace("_", " "))
    if act == "take_log" and key in ("from", "until"):
        return when(datetime.fromisoformat(str(value)))
    if isinstance(value, bool):
        return CHOICES.get(key, YES_NO)[str(value)]
    if isinstance(value, list):
        return "; ".join(shown(key, item, units, act) for item in value)
    if isinstance(value, dict):
        return _table(key, value, units)
    return _text(key, str(value), units)


def _device(stated: dict[str, Any], units: UnitSystem) -> str:
    """One answer to a device question: the answer first, then what was stated of it."""
    answer = shown("answer", stated.pop("answer", ""), units).lower()
    rest = (f"{label(key)}: {shown(key, value, units)}" for key, value in stated.items())
    return ", ".join([answer, *rest])


def _table(key: str, value: dict[str, Any], units: UnitSystem) -> str:
    if key == "ranks":
        told = {True: "nobody is missing", False: "not complete"}
        return "; ".join(f"{class_title(k)}: {told[bool(v)]}" for k, v in value.items())
    if "sha256" in value and "bytes" in value:
        return _file(value)
    return ", ".join(f"{label(k)} {shown(k, v, units)}" for k, v in value.items())


def _file(told: dict[str, Any]) -> str:
    pages = f"{told['pages']} page{'s' if told['pages'] != 1 else ''}, "
    return f"{told['kind']}, {pages}{told['bytes']:,} bytes, SHA-256 {told['sha256']}"


def _text(key: str, text: str, units: UnitSystem) -> str:
    if text in CHOICES.get(key, {}):
        return CHOICES[key][text]
    try:
        return _measured(key, text, units) or _coded(key, text)
    except (ArithmeticError, ValueError):  # written by an earlier form of the act: as it stands
        return text


def _measured(key: str, text: str, units: UnitSystem) -> str:
    """A quantity, a time or a day; "" for anything else."""
    for ending, kind in UNITS.items():
        if key.endswith(ending):
            return show_quantity(Decimal(text), cast(KindName, kind), units, both=True)
    if key == "died_at":
        return read_words(text)
    if key.endswith("_at"):
        return when(datetime.fromisoformat(text))
    if key.endswith("_on") or key in ("text_of", "allowed_from"):
        return long_day(date.fromisoformat(text))
    return ""


def _law_name(code: str) -> str:
    try:
        return law.jurisdiction(code).name
    except law.JurisdictionUnknown:  # its file is gone
        return code


def _coded(key: str, text: str) -> str:
    if key in ("disc_scan", "disc_number", "disc_number_again", "old_disc_number"):
        return text.removeprefix(DISC_MARK)
    if key == "rank":
        return class_title(text)
    if key == "jurisdiction":
        return _law_name(text)
    if key == "path":
        return title_of(text)
    if key in ("place", "retort"):
        return text.replace("-", " ")
    # A key of ours is one word of ASCII; what somebody wrote stays as it is.
    is_key = text.isascii() and "_" in text and " " not in text and key not in AS_WRITTEN
    return text.replace("_", " ") if is_key else text
