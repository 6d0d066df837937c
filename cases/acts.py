"""Acts beside the steps: announce, file, settle, answer, move. Each is one entry of the trail.

They share the shape of `take`: one transaction, the case locked, the token answered, the entry
appended together with the rows.
"""

from collections.abc import Callable, Sequence
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.db.models import Q

from cases import death, device_answers, documents, identity, numbering, seen
from cases.effects import move
from cases.errors import ActRefused
from cases.models import Case, DeviceAnswer, Document, Recipient
from cases.names import fold
from cases.overview import open_cases
from cases.roles import WHO, may_name_recipient, named
from cases.steps import BEFORE_CHARGE, STAGES
from cases.taking import check_member, check_witness, lock, record_refusal, repeated
from chain_of_custody import trail
from chain_of_custody.models import CustodyEntry, Place, Upload, open_placement
from chain_of_custody.trail import Sealed
from crematory import clock
from crematory.models import Facility, Role, StaffMember
from crematory.signatures import Signature
from crematory.templatetags.crematory import long_day

Write = Callable[[Case, datetime], dict[str, Any]]


def do_act(
    name: str,
    case: Case,
    member: StaffMember,
    token: str,
    write: Write,
    *,
    signature: str = "session",
    witness: Signature | None = None,
    after: Callable[[CustodyEntry], None] | None = None,
) -> CustodyEntry:
    """Do one act: `write` changes the rows and returns the facts; a refusal is recorded.

    `after` runs in the same transaction, with the entry.
    """
    try:
        with transaction.atomic():
            locked = lock(case)
            now = clock.now()  # under the lock: what is written later is stated later
            if earlier := repeated(locked, name, token):
                return earlier
            check_member(locked, member)
            facts = write(locked, now)
            places = {key: facts.pop(key) for key in ("place_from", "place_to") if key in facts}
            entry = trail.append(
                trail.Act(
                    facility=locked.facility,
                    name=name,
                    happened_at=now,
                    recorded_at=now,
                    case=locked,
                    signed_by=member,
                    signature=signature,
                    witness=witness.member if witness else None,
                    token=token,
                    facts=facts,
                    **places,
                )
            )
            if after:
                after(entry)
            return entry
    except ActRefused as refusal:
        record_refusal(case, name, refusal, member)
        raise


def need(member: StaffMember, *roles: Role) -> None:
    """Refuse a member who holds none of the roles."""
    if not member.roles & set(roles):
        raise ActRefused("role", f"This needs the role {named(frozenset(roles))}.")


def need_open(case: Case) -> None:
    if not case.is_open:
        raise ActRefused("stage", "This case is closed; nothing more can be filed on it.")


def of_this_case(case: Case, document: Document | Upload | None) -> None:
    """Refuse a paper, or a file, that is another case's."""
    if document is not None and document.case_id != case.pk:
        raise ActRefused("document_unknown", "This paper belongs to another case.")


def paper_as_it_is(case: Case, document: Document | None) -> Document | None:
    """Return a paper of the locked case with its case as it is now; refuse another case's."""
    of_this_case(case, document)
    return case.documents.get(pk=document.pk) if document is not None else None


def need_current(case: Case, document: Document | None) -> None:
    """Refuse a paper of which a later version is on file: what rests on it rests on the newest."""
    if document is not None and document.pk not in {p.pk for p in documents.current(case)}:
        raise ActRefused(
            "paper_replaced",
            "A later version has replaced this paper. Read that one, and choose it if it says so.",
        )


def announce(
    facility: Facility,
    member: StaffMember,
    token: str,
    *,
    is_another: bool | None = None,
    **fields: Any,
) -> Case:
    """Create the case of a person who is expected. A repeated token gives the first case.

    With `is_another` False somebody open with this name and date of birth refuses it; True
    records that this is another person. None asks nothing, as where no page could ask.
    """
    try:
        return _announce(facility, member, token, fields, is_another)
    except ActRefused as refusal:
        trail.record_refusal(facility, "announce", refusal.codes, member)
        raise


def announced_before(facility: Facility, name: str, born_on: date | None) -> Case | None:
    """Return somebody expected or in care with this name, whose date of birth does not differ."""
    same = open_cases(facility).filter(name_folded=fold(name)).order_by("pk")
    if born_on is not None:
        same = same.filter(Q(born_on=born_on) | Q(born_on__isnull=True))
    return same.first()


