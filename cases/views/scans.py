"""What a page shows of files: their pages in order, whether they are whole, what is taken."""

from dataclasses import dataclass
from typing import Any

from cases import documents
from cases.forms.base import new_token
from cases.models import Case, Document
from chain_of_custody import uploads, uploads_in
from chain_of_custody.models import Upload
from chain_of_custody.uploads_in import UploadDamaged
from crematory.models import StaffMember

ACCEPTED = ".pdf,.jpg,.jpeg,.png,.heic,.heif,application/pdf,image/jpeg,image/png,image/heic"


@dataclass(frozen=True)
class Sheet:
    """One page of a file that is shown."""

    upload: Upload
    page: int


def sending(case: Case, member: StaffMember) -> dict[str, Any]:
    """Return what the form that sends files shows; `can_file` where the member may file here."""
    return {
        "can_file": documents.can_file(case, member),
        "sending_token": new_token(),
        "accepted": ACCEPTED,
        "taken_kinds": uploads.TAKEN,
        "max_bytes": uploads.MAX_BYTES,
        "max_mb": uploads.MAX_BYTES // 1024 // 1024,
        "max_files": uploads.MAX_FILES,
        "max_pages": uploads.MAX_PAGES,
        "too_large": uploads.too_large().text,
    }


def sheets(upload: Upload | None, document: Document | None = None) -> dict[str, Any]:
    """Return the pages of a file, or of all files of its paper, and what is wrong with them."""
    files = [upload] if upload else []
    if document and document.upload:
        files = [document.upload, *(s.upload for s in document.sheets.select_related("upload"))]
    found, damages = [], []
    for file in files:
        try:
            uploads_in.read(file)
            found += [Sheet(file, number) for number in range(1, file.pages + 1)]
        except UploadDamaged as damage:
            damages.append(str(damage))
    return {"shown": upload, "sheets": found, "damages": damages}
