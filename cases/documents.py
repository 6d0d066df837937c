"""Papers on file and the files that wait to be filed: what rows there are, and what may be added.

A paper is kept for ever; a later version names the one that it replaces, which then counts no
more and can still be read.
"""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db.models import Q, QuerySet

from cases.errors import ActRefused
from cases.models import Case, Document, DocumentSheet
from cases.roles import WHO
from chain_of_custody import uploads_in
from chain_of_custody.models import Upload
from chain_of_custody.trail import Sealed
from crematory.models import StaffMember

UNFILED = Q(documents__isnull=True, sheet__isnull=True, set_aside__isnull=True)


def can_file(case: Case, member: StaffMember) -> bool:
    """True where this member may take in and file papers of this case."""
    return case.is_open and bool(member.roles & WHO["file_document"])


def current(case: Case) -> list[Document]:
    """Return the papers on file that no later version replaces."""
    everything = list(case.documents.all())
    replaced = {document.replaces_id for document in everything}
    return [document for document in everything if document.pk not in replaced]


def waiting(case: Case) -> QuerySet[Upload]:
    """Return the files that came in as papers and are not filed yet, in their order."""
    return Upload.objects.filter(UNFILED, case=case, purpose=Upload.Purpose.PAPER)


def with_bytes(case: Case, sha256: set[str]) -> QuerySet[Upload]:
    """Return the papers of this case that hold these very bytes and were not set aside."""
    return Upload.objects.filter(
        case=case, purpose=Upload.Purpose.PAPER, sha256__in=sha256, set_aside__isnull=True
    )


def write(
    case: Case,
    now: datetime,
    *,
    files: Sequence[Upload] = (),
    replaces: Document | None = None,
    **fields: Any,
) -> dict[str, Any]:
    """Write the rows of one paper, of one or more files; return what the trail says of it.

    Raises ActRefused for files that do not wait here or are damaged, and for an older version.
    """
    check_waiting(case, files)
    check_replaced(case, replaces)
    document = Document(
        case=case, filed_at=now, upload=files[0] if files else None, replaces=replaces, **fields
    )
    document.full_clean()
    document.save()
    for further in files[1:]:
        DocumentSheet.objects.create(document=document, upload=further)
    facts: dict[str, Any] = {
        "kind": document.kind,
        "reference": Sealed(document.reference),
        "issued_by": Sealed(document.issued_by),
        "issued_on": document.issued_on,
    }
    if files:
        facts["files"] = [uploads_in.in_trail(upload) for upload in files]
    if replaces:
        facts["replaces"] = replaces.kind
        facts["replaced_filed_at"] = replaces.filed_at
    return facts


def check_waiting(case: Case, files: Sequence[Upload]) -> None:
    """Refuse files that do not wait to be filed on this case, or that are damaged."""
    if len({upload.pk for upload in files} & set(waiting(case).values_list("pk", flat=True))) < len(
        files
    ):
        raise ActRefused("file_filed", "This file is filed already, or was set aside.")
    for upload in files:
        try:
            uploads_in.read(upload)
        except uploads_in.UploadDamaged as damage:
            raise ActRefused("file_damaged", str(damage)) from damage


def check_replaced(case: Case, replaces: Document | None) -> None:
    """Refuse to replace another case's paper, and one that was replaced before."""
    if replaces is not None and replaces.pk not in {document.pk for document in current(case)}:
        raise ActRefused(
            "paper_replaced", "This paper was replaced already. Replace its newest version."
        )