def _check_another(facility: Facility, fields: dict[str, Any]) -> None:
    if before := announced_before(facility, fields["decedent_name"], fields.get("born_on")):
        born = f"born {long_day(before.born_on)}" if before.born_on else "date of birth not known"
        raise ActRefused(
            "announced_before",
            f"{before.decedent_name}, {born}, is {STAGES[before.stage]} already: case "
            f"{before.number}. Open that case. If this is another person, say so and send again.",
        )


def _announce(
    facility: Facility,
    member: StaffMember,
    token: str,
    fields: dict[str, Any],
    is_another: bool | None,
) -> Case:
    need(member, *WHO["announce"])
    stated = death.Death(
        fields["died_at"],
        fields.get("died_at_latest"),
        fields.get("died_known_as", Case.DeathKnown.EXACT),
    )
    with transaction.atomic():
        trail.lock_log(facility)
        now = clock.now()  # under the lock: the number is of the year in which it is given
        death.check(stated, fields.get("discovered_at"), now)
        counter = numbering.lock_counter(facility, now)
        earlier = CustodyEntry.objects.filter(
            facility=facility, act="announce", token=token
        ).first()
        if earlier and earlier.case:
            return earlier.case
        if is_another is False:
            _check_another(facility, fields)
        case = Case(
            facility=facility,
            number=numbering.next_number(counter),
            announced_at=now,
            stage_since=now,
            jurisdiction=facility.jurisdiction,
            **fields,
        )
        case.full_clean(exclude=["stage_entry"])
        case.save()
        trail.append(
            trail.Act(
                facility=facility,
                name="announce",
                happened_at=now,
                recorded_at=now,
                case=case,
                signed_by=member,
                signature="session",
                token=token,
                facts={
                    "decedent_name": Sealed(case.decedent_name),
                    "born_on": Sealed(str(case.born_on or "")),
                    "died_at": Sealed(stated.sealed(facility.zone)),
                    **_found(case),
                    "sex": Sealed(case.get_sex_display()),
                    "sender": Sealed(case.sender),
                    "jurisdiction": case.jurisdiction,
                    **({"is_another_person": True} if is_another else {}),
                },
            )
        )
    return case


def _found(case: Case) -> dict[str, Any]:
    found = case.discovered_at
    return {"discovered_at": Sealed(found.isoformat())} if found else {}


def file_document(case: Case, member: StaffMember, token: str, **fields: Any) -> CustodyEntry:
    """File a paper that was seen, with its `files` and the version that it `replaces`, if any."""

    def write(locked: Case, now: datetime) -> dict[str, Any]:
        need(member, *WHO["file_document"])
        need_open(locked)
        return documents.write(locked, now, **fields)

    return do_act("file_document", case, member, token, write)


def name_recipient(case: Case, member: StaffMember, token: str, **fields: Any) -> CustodyEntry:
    """Record a person whom the authorization names to receive the remains.

    After the authorization only a manager names another one.
    """

    def write(locked: Case, now: datetime) -> dict[str, Any]:
        need_open(locked)
        need(member, *may_name_recipient(locked.stage))
        recipient = Recipient(case=locked, **fields)
        recipient.full_clean()
        recipient.save()
        return {"name": Sealed(recipient.name), "relationship": Sealed(recipient.relationship)}

    return do_act("name_recipient", case, member, token, write)


SETTLED = ("is_death_reportable", "disposition")


def settle(case: Case, member: StaffMember, token: str, **fields: Any) -> CustodyEntry:
    """Answer the open questions of the authorization: reportable death and disposition."""
    if set(fields) - set(SETTLED):
        raise TypeError(f"Only {', '.join(SETTLED)} are settled here.")

    def write(locked: Case, now: datetime) -> dict[str, Any]:
        need(member, *WHO["settle"])
        if locked.stage not in BEFORE_CHARGE:
            raise ActRefused("stage", "After the charge only a correction can change this.")
        if locked.is_death_reportable and not fields.get("is_death_reportable", True):
            raise ActRefused(
                "reportable_stays",
                "This death was stated to be reportable. Only a manager's correction changes that.",
            )
        for name, value in fields.items():
            setattr(locked, name, value)
        locked.full_clean(exclude=["stage_entry"])
        locked.save(update_fields=[*fields])
        told = {None: "", True: "yes", False: "no"}
        return {
            name: Sealed(told[value]) if name == "is_death_reportable" else value
            for name, value in fields.items()
        }

    return do_act("settle", case, member, token, write)


def answer_device(case: Case, member: StaffMember, token: str, **fields: Any) -> CustodyEntry:
    """Record the answer to one device question; the newest answer counts."""
    return answer_devices(case, member, token, [fields])


