"""Acts about personal things: the list, what becomes of each, and giving back."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from cases import seen
from cases.acts import do_act, need, need_open
from cases.drawing import Stroke
from cases.errors import ActRefused
from cases.models import Case, PersonalThing, ThingsLookedFor, ThingsReceipt
from cases.roles import WHO
from cases.steps import BEFORE_CHARGE
from cases.things import Wish, due, hand_out, meaning, standing, written_at_receipt
from chain_of_custody import uploads_in
from chain_of_custody.models import CustodyEntry, Upload
from chain_of_custody.trail import Sealed
from chain_of_custody.uploads_in import Arrived
from crematory.models import StaffMember
from crematory.signatures import Signature

Form = ThingsReceipt.Form


@dataclass(frozen=True)
class Listed:
    """One line of the list: a new thing, or one that `replaces` what the list said of it."""

    description: str
    kind: str
    wish: str
    decided_by: str = ""
    kept_in: str = ""
    replaces: PersonalThing | None = None
    photo: Arrived | None = None


def list_things(
    case: Case,
    member: StaffMember,
    token: str,
    lines: Sequence[Listed],
    *,
    is_complete: bool = False,
    note: str = "",
    shown: str | None = None,
) -> CustodyEntry:
    """Record things, changes of mind, and that the list is complete: all or nothing, one entry.

    A list is complete only once the person is here. One that is empty though the receipt wrote of
    things needs a note on them. `shown` is the mark of the page on which all this was written.
    """

    def write(locked: Case, now: datetime) -> dict[str, Any]:
        need(member, *WHO["list_things"])
        need_open(locked)
        seen.check(shown, seen.of_things(locked))
        if not lines and not is_complete:
            raise ActRefused("unchanged", "Nothing is listed here.")
        rows = [_write(locked, member, line, now) for line in lines]
        facts: dict[str, Any] = {"things": Sealed(_told(rows))} if rows else {}
        if photos := [uploads_in.in_trail(photo) for photo in _new_photos(rows)]:
            facts["photographs"] = photos
        if is_complete:
            facts |= _complete(locked, note.strip(), now)
        return facts

    return do_act("list_things", case, member, token, write)


def _write(case: Case, member: StaffMember, line: Listed, now: datetime) -> PersonalThing:
    before = line.replaces
    _check(case, line)
    photo = before.photo if before else None
    if line.photo:
        photo = uploads_in.record(case, member, line.photo)
    row = PersonalThing(
        case=case,
        description=line.description.strip(),
        kind=line.kind,
        wish=line.wish,
        decided_by="" if line.wish == Wish.OPEN else line.decided_by.strip(),
        kept_in=line.kept_in.strip(),
        photo=photo,
        replaces=before,
        listed_at=now,
    )
    row.full_clean()
    row.save()
    return row


def _check(case: Case, line: Listed) -> None:
    before = line.replaces
    if before:
        fresh = PersonalThing.objects.filter(pk=before.pk, case=case)
        if not fresh.filter(replaced_by=None, returned=None).exists():
            raise seen.meanwhile()
    if not line.description.strip():
        raise ActRefused("thing_unnamed", "Describe the thing.")
    if line.wish != Wish.OPEN and not line.decided_by.strip():
        raise ActRefused("thing_undecided", "Say who decided what becomes of it.")
    if line.wish == Wish.RETURNED and not line.kept_in.strip():
        raise ActRefused("thing_place", "Say where it lies until it is given back.")
    if case.stage not in BEFORE_CHARGE and (
        line.wish in (Wish.GOES_ALONG, Wish.OPEN) or (before and before.wish == Wish.GOES_ALONG)
    ):
        raise ActRefused("thing_gone", "After the charge nothing more goes with the person.")


def _new_photos(rows: Sequence[PersonalThing]) -> list[Upload]:
    """Return the photographs that came with these rows, not with those that they replace."""
    before = {row.replaces.photo_id for row in rows if row.replaces}
    return [row.photo for row in rows if row.photo and row.photo.pk not in before]


def _told(rows: Sequence[PersonalThing]) -> str:
    said = []
    for row in rows:
        parts = [f"{row.get_kind_display()}: {row.description}", row.get_wish_display()]
        parts += [f"decided by {row.decided_by}"] if row.decided_by else []
        parts += [f"lies in {row.kept_in}"] if row.kept_in else []
        parts += [f"listed before as {row.replaces.description}"] if row.replaces else []
        said.append(", ".join(parts))
    return "; ".join(said)


def _complete(case: Case, note: str, now: datetime) -> dict[str, Any]:
    if case.stage == "expected":
        raise ActRefused("things_too_early", "The person is not here yet: nobody could look.")
    if written_at_receipt(case) and not standing(case) and not note:
        raise ActRefused(
            "things_written",
            "The receipt says that things came with the person. List them, or say what became "
            "of them.",
        )
    ThingsLookedFor.objects.create(case=case, note=note, looked_at=now)
    return {"list_is_complete": True, **({"note": Sealed(note)} if note else {})}


@dataclass(frozen=True, kw_only=True)
class Receipt:
    """How the receiver signs: one of `ThingsReceipt.Form`, with what belongs to it."""

    form: str
    drawing: Arrived | None = None
    strokes: list[Stroke] | None = None
    scan: Arrived | None = None
    reason: str = ""


def give_back(
    case: Case,
    signed_by: Signature,
    token: str,
    things: Sequence[PersonalThing],
    *,
    returned_to: str,
    identification: str,
    receipt: Receipt,
) -> CustodyEntry:
    """Record that things were given back to somebody who was identified, and their receipt.

    The receiver signs on the tablet or on paper; where they do not, the reason is recorded.
    """

    def write(locked: Case, now: datetime) -> dict[str, Any]:
        need(signed_by.member, *WHO["give_back"])
        need_open(locked)
        if not returned_to.strip() or not identification.strip():
            raise ActRefused("receiver_missing", "Name the receiver and what identified them.")
        _check_receipt(receipt)
        if not things:
            raise ActRefused("unchanged", "Choose what is given back.")
        lying = {thing.pk for thing in due(locked)}
        if any(thing.pk not in lying for thing in things):
            raise ActRefused("thing_changed", "One of these does not lie here to be given back.")
        row, told = _sign(locked, signed_by.member, receipt, now)
        handed = hand_out(things, row, returned_to.strip(), identification.strip(), now)
        return handed | told

    return do_act("give_back", case, signed_by.member, token, write, signature="pin")


def _check_receipt(receipt: Receipt) -> None:
    reason = receipt.reason.strip()
    if receipt.form not in (Form.TABLET, Form.PAPER, Form.UNSIGNED):
        raise ActRefused("receipt_unsigned", "The receiver signs the receipt, or say why not.")
    if receipt.form == Form.TABLET and not (receipt.drawing and receipt.strokes):
        raise ActRefused("drawing_missing", "Nothing is drawn. Sign in the field, or on paper.")
    if receipt.form == Form.PAPER and receipt.scan is None and not reason:
        raise ActRefused("scan_missing", "Add the scan of the signed receipt, or say why not.")
    if receipt.form == Form.UNSIGNED and not reason:
        raise ActRefused("unsigned_unexplained", "Say why nobody signed for the things.")


def _sign(
    case: Case, member: StaffMember, receipt: Receipt, now: datetime
) -> tuple[ThingsReceipt, dict[str, Any]]:
    """Write the receipt with its files; return it, and what the entry says of it."""
    drawing = scan = None
    if receipt.form == Form.TABLET and receipt.drawing:
        drawing = uploads_in.record(case, member, receipt.drawing)
    if receipt.form == Form.PAPER and receipt.scan:
        scan = uploads_in.record(case, member, receipt.scan)
    reason = "" if drawing or scan else receipt.reason.strip()
    row = ThingsReceipt(
        case=case,
        form=receipt.form,
        drawing=drawing,
        strokes=receipt.strokes if drawing else None,
        scan=scan,
        reason=reason,
        meaning="" if receipt.form == Form.UNSIGNED else meaning(case),
        signed_at=now,
    )
    row.full_clean()
    row.save()
    return row, {
        "receipt_form": receipt.form,
        **({"meaning": Sealed(row.meaning)} if row.meaning else {}),
        **({"drawing_sha256": drawing.sha256} if drawing else {}),
        **({"scan": uploads_in.in_trail(scan)} if scan else {}),
        **({"unsigned_reason": Sealed(reason)} if reason else {}),
    }
