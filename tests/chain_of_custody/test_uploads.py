"""What a file that comes in is told to be, by its bytes; and what a page may show of it."""

import io
import zipfile

import pikepdf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageFile

from chain_of_custody import uploads
from chain_of_custody.uploads import UploadRefused, draw, inspect
from tests.papers_in import SIZE, pdf, picture

# GPS of an invented photograph: tag 0x8825 of the picture's notes.
GPS_TAG = 0x8825


def refusal(data: bytes) -> str:
    with pytest.raises(UploadRefused) as refused:
        inspect(data)
    assert refused.value.text.endswith(".")
    return refused.value.code


@pytest.mark.parametrize("form", ["JPEG", "PNG", "HEIF"])
def test_a_picture_is_told_by_its_bytes(form: str) -> None:
    assert (inspect(picture(form)).kind, inspect(picture(form)).pages) == (form, 1)


def test_a_cut_off_picture_is_refused_beside_the_typesetter(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """WeasyPrint tells Pillow, for the whole process, to take pictures that are cut off."""
    monkeypatch.setattr(ImageFile, "LOAD_TRUNCATED_IMAGES", True)
    assert refusal(picture("PNG")[:-40]) == "file_broken"
    assert ImageFile.LOAD_TRUNCATED_IMAGES is True


def test_the_pages_of_a_pdf_are_counted() -> None:
    found = inspect(pdf(7))
    assert (found.kind, found.pages, found.ending) == ("PDF", 7, "pdf")


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "file_empty"),
        (b"\x00", "file_kind"),
        (b"<html><script>1</script></html>", "file_kind"),
        (b"<svg xmlns='http://www.w3.org/2000/svg' onload='x()'/>", "file_kind"),
        (b"GIF89a" + pdf(), "file_kind"),
        (b"\n" + pdf(), "file_kind"),
        (picture("GIF"), "file_kind"),
        (picture("JPEG")[:400], "file_broken"),
        (picture("PNG")[:-40], "file_broken"),
        (picture("HEIF")[:-60], "file_broken"),
        (pdf()[:200], "file_broken"),
        (b"%PDF-1.7\n", "file_broken"),
        (pdf(encryption=pikepdf.Encryption(owner="o", user="u")), "file_locked"),
        (pdf(encryption=pikepdf.Encryption(owner="o", user="")), "file_locked"),
        (pdf(uploads.MAX_PAGES + 1), "file_pages"),
    ],
)
def test_what_is_no_sound_paper_is_refused(data: bytes, code: str) -> None:
    assert refusal(data) == code


def _program(made: pikepdf.Pdf) -> None:
    made.Root.OpenAction = pikepdf.Dictionary(S=pikepdf.Name.JavaScript, JS="app.alert(1)")


def _program_deep_in_a_page(made: pikepdf.Pdf) -> None:
    act = pikepdf.Dictionary(S=pikepdf.Name.Launch, F="calc")
    made.pages[0].AA = pikepdf.Dictionary(O=act)


def _program_behind_a_mark(made: pikepdf.Pdf) -> None:
    action = made.make_indirect(pikepdf.Dictionary(S=pikepdf.Name.SubmitForm, F="x"))
    note = pikepdf.Dictionary(Type=pikepdf.Name.Annot, Subtype=pikepdf.Name.Link, A=action)
    made.pages[0].Annots = pikepdf.Array([note])


def _file_inside(made: pikepdf.Pdf) -> None:
    made.attachments["note.txt"] = b"hidden"


@pytest.mark.parametrize(
    "change", [_program, _program_deep_in_a_page, _program_behind_a_mark, _file_inside]
)
def test_a_pdf_that_acts_or_carries_a_file_is_refused(change: object) -> None:
    assert refusal(pdf(change=change)) == "file_acts"