def answer_devices(
    case: Case,
    member: StaffMember,
    token: str,
    answers: Sequence[dict[str, Any]],
    *,
    signed_by: Signature | None = None,
    why: str = "",
    shown: str | None = None,
) -> CustodyEntry:
    """Record answers to different device questions, all or none, as one entry.

    A device that was once said to be there stops mattering only by a PIN signature; that it was
    never there, or that it is not known, needs a reason as well, and so does another value for
    what was stated of a radionuclide wait. `shown` is the mark of the page they were given on.
    """
    signer = signed_by.member if signed_by else member
    if len({fields["device"] for fields in answers}) < max(len(answers), 1):
        raise ValueError("One answer to each of one or more questions.")

    def write(locked: Case, now: datetime) -> dict[str, Any]:
        need(signer, *WHO["answer_device"])
        if locked.stage not in BEFORE_CHARGE:
            raise ActRefused("stage", "After the charge device answers stay as they are.")
        seen.check(shown, seen.of_devices(locked))
        rows = [DeviceAnswer(case=locked, answered_at=now, **fields) for fields in answers]
        for row in rows:
            device_answers.check(row, now)
            row.full_clean()
        _check_lowered(locked, rows, signed_by, why)
        for row in rows:
            row.save()
        facts = {row.device: Sealed(device_answers.sealed_text(row)) for row in rows}
        return {**facts, "why": Sealed(why.strip())} if why.strip() else {**facts}

    signature = "pin" if signed_by else "session"
    return do_act("answer_device", case, signer, token, write, signature=signature)


def _check_lowered(
    case: Case, rows: list[DeviceAnswer], signed_by: Signature | None, why: str
) -> None:
    """Refuse, without signature or reason, what lets a device stop mattering."""
    answers = list(case.device_answers.all())
    earlier = {row.device: [a for a in answers if a.device == row.device] for row in rows}
    lowered = [row for row in rows if device_answers.lowers(earlier[row.device], row)]
    if lowered and signed_by is None:
        names = ", ".join(row.get_device_display() for row in lowered)
        raise ActRefused(
            "signature_needed", f"Was said to be there: {names}. Sign with staff code and PIN."
        )
    unsaid = [row for row in rows if device_answers.takes_back(earlier[row.device], row)]
    if unsaid and not why.strip():
        raise ActRefused(
            "reason_missing",
            "Say why a device said to be there is not, or why what decides its wait is changed.",
        )


def compare_band(
    case: Case,
    signed_by: Signature,
    witness: Signature | None,
    token: str,
    band_reads: str,
    band_date: identity.BandDate = identity.NOT_READ,
) -> CustodyEntry:
    """Record that two persons read the identity band and that it agrees with the paperwork.

    From the receipt to the charge; afterwards there is no band, and the disc is the identity.
    """

    def write(locked: Case, now: datetime) -> dict[str, Any]:
        need(signed_by.member, *WHO["compare_band"])
        check_witness(locked, signed_by.member, witness)
        if locked.stage == "expected" or locked.stage not in BEFORE_CHARGE:
            raise ActRefused("stage", "The band is compared between the receipt and the charge.")
        if fold(band_reads) != fold(locked.decedent_name):
            raise ActRefused(
                "band_differs",
                f"The band reads “{band_reads}”, the paperwork says “{locked.decedent_name}”. "
                "Put the case on hold and call the sender.",
            )
        both = [signature.member for signature in (signed_by, witness) if signature]
        return {
            "band_reads": Sealed(band_reads),
            **identity.compare_date(locked, band_date, both),
        }

    return do_act(
        "compare_band", case, signed_by.member, token, write, signature="pin", witness=witness
    )


def move_person(case: Case, signed_by: Signature, token: str, place: Place) -> CustodyEntry:
    """Move the person to another free place of the same kind."""

    def write(locked: Case, now: datetime) -> dict[str, Any]:
        current = open_placement(locked)
        if current is None or current.place.kind == Place.Kind.RETORT:
            raise ActRefused("not_movable", "This person is in no place from which to move.")
        if place.facility_id != locked.facility_id or place.kind != current.place.kind:
            raise ActRefused("place_kind", f"Choose a {current.place.get_kind_display()}.")
        if place == current.place:
            raise ActRefused("place_same", "The person is already there.")
        if not place.is_in_use or place.placements.filter(until__isnull=True).exists():
            raise ActRefused("place_taken", f"{place} is not free.")
        moved = move(locked, place, now)
        return {"place_from": moved.origin, "place_to": moved.goal}

    return do_act("move", case, signed_by.member, token, write, signature="pin")
