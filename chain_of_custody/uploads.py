"""Papers that come in: what a file really is, told by its bytes and not by its name. No database.

A file is taken as PDF, JPEG, PNG or HEIC, decoded whole, and refused where it is broken, locked,
too large, or carries something that runs. The original is kept as it came; what a page shows is
drawn anew from it, without the camera's notes of place and time.
"""

import hashlib
import io
import threading
import time
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import filetype
import pikepdf
import pypdfium2
from PIL import Image, ImageFile, ImageOps, UnidentifiedImageError
from pillow_heif import register_heif_opener

register_heif_opener()

# Choices of this design: a page scanned at 600 dpi in colour has 35 million pixels.
MAX_BYTES = 25 * 1024 * 1024
MAX_FILES = 20  # in one sending
MAX_TOTAL = 100 * 1024 * 1024  # bytes of one sending
MAX_PIXELS = 60_000_000
MAX_PAGES = 60
TRIED_EDGE = 200  # pixels of the longer edge of a page that is only tried
DRAWING_SECONDS = 10  # well within what a child has; a long sound scan is not refused for it
SHOWN_EDGE = 1600  # pixels of the longer edge of what a page shows
KINDS = {
    "application/pdf": "PDF",
    "image/jpeg": "JPEG",
    "image/png": "PNG",
    "image/heic": "HEIF",
    "image/heif": "HEIF",
}
ENDINGS = {"PDF": "pdf", "JPEG": "jpg", "PNG": "png", "HEIF": "heic"}
TAKEN = "PDF, JPEG, PNG or HEIC"
# PDFium is not made for threads, and the site has several.
PDFIUM = threading.Lock()
# What makes a PDF act by itself. A plain "go to page 1" at opening is harmless and stays.
ACTING = ("/JavaScript", "/JS", "/Launch", "/SubmitForm", "/ImportData", "/RichMedia", "/XFA")


class UploadRefused(Exception):
    """A file that is not taken: `code` for programs, the text says what to do."""

    def __init__(self, code: str, text: str) -> None:
        super().__init__(text)
        self.code = code
        self.text = text


@dataclass(frozen=True)
class Inspected:
    """What a file turned out to be. `sha256` is the hex digest of the bytes as they came."""

    kind: str
    pages: int
    sha256: str
    size: int

    @property
    def ending(self) -> str:
        """The ending under which the file is handed out again."""
        return ENDINGS[self.kind]


def inspect(data: bytes) -> Inspected:
    """Decode the whole file and say what it is. Raises UploadRefused."""
    check_size(len(data))
    kind = _kind(data)
    pages = _pages_of_pdf(data) if kind == "PDF" else _check_picture(data, kind)
    return Inspected(kind, pages, hashlib.sha256(data).hexdigest(), len(data))


def check_size(size: int) -> None:
    """Refuse a file of no bytes or of too many."""
    if not size:
        raise UploadRefused("file_empty", "The file is empty. Scan or send it again.")
    if size > MAX_BYTES:
        raise too_large()


def too_large() -> UploadRefused:
    """Return the refusal of a file that is too large."""
    most = MAX_BYTES // 1024 // 1024
    return UploadRefused(
        "file_large", f"The file is larger than {most} MB. Scan it in grey at 300 dpi, or in parts."
    )


def draw(data: bytes, page: int = 1) -> bytes:
    """Return the page (from 1) as a PNG of at most 1600 pixels a side, drawn anew.

    Raises UploadRefused if there is no such page or the file does not decode.
    """
    if _kind(data) == "PDF":
        picture = _draw_pdf(data, page)
    elif page != 1:
        raise UploadRefused("page_unknown", "There is no such page.")
    else:
        with _decoding(), Image.open(io.BytesIO(data)) as opened:
            picture = ImageOps.exif_transpose(opened).convert("RGB")
    picture.thumbnail((SHOWN_EDGE, SHOWN_EDGE))
    # A new picture of the same dots: nothing but the dots comes along.
    clean = Image.frombytes("RGB", picture.size, picture.tobytes())
    out = io.BytesIO()
    clean.save(out, "PNG")
    return out.getvalue()


def _kind(data: bytes) -> str:
    guessed = filetype.guess_mime(data)
    if guessed == "application/pdf" and not data.startswith(b"%PDF-"):
        guessed = None  # something else stands in front of the PDF
    if guessed not in KINDS:
        raise UploadRefused(
            "file_kind",
            f"This is no {TAKEN}, whatever its name says. Scan it again as one of them.",
        )
    return KINDS[guessed]


@contextmanager
def _decoding() -> Iterator[None]:
    """Turn whatever a decoder throws at a broken or monstrous file into a refusal."""
    # The typesetter lets pictures pass that are cut off, for the whole process it runs in.
    lenient, ImageFile.LOAD_TRUNCATED_IMAGES = ImageFile.LOAD_TRUNCATED_IMAGES, False
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            yield
    except (Image.DecompressionBombWarning, Image.DecompressionBombError) as error:
        raise _too_many_pixels() from error
    except (
        UnidentifiedImageError,
        OSError,
        ValueError,
        SyntaxError,
        EOFError,
        MemoryError,
        RuntimeError,
        pikepdf.PdfError,
        pypdfium2.PdfiumError,
    ) as error:
        raise _broken() from error
    finally:
        ImageFile.LOAD_TRUNCATED_IMAGES = lenient