def test_a_pdf_that_opens_at_a_page_is_taken() -> None:
    def opens_at_first_page(made: pikepdf.Pdf) -> None:
        made.Root.OpenAction = pikepdf.Array([made.pages[0].obj, pikepdf.Name.Fit])

    assert inspect(pdf(change=opens_at_first_page)).kind == "PDF"


def test_a_bomb_is_refused_before_it_is_unpacked() -> None:
    out = io.BytesIO()
    Image.new("1", (30_000, 30_000)).save(out, "PNG")  # 900 million dots in 0.1 MB
    assert len(out.getvalue()) < 200_000
    assert refusal(out.getvalue()) == "file_pixels"


def test_more_bytes_than_allowed_are_refused() -> None:
    assert refusal(picture("JPEG") + b"\0" * uploads.MAX_BYTES) == "file_large"


def test_a_picture_with_an_archive_behind_it_shows_only_its_dots() -> None:
    archive = io.BytesIO()
    with zipfile.ZipFile(archive, "w") as packed:
        packed.writestr("index.html", "<script>1</script>")
    both = picture("JPEG") + archive.getvalue()
    assert inspect(both).kind == "JPEG"
    assert b"index.html" not in draw(both)


def test_what_is_shown_holds_no_place_and_the_original_keeps_it() -> None:
    notes = Image.Exif()
    notes.get_ifd(GPS_TAG)[2] = (46.0, 52.0, 12.5)
    notes[0x010F] = "Camera of an invented clerk"
    original = picture("JPEG", exif=notes.tobytes())
    assert Image.open(io.BytesIO(original)).getexif().get_ifd(GPS_TAG)
    shown = Image.open(io.BytesIO(draw(original)))
    assert not shown.getexif()
    assert set(shown.info) == set()
    assert b"invented clerk" in original


def test_a_picture_taken_sideways_is_shown_upright() -> None:
    notes = Image.Exif()
    notes[0x0112] = 6  # the camera lay on its side: turn by a quarter to show
    shown = Image.open(io.BytesIO(draw(picture("JPEG", exif=notes.tobytes()))))
    assert shown.size == (SIZE[1], SIZE[0])


def test_a_page_of_a_pdf_is_shown_as_a_picture() -> None:
    shown = Image.open(io.BytesIO(draw(pdf(2), page=2)))
    assert (shown.format, shown.mode, max(shown.size)) == ("PNG", "RGB", uploads.SHOWN_EDGE)


@pytest.mark.parametrize(("data", "page"), [(pdf(2), 3), (pdf(2), 0), (picture("PNG"), 2)])
def test_a_page_that_is_not_there_is_refused(data: bytes, page: int) -> None:
    with pytest.raises(UploadRefused) as refused:
        draw(data, page)
    assert refused.value.code == "page_unknown"


@settings(max_examples=60, deadline=None)
@given(data=st.data(), form=st.sampled_from(["JPEG", "PNG", "HEIF", "PDF"]))
def test_a_spoilt_file_is_taken_or_refused_and_nothing_else(data: st.DataObject, form: str) -> None:
    spoilt = bytearray(pdf(2) if form == "PDF" else picture(form))
    for _ in range(data.draw(st.integers(1, 6))):
        spoilt[data.draw(st.integers(0, len(spoilt) - 1))] = data.draw(st.integers(0, 255))
    try:
        found = inspect(bytes(spoilt))
    except UploadRefused:
        return
    assert found.pages >= 1
    draw(bytes(spoilt))


def test_every_page_of_a_pdf_is_tried_and_not_the_first_alone() -> None:
    def huge(made: pikepdf.Pdf) -> None:
        made.pages[2].obj.MediaBox = pikepdf.Array([0, 0, 20_000, 20_000])

    assert refusal(pdf(3, huge)) == "file_pages"


def test_a_long_scan_is_not_refused_for_the_time_it_takes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(uploads, "DRAWING_SECONDS", 0)
    assert inspect(pdf(3)).pages == 3
