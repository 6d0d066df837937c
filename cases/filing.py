"""Acts about files that come in: taking them in, and setting one aside. Filing is in `acts`.

A file is taken in before anybody says what it is, so that the scan lies beside the form and
nothing is lost when a browser closes. It then waits to be filed as a paper.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from cases import documents
from cases.acts import do_act, need, need_open
from cases.errors import ActRefused
from cases.models import Case
from cases.roles import WHO
from cases.taking import repeated
from chain_of_custody import trail, uploads_in
from chain_of_custody.models import CustodyEntry, Upload, UploadSetAside
from chain_of_custody.trail import Sealed
from chain_of_custody.uploads import UploadRefused
from chain_of_custody.uploads_in import Arrived
from crematory.models import StaffMember

TAKE_IN, SET_ASIDE = "take_in", "set_aside"
TWICE = UploadRefused("file_twice", "The same file is here already; it was not taken twice.")


@dataclass(frozen=True)
class Sent:
    """A file as it was sent; `read` gives its bytes when its turn has come."""

    name: str
    read: Callable[[], bytes]


@dataclass
class Taken:
    """What became of the files of one sending."""

    kept: list[Upload] = field(default_factory=list)
    refused: list[tuple[str, UploadRefused]] = field(default_factory=list)
    was_sent: bool = False


def take_in(
    case: Case,
    member: StaffMember,
    token: str,
    files: Iterable[Sent],
    dropped: Iterable[tuple[str, UploadRefused]] = (),
) -> Taken:
    """Take in what is sound of the files, and say of each other one why not.

    One entry names all that were kept, another the reasons of those that were not; `dropped`
    were refused while they came in. Raises ActRefused.
    """
    taken = Taken(refused=list(dropped))
    if repeated(case, TAKE_IN, token):
        taken.was_sent = True
        return taken
    arrived: list[Arrived] = []
    if documents.can_file(case, member):  # else the act refuses, undecoded
        arrived = _arrive(files, taken)
    codes = {reason.code for _, reason in taken.refused}
    if arrived or not codes:
        codes |= _record(case, member, token, arrived, taken)
    if codes:
        trail.record_refusal(case.facility, TAKE_IN, sorted(codes), member, case=case)
    return taken


def _arrive(files: Iterable[Sent], taken: Taken) -> list[Arrived]:
    arrived: list[Arrived] = []
    for sent in files:
        try:
            one = uploads_in.arrive(sent.read(), sent.name)
        except UploadRefused as reason:
            taken.refused.append((uploads_in.clean_name(sent.name), reason))
        except OSError:  # could not be read, or no process started: the others still come in
            taken.refused.append((uploads_in.clean_name(sent.name), uploads_in.unstored()))
        else:
            arrived.append(one)
    return arrived


def _record(
    case: Case, member: StaffMember, token: str, arrived: list[Arrived], taken: Taken
) -> set[str]:
    """Record what arrived; return the reasons that the trail does not hold yet."""
    twice: list[tuple[str, UploadRefused]] = []

    def write(locked: Case, now: datetime) -> dict[str, Any]:
        need(member, *WHO["file_document"])
        need_open(locked)
        if not arrived:
            raise ActRefused("file_missing", "Choose one or more files.")
        known = set(
            documents.with_bytes(locked, {one.found.sha256 for one in arrived}).values_list(
                "sha256", flat=True
            )
        )
        for one in arrived:
            if one.found.sha256 in known:
                twice.append((one.name, TWICE))
                continue
            known.add(one.found.sha256)
            taken.kept.append(uploads_in.record(locked, member, one, purpose=Upload.Purpose.PAPER))
        if not taken.kept:  # recorded as refused, here and not by the caller
            raise ActRefused(TWICE.code, TWICE.text)
        names = {f"name_{n}": Sealed(u.original_name) for n, u in enumerate(taken.kept, 1)}
        return {"files": [uploads_in.in_trail(upload) for upload in taken.kept], **names}

    try:
        do_act(TAKE_IN, case, member, token, write)
    except ActRefused as refusal:
        if refusal.code != TWICE.code:
            raise
    finally:
        uploads_in.forget_unrecorded(arrived)
    taken.was_sent = not taken.kept and not twice
    taken.refused.extend(twice)
    return {TWICE.code} if twice and taken.kept else set()


def set_aside(upload: Upload, member: StaffMember, token: str, reason: str) -> CustodyEntry:
    """Set a file aside that is no paper of this case; it stays kept and waits no longer."""

    def write(locked: Case, now: datetime) -> dict[str, Any]:
        need(member, *WHO["file_document"])
        if not reason.strip():
            raise ActRefused("reason_missing", "Say why this file is set aside.")
        if not documents.waiting(locked).filter(pk=upload.pk).exists():
            raise ActRefused("file_filed", "This file is filed already, or was set aside.")
        UploadSetAside.objects.create(
            upload=upload, reason=reason.strip(), set_aside_at=now, set_aside_by=member
        )
        return {"file": uploads_in.in_trail(upload), "reason": Sealed(reason.strip())}

    return do_act(SET_ASIDE, upload.case, member, token, write)