def _too_many_pixels() -> UploadRefused:
    return UploadRefused(
        "file_pixels",
        f"The picture has more than {MAX_PIXELS // 1_000_000} million dots. "
        "Photograph or scan it smaller.",
    )


def _broken() -> UploadRefused:
    return UploadRefused(
        "file_broken", "The file is damaged or not complete. Scan or send it again."
    )


def _check_boxes(data: bytes) -> None:
    """Refuse a HEIC file that breaks off: some decoders fill up what is missing in silence.

    It is a row of boxes, each with its length before it (ISO/IEC 14496-12, 4.2).
    """
    at = 0
    while at < len(data):
        length, head = int.from_bytes(data[at : at + 4], "big"), 8
        if length == 1:  # the length follows the name, in eight bytes
            length, head = int.from_bytes(data[at + 8 : at + 16], "big"), 16
        elif length == 0:  # to the end of the file
            return
        if length < head or at + length > len(data):
            raise _broken()
        at += length


def _check_picture(data: bytes, kind: str) -> int:
    if kind == "HEIF":
        _check_boxes(data)
    with _decoding(), Image.open(io.BytesIO(data), formats=[kind]) as picture:
        width, height = picture.size
        if width * height > MAX_PIXELS:
            raise _too_many_pixels()
        picture.load()
    return 1


def _pages_of_pdf(data: bytes) -> int:
    try:
        pdf = pikepdf.open(io.BytesIO(data))
    except pikepdf.PasswordError as error:
        raise UploadRefused(
            "file_locked", "This PDF is locked by a password. Ask the sender for an open one."
        ) from error
    except (pikepdf.PdfError, OSError, ValueError, RuntimeError) as error:
        raise _broken() from error
    with pdf:
        pages = len(pdf.pages)
        if pdf.is_encrypted:
            raise UploadRefused(
                "file_locked", "This PDF is locked. Print it to a new PDF, or scan the paper."
            )
        if not 1 <= pages <= MAX_PAGES:
            raise UploadRefused(
                "file_pages",
                f"A PDF of {pages} pages; 1 to {MAX_PAGES} are taken. Send it in parts.",
            )
        if pdf.attachments or _acts(pdf):
            raise UploadRefused(
                "file_acts",
                "This PDF carries a program or another file inside. "
                "Print it to a new PDF, or scan the paper.",
            )
    _draw_all(data)
    return pages


def _acts(pdf: pikepdf.Pdf) -> bool:
    """True if any object of the file names an action that runs, sends or opens something."""
    for thing in pdf.objects:
        if isinstance(thing, pikepdf.Stream):
            thing = thing.stream_dict
        if _names_action(thing):
            return True
    return _names_action(pdf.trailer)


def _names_action(thing: object, depth: int = 0) -> bool:
    """Look through direct values too: an action may stand inside a page, under no number."""
    if depth > 20:  # deeper than any scanner nests; taken for an attempt to hide something
        return True
    if isinstance(thing, pikepdf.Dictionary):
        for key, value in thing.items():
            if key in ACTING or (key == "/S" and value in ACTING):
                return True
            if _is_direct(value) and _names_action(value, depth + 1):
                return True
    elif isinstance(thing, pikepdf.Array):
        return any(_names_action(v, depth + 1) for v in thing if _is_direct(v))
    return False


def _is_direct(value: object) -> bool:
    return isinstance(value, pikepdf.Dictionary | pikepdf.Array) and not value.is_indirect


def _draw_all(data: bytes) -> None:
    """Draw every page small, so that what cannot be shown is refused while the paper is at hand.

    Every page is opened; after DRAWING_SECONDS the rest of a long scan is not drawn any more.
    """
    ends = time.monotonic() + DRAWING_SECONDS
    with PDFIUM, _decoding():
        document = pypdfium2.PdfDocument(data)
        try:
            for sheet in document:
                edge = _edge(sheet)
                if time.monotonic() < ends:
                    sheet.render(scale=TRIED_EDGE / edge)
                sheet.close()
        finally:
            document.close()


def _edge(sheet: pypdfium2.PdfPage) -> float:
    """Return the longer edge of a page in points; refuse a page of no sensible size."""
    width, height = sheet.get_size()
    if not (0 < width <= 14_400 and 0 < height <= 14_400):  # PDF's own limit, 200 in
        raise UploadRefused(
            "file_pages", "A page of this PDF has no sensible size. Scan the paper again."
        )
    return float(max(width, height))


def _draw_pdf(data: bytes, page: int) -> Image.Image:
    with PDFIUM, _decoding():
        document = pypdfium2.PdfDocument(data)
        try:
            if not 1 <= page <= len(document):
                raise UploadRefused("page_unknown", "There is no such page.")
            sheet = document[page - 1]
            picture: Image.Image = sheet.render(scale=SHOWN_EDGE / _edge(sheet)).to_pil()
            return picture.convert("RGB")
        finally:
            document.close()
