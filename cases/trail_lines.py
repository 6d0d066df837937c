"""An entry of the trail as people read it: words for the act, its facts, what it corrects."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from cases.corrections import CORRECTABLE
from cases.fact_words import label, shown
from cases.gates import TITLES
from cases.steps import STEPS
from chain_of_custody.models import CustodyEntry
from crematory.units import UnitSystem

# Forms state times to the minute; what comes later than that was recorded afterwards.
LATE_AFTER = timedelta(minutes=1)
ACTS = {
    "announce": "Announced",
    "file_document": "Paper filed",
    "take_in": "Files taken in",
    "set_aside": "File set aside",
    "name_holder": "Person with a say named",
    "state_known": "What is known of a person with a say stated",
    "state_agent": "Word of a person with a say recorded",
    "state_ranks": "Classes said to be complete",
    "review_authority": "What the rules leave open reviewed",
    "name_recipient": "Recipient named",
    "correct_reading": "Correction of a reading",
    "settle": "Question of the authorization answered",
    "answer_device": "Device questions answered",
    "list_things": "Personal things listed",
    "give_back": "Personal things given back",
    "compare_band": "Identity band compared",
    "relabel": "New labels on the containers",
    "open_hold": "Put on hold",
    "lift_hold": "Hold lifted",
    "tell_of_hold": "Told of a hold",
    "move": "Moved to another place",
    "correct": "Correction",
    "print": "Paper printed",
    "record_reading": "Reading entered",
    "run_event": "Event at the machine",
    "permit": "Permit to operate stated",
    "take_log": "Logger's file taken in",
    "controller": "Controller of a retort stated",
    "settle_finding": "Finding on a run's record settled",
    "upkeep": "Upkeep of a retort recorded",
    "upkeep_rule": "How often upkeep is due",
    "state_fitness": "Retort stated fit for use or not",
    "set_up": "House set up",
    "house_rules": "Rule of the house changed",
    "state_wait_ground": "Ground that may lift the wait stated",
    "answer_law": "Question of the law answered",
    "staff.add": "Member added",
    "staff.activate": "Member activated",
    "staff.deactivate": "Member deactivated",
    "staff.renew_certificate": "Certificate renewed",
    "staff.give_pin": "PIN given by a manager",
    "staff.give_password": "Password given by a manager",
    "staff.change_own_pin": "Own PIN chosen",
    "staff.change_own_password": "Own password chosen",
}
REASONS = {
    "role": "the member does not hold the role that signs this",
    "member": "the member cannot sign here",
    "stage": "the case was not at the stage that this step leaves",
    "token": "the form had been used for another act",
    "reading_role": "readings are entered and corrected by an operator or a manager",
    "reading_minute": "there was a reading of this minute already",
    "reading_withdrawn": "the reading of this minute was withdrawn",
    "event_unknown": "no kind of event of the list was named",
    "event_unsigned": "this event is signed with staff code and PIN",
    "event_manager": "a manager decides that a run is not resumed",
    "event_long": "the note was too long",
    "event_opacity": "the opacity readings were too many, or none of a percentage",
    "event_before": "the time lay before the last run of the retort ended",
    "event_phase": "such an event cannot be while the retort does what it did",
    "event_order": "something later that depends on it was recorded already",
    "log_known": "all its readings were stored already",
    "log_empty": "nothing of the file could be taken",
    "log_unit": "a channel was in a unit that does not suit it",
    "log_values": "the readings were too many or too large to be kept",
    "log_name": "the logger was not named",
    "controller_host": "no address of the controller was stated",
    "controller_range": "the port, the device or how often it is asked was out of range",
    "controller_channels": "the channels made no sense, or there was none",
    "controller_far": "the address was not on the house's own network",
    "permit_source": "the number or the source of the permit was missing",
    "permit_terms": "the terms made no permit",
    "permit_lacks": "it was not said when a person may be charged, or how often is recorded",
    "reason_long": "the reason was too long",
    "finding_changed": "it was no longer what the record showed",
    "finding_growing": "it still went on while the person burned",
    "finding_settled": "another manager had settled it",
    "upkeep_role": "upkeep is recorded by an operator or a manager",
    "upkeep_kind": "no kind of upkeep of the list was named",
    "upkeep_hand": "it was not said who did it",
    "upkeep_often": "it was not said how often it is due",
    "upkeep_source": "it was not said who asks for it",
    "witness_missing": "no second person signed",
    "witness_same": "the witness was the signer",
    "time_future": "the stated time lay in the future",
    "time_order": "the stated time lay before the previous step, or before what this one rests on",
    "time_death": "the stated time lay before the death",
    "time_zone": "the stated time had no zone",
    "signature_wrong": "staff code and PIN did not match: not signed by this member",
    "signature_locked": "signing with this code was locked after wrong PINs",
    "signature_inactive": "the member is not active",
    "by_hand": "this paper is printed only, never written by hand",
    "pin_given": "the PIN was given by a manager, and its owner had not chosen an own one",
    "reason_missing": "no reason was given",
    "ground_missing": "no ground was given",
    "hold_lifted": "the hold had been lifted already",
    "hold_stands": "this person's objection held the case already",
    "objector_missing": "it was not said who objects",
    "lifted_on_missing": "it was not said what lifts the hold",
    "dispute_stands": "the objection still had a right behind it, by the rules",
    "paper_missing": "the paper on which it rests was not named",
    "paper_unfit": "the paper was the ground of the hold itself, or had been replaced",
    "paper_kind": "the paper was no court order",
    "paper_settles_nothing": "the paper was no order, agreement or withdrawal",
    "paper_before": "the paper was on file before the objection",
    "nobody_told": "nobody was named who was told",
    "way_missing": "it was not said how they were told",
    "not_movable": "the person was in no place from which to move",
    "place_kind": "the place was of another kind",
    "place_same": "the person was there already",
    "place_taken": "the place was not free",
    "field": "this fact is not corrected in this way",
    "not_stated": "nothing was stated yet that could be corrected",
    "announced_before": "a person of this name and birth was expected or in care already",
    "born_after_death": "the birth would have come after the death",
    "facility": "the member belongs to another house",
    "own_account": "nobody deactivates themselves",
    "roles_missing": "no role was chosen",
    "number_missing": "no number of a certificate was given",
    "loosening": "it would have loosened the law, or made no sense",
    "not_added": "the house asked nothing more than the law there",
    "device_not_asked": "the law does not ask about this device apart",
    "answer_missing": "it was not said who of the local authority answered",
    "found_before_death": "the person would have been found before the death",
    "ground_unknown": "the law of this case knows no such ground",
    "waiver_paper_missing": "the paper by which the wait is waived was not chosen",
    "waiver_paper_replaced": "a later version had replaced the paper of the waiver",
    "basis_missing": "it was not said who stated the ground, and on what",
    "unchanged": "it would have changed nothing",
    "password_wrong": "the current password was not known",
    "password_locked": "it was locked after wrong passwords",
    "signature_needed": "a device once said to be there was answered without a signature",
    "reportable_stays": "a reportable death was to be stated otherwise without a correction",
    "labels_unread": "not each container's own good label was read",
    "band_date_missing": "the corrected date of birth was not read from the band",
    "band_date_manager": "the band showed no date of birth, and no manager was one of the two",
    "outcome_unfinished": "what became of a device was stated in part",
    "outcome_not_allowed": "this cannot have become of the device",
    "thing_changed": "the thing had been changed or given back meanwhile",
    "thing_unnamed": "a thing was not described",
    "thing_undecided": "nobody was named who decided on a thing",
    "thing_place": "it was not said where a thing lies",
    "thing_gone": "after the charge nothing more goes with the person",
    "things_too_early": "the list of things was closed before the person was here",
    "things_written": "the receipt wrote of things, and none was listed",
    "receiver_missing": "the receiver or the identification was not named",
    "receipt_unsigned": "the receiver had not signed, and it was not said why",
    "scan_missing": "there was neither a scan of the signed receipt nor a reason for none",
    "unsigned_unexplained": "it was not said why nobody signed",
    "band_differs": "the identity band read otherwise than the paperwork",
    "document_unknown": "the paper belonged to another case",
    "person_unknown": "the person was not named in this case",
    "file_missing": "no file was sent",
    "file_empty": "a file was empty",
    "file_large": "a file was too large",
    "file_many": "too many files came at once",
    "file_total": "the files together were too large",
    "file_kind": "a file was of no kind that is taken",
    "file_broken": "a file was damaged or not complete",
    "file_pixels": "a picture had too many dots",
    "file_locked": "a PDF was locked by a password",
    "file_pages": "a PDF had too many pages, or none of a sensible size",
    "file_acts": "a PDF carried a program or another file",
    "file_slow": "a file took too long to read",
    "file_busy": "too many files were being looked through",
    "file_unstored": "a file could not be stored",
    "file_twice": "a file was here already",
    "file_filed": "a file was filed already, or had been set aside",
    "file_damaged": "the stored file was missing or changed",
    "paper_replaced": "the paper had been replaced already",
    "page_unknown": "a file had no such page",
    "ranks_missing": "no class was named",
    "informant_missing": "it was not said who told it",
    "nobody_signed": "nobody had signed, and no paper of who answered was chosen",
    "stated_meanwhile": "something was stated meanwhile that the page had not shown",
    "nothing_open": "the rules left nothing open that a review could settle",
    "exclusion_unknown": "a fact was stated that no text knows",
    "efforts_missing": "no effort to reach the person was stated",
    "instrument_not_asked": "the class needs no paper of its own",
    "instrument_missing": "the paper on which the right rests was not named",
    "delegate_self": "the person was to delegate to themselves",
    "delegation_undated": "it was not said when the right was delegated",
    "name_differs": "the person was named otherwise before",
    "named_before": "the person was named in this class already",
    "objection_stands": "the person's objection was not settled",
    "not_signed": "there was no signature to take back",
    "no_objection": "the person had no objection that stood",
    "effort_too_early": "an effort to give notice lay before the death",
    "told_too_early": "the notice of the death lay before it",
    "law_answer_missing": "no question was answered",
    "question_unknown": "the law that was read does not ask this",
    "answer_paper_replaced": "the paper chosen had been replaced by a later version",
    "agreement_missing": "the paper in which the time was agreed was not chosen",
    "agreed_too_early": "the agreed time lay before the death",
    "drawing_missing": "nothing was drawn on the tablet",
}
# What people look for comes first, what only a machine compares comes last; between them what was
# stated, in the order of its keys.
_FIRST = (
    *("reasons", "decedent_name", "recipient_name", "returned_to", "name", "relationship", "rank"),
    *("position", "old", "new", "hold_kind", "raised_by", "ground", "lifted_on", "told", "kind"),
    *("number", "copy", "identification", "band_reads", "delivered_by", "firm"),
)
_LAST = ("meaning", "person", "files", "file", "photographs", "judged_under", "text_of", "sha256")
FIRST = {key: place - len(_FIRST) for place, key in enumerate(_FIRST)}
FIRST |= {key: place for place, key in enumerate(_LAST, 1)}


@dataclass(frozen=True)
class Fact:
    """One stated fact; `is_sealed` where the entry itself holds only a digest of it."""

    label: str
    value: str
    is_sealed: bool


@dataclass(frozen=True)
class Line:
    """An entry with what a page says about it."""

    entry: CustodyEntry
    act: str
    facts: list[Fact]
    is_late: bool
    signature: str
    corrects: int | None
    field: str


def line(entry: CustodyEntry, units: UnitSystem) -> Line:
    """Read one entry; its sealed values should be prefetched. Times in the zone in force."""
    return line_of(entry, {value.key: value.value for value in entry.sealed.all()}, units)


def line_of(entry: CustodyEntry, sealed: Mapping[str, str], units: UnitSystem) -> Line:
    """Read one entry with its sealed values by their keys. Times in the zone in force."""
    payload = json.loads(entry.payload)
    facts = {**payload["facts"], **sealed}
    if facts.get("place") == payload["place_to"]:  # its name stands beside the act already
        facts.pop("place", None)
    corrects = facts.pop("corrects", None)
    field = facts.pop("field", "") if corrects is not None else ""
    kind = field if field in CORRECTABLE else ""
    return Line(
        entry=entry,
        act=act_word(entry.act),
        facts=[
            Fact(
                label(key, entry.act),
                _shown(kind if kind and key in ("old", "new") else key, value, units, entry.act),
                key in sealed,
            )
            for key, value in ordered(said(facts))
        ],
        is_late=entry.recorded_at - entry.happened_at > LATE_AFTER,
        signature=payload["signature"],
        corrects=corrects,
        field=CORRECTABLE[field].label if kind else field.replace("_", " "),
    )


def said(facts: dict[str, Any]) -> dict[str, Any]:
    """Return what was stated: a correction may say "nothing", other facts are left out then."""
    told = {"old", "new"}
    return {k: v for k, v in facts.items() if k in told or (v is not None and v not in ("", []))}


def ordered(facts: dict[str, Any]) -> list[tuple[str, Any]]:
    """Return the facts in the order in which people read them."""
    return sorted(facts.items(), key=lambda fact: FIRST.get(fact[0], 0))


def _shown(key: str, value: Any, units: UnitSystem, act: str) -> str:
    if key == "reasons" and isinstance(value, list):
        return "; ".join(reason(str(code)) for code in value)
    return shown(key, value, units, act)


def act_word(act: str) -> str:
    """Return the name of an act for people: the step's label, or a word for it."""
    if act in STEPS:
        return STEPS[act].label
    return ACTS.get(act, act.replace("_", " ").replace(".", ": ").capitalize())


def reason(code: str) -> str:
    """Return why an attempt was refused, in words."""
    if code in TITLES:
        return f"not met: {TITLES[code]}"
    return REASONS.get(code, code.replace("_", " "))
