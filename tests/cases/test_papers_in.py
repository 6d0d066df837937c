"""Files that come in for a case: what is kept, what is refused and why, who sees them."""

import hashlib
import io
import json
import os
import re
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db.models import QuerySet
from django.test import Client
from PIL import Image

from cases import acts, documents, filing
from cases.errors import ActRefused
from cases.filing import Sent
from cases.gates import GATES, PASSED, REFUSED, Situation
from cases.models import Case, Document
from cases.steps import STEPS
from chain_of_custody import apart, file_store, uploads, uploads_in
from chain_of_custody.append_only import AppendOnlyError
from chain_of_custody.models import CustodyEntry, Upload, UploadSetAside
from chain_of_custody.trail import facts_of
from chain_of_custody.verify import verify
from crematory import clock
from crematory.models import Facility, StaffMember
from tests import cast
from tests.cases.pages import browser, text_of, url
from tests.papers_in import pdf, picture

pytestmark = pytest.mark.django_db

PAPER: dict[str, Any] = {
    "kind": "court_order",
    "reference": "R-9",
    "issued_by": "Example Funeral Home",
    "issued_on": date(2024, 3, 1),
}
TYPED = {**PAPER, "issued_on": "2024-03-01"}


@pytest.fixture(autouse=True)
def own_folders(settings: Any, tmp_path: Path) -> Path:
    settings.UPLOADS_DIR, settings.DRAWN_DIR = tmp_path / "uploads", tmp_path / "drawn"
    return tmp_path


@pytest.fixture
def case(facility: Facility) -> Case:
    return cast.make_case(facility)


def sent(name: str, data: bytes) -> Sent:
    return Sent(name, lambda: data)


def came(case: Case, *files: tuple[str, bytes]) -> list[Upload]:
    """Take these files in as the clerk."""
    clerk = cast.member(case.facility, cast.CLERK)
    taken = filing.take_in(case, clerk, cast.token(), [sent(*file) for file in files])
    assert taken.refused == []
    return taken.kept


def filed(case: Case) -> QuerySet[Document]:
    return Document.objects.filter(case=case, kind=PAPER["kind"])


def stored(folder: Path) -> list[Path]:
    return [path for path in (folder / "uploads").rglob("*") if path.is_file()]


def post(client: Client, case: Case, *files: tuple[str, bytes], **more: Any) -> Any:
    data = {
        "token": more.pop("token", cast.token()),
        "files": [SimpleUploadedFile(name, content) for name, content in files],
    }
    return client.post(url("take-in", case), data, **more)


def test_a_file_is_kept_as_it_came_under_a_name_nobody_can_guess(
    case: Case, own_folders: Path
) -> None:
    data = picture("JPEG")
    (upload,) = came(case, ("Sterbeurkunde Mai.jpg", data))
    assert re.fullmatch(r"[A-Za-z0-9_-]{43}", upload.token)
    (path,) = stored(own_folders)
    assert path.name == upload.token
    assert path.read_bytes() == data
    assert upload.sha256 == hashlib.sha256(data).hexdigest()
    entry = CustodyEntry.objects.get(case=case, act="take_in")
    facts = facts_of(entry)
    assert facts["files"] == [
        {"sha256": upload.sha256, "kind": "JPEG", "pages": 1, "bytes": len(data)}
    ]
    assert facts["name_1"] == "Sterbeurkunde Mai.jpg"
    assert "Sterbeurkunde" not in entry.payload


def test_it_lies_outside_what_the_site_serves() -> None:
    from crematory import settings as real

    static = [Path(folder).resolve() for folder in real.STATICFILES_DIRS]
    static += [Path(real.STATIC_ROOT).resolve()] if real.STATIC_ROOT else []
    for folder in (real.UPLOADS_DIR, real.DRAWN_DIR):
        assert not any(Path(folder).resolve().is_relative_to(root) for root in static)
        assert Path(folder).resolve().is_relative_to(Path(real.VAR_DIR).resolve())


def test_the_file_is_safe_before_any_row_names_it(
    case: Case, own_folders: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    steps: list[str] = []

    def noted(word: str, does: Callable[..., Any]) -> Callable[..., Any]:
        def call(*args: Any, **kwargs: Any) -> Any:
            steps.append(word)
            return does(*args, **kwargs)

        return call

    monkeypatch.setattr(os, "fsync", noted("sync", os.fsync))
    monkeypatch.setattr(os, "replace", noted("file", os.replace))
    rows = uploads_in.Upload.objects
    monkeypatch.setattr(rows, "create", noted("row", rows.create))
    came(case, ("a.png", picture("PNG")))
    assert steps == ["sync", "file", "sync", "sync", "row"]  # the bytes, their name, two folders


def test_a_store_without_room_says_so_and_writes_no_row(
    case: Case, clerk: StaffMember, settings: Any, own_folders: Path
) -> None:
    blocked = own_folders / "a-file"
    blocked.write_text("in the way")
    settings.UPLOADS_DIR = blocked
    taken = filing.take_in(case, clerk, cast.token(), [sent("a.png", picture("PNG"))])
    assert [why.code for _, why in taken.refused] == ["file_unstored"]
    assert not Upload.objects.exists()


def test_a_refused_act_leaves_no_file_behind(case: Case, own_folders: Path) -> None:
    operator = cast.member(case.facility, cast.OPERATOR)
    with pytest.raises(ActRefused) as refused:
        filing.take_in(case, operator, cast.token(), [sent("a.png", picture("PNG"))])
    assert refused.value.code == "role"
    assert stored(own_folders) == []


def test_sound_files_are_kept_and_each_other_one_says_why(case: Case, clerk: StaffMember) -> None:
    answer = post(
        browser(clerk),
        case,
        ("good.pdf", pdf(2)),
        ("nothing.pdf", b""),
        ("page.jpg", b"<html><script>alert(1)</script>"),
        ("cut.png", picture("PNG")[:-40]),
        ("locked.pdf", pdf(encryption=pikepdf.Encryption(owner="o", user="u"))),
        ("named-wrong.pdf", picture("JPEG")),
    )
    assert answer.status_code == 422
    text = answer.content.decode()
    for name, words in {
        "nothing.pdf": "The file is empty",
        "page.jpg": "This is no PDF, JPEG, PNG or HEIC",
        "cut.png": "damaged or not complete",
        "locked.pdf": "locked by a password",
    }.items():
        assert re.search(rf"{re.escape(name)}</bdi>: [^<]*{words}", text), name
    assert {u.original_name: u.kind for u in Upload.objects.all()} == {
        "good.pdf": "PDF",
        "named-wrong.pdf": "JPEG",
    }
    refused = CustodyEntry.objects.get(act="take_in", outcome="refused")
    assert facts_of(refused)["reasons"] == [
        "file_broken", "file_empty", "file_kind", "file_locked",
    ]  # fmt: skip


def test_a_script_is_told_in_json(case: Case, clerk: StaffMember) -> None:
    client = browser(clerk)
    told = post(client, case, ("a.png", picture("PNG")), headers={"accept": "application/json"})
    assert (told.status_code, told.json()) == (
        200,
        {"kept": ["a.png"], "refused": [], "next": url("documents", case)},
    )
    told = post(client, case, ("b.png", b"no"), headers={"accept": "application/json"})
    assert told.status_code == 422
    assert told.json()["refused"][0]["name"] == "b.png"


def test_the_same_sending_twice_is_taken_once(
    case: Case, clerk: StaffMember, own_folders: Path
) -> None:
    client, token = browser(clerk), cast.token()
    for _ in range(2):
        answer = post(client, case, ("a.png", picture("PNG")), token=token)
        assert answer.status_code == 302
    assert Upload.objects.count() == len(stored(own_folders)) == 1
    assert CustodyEntry.objects.filter(act="take_in").count() == 1


def test_the_same_file_in_another_sending_is_not_taken_again(
    case: Case, clerk: StaffMember, own_folders: Path
) -> None:
    came(case, ("a.png", picture("PNG")))
    taken = filing.take_in(
        case,
        clerk,
        cast.token(),
        [sent("again.png", picture("PNG")), sent("b.pdf", pdf()), sent("b2.pdf", pdf())],
    )
    assert [upload.original_name for upload in taken.kept] == ["b.pdf"]
    assert [(name, why.code) for name, why in taken.refused] == [
        ("again.png", "file_twice"),
        ("b2.pdf", "file_twice"),
    ]
    assert len(stored(own_folders)) == 2
    assert not filing.take_in(case, clerk, cast.token(), [sent("a.png", picture("PNG"))]).was_sent
    assert CustodyEntry.objects.filter(act="take_in", outcome="refused").count() == 2


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("../../etc/passwd", "passwd"),
        ("..\\..\\windows\\a.pdf", "a.pdf"),
        ("a\0b.pdf", "ab.pdf"),
        ("gpj.\u202efdp", "gpj.fdp"),
        ("\u2066x\u2069.png", "x.png"),
        ("n" * 300 + ".pdf", "n" * 200),
        ("...", "file"),
        ("", "file"),
        ("line\r\nbreak.pdf", "linebreak.pdf"),
        ("Größe 日本.heic", "Größe 日本.heic"),
    ],
)
def test_a_name_steers_neither_path_nor_screen(
    case: Case, own_folders: Path, name: str, kept: str
) -> None:
    (upload,) = came(case, (name, picture("PNG")))
    assert upload.original_name == kept
    (path,) = stored(own_folders)
    assert path == own_folders / "uploads" / upload.token[:2] / upload.token


def test_a_paper_is_filed_with_its_file(case: Case, clerk: StaffMember) -> None:
    client = browser(clerk)
    (upload,) = came(case, ("a.pdf", pdf(3)))
    page = text_of(client, url("documents", case))
    assert all(url("file-page", case, upload.token, n) in page for n in (1, 2, 3))
    assert page.count('loading="lazy"') == 2
    data = {**TYPED, "token": cast.token(), "upload": upload.token}
    answer = client.post(url("documents", case), data)
    assert answer.headers["Location"] == url("case", case)
    document = filed(case).get()
    assert document.upload == upload
    facts = facts_of(CustodyEntry.objects.filter(act="file_document").latest("sequence"))
    assert facts["files"][0]["sha256"] == upload.sha256
    assert facts["files"][0]["pages"] == 3
    assert not documents.waiting(case).exists()


def test_several_photographs_of_one_paper_are_its_pages(case: Case, clerk: StaffMember) -> None:
    front, back, other = came(
        case,
        ("front.jpg", picture("JPEG")),
        ("back.jpg", picture("JPEG", colour="red")),
        ("other.png", picture("PNG")),
    )
    client = browser(clerk)
    data = {**TYPED, "token": cast.token(), "upload": front.token, "more": [back.token]}
    answer = client.post(url("documents", case), data)
    assert answer.headers["Location"] == url("documents", case)  # one more waits
    document = filed(case).get()
    assert (document.upload, document.sheets.get().upload) == (front, back)
    assert list(documents.waiting(case)) == [other]
    shown = text_of(client, url("file", case, back.token))
    assert url("file-page", case, front.token, 1) in shown
    assert url("file-page", case, back.token, 1) in shown


def test_kinds_that_the_rules_ask_for_come_first(case: Case, clerk: StaffMember) -> None:
    page = text_of(browser(clerk), url("documents", case))
    asked = {paper.kind for paper in case.law.papers_before("charge")}
    first = page[page.index("not on file") : page.index("Other papers")]
    assert all(f'value="{kind}"' in first for kind in asked)
    assert 'value="court_order"' not in first
    assert "selected" not in first  # a kind is chosen, never guessed


def test_a_later_version_replaces_and_the_older_one_stays(case: Case, clerk: StaffMember) -> None:
    old, new = came(case, ("old.pdf", pdf(1)), ("new.pdf", pdf(2)))
    acts.file_document(case, clerk, cast.token(), **PAPER, files=[old])
    first = filed(case).get()
    acts.file_document(case, clerk, cast.token(), **PAPER, files=[new], replaces=first)
    second = first.replaced_by
    fresh = Case.objects.get(pk=case.pk)
    assert second in documents.current(fresh)
    assert first not in documents.current(fresh)
    facts = facts_of(CustodyEntry.objects.filter(act="file_document").latest("sequence"))
    assert facts["replaces"] == PAPER["kind"]
    page = text_of(browser(clerk), url("documents", case))
    assert page.count("Replaced by a later version") == 1
    assert "Replaced by a later version" in text_of(browser(clerk), url("file", case, old.token))
    assert browser(clerk).get(url("file-page", case, old.token, 1)).status_code == 200
    with pytest.raises(ActRefused) as refused:
        acts.file_document(case, clerk, cast.token(), **PAPER, replaces=first)
    assert refused.value.code == "paper_replaced"


def test_what_was_replaced_by_another_kind_no_longer_counts(case: Case, clerk: StaffMember) -> None:
    cast.file_papers(case, "authorize")

    def state() -> str:
        fresh = Case.objects.get(pk=case.pk)
        situation = Situation(case=fresh, step=STEPS["authorize"], now=clock.now())
        return GATES["documents_on_file"](situation).state

    assert state() == PASSED
    wrong = Document.objects.get(kind="removal_authorization")
    acts.file_document(case, clerk, cast.token(), **PAPER, replaces=wrong)
    assert state() == REFUSED


def test_a_file_is_filed_once(case: Case, clerk: StaffMember) -> None:
    (upload,) = came(case, ("a.pdf", pdf()))
    acts.file_document(case, clerk, cast.token(), **PAPER, files=[upload])
    with pytest.raises(ActRefused) as refused:
        acts.file_document(case, clerk, cast.token(), **PAPER, files=[upload])
    assert refused.value.code == "file_filed"
    other = cast.make_case(case.facility)
    (theirs,) = came(other, ("b.pdf", pdf(2)))
    with pytest.raises(ActRefused):
        acts.file_document(case, clerk, cast.token(), **PAPER, files=[theirs])
    assert filed(case).count() == 1


def test_a_file_of_another_person_is_set_aside_and_waits_no_longer(
    case: Case, clerk: StaffMember
) -> None:
    (upload,) = came(case, ("a.pdf", pdf()))
    client = browser(clerk)
    data = {"token": cast.token(), "reason": "another person's paper"}
    answer = client.post(url("set-aside", case, upload.token), data)
    assert answer.status_code == 302
    assert not documents.waiting(case).exists()
    assert UploadSetAside.objects.get().upload == upload
    assert "another person" in text_of(client, url("file", case, upload.token))
    entry = CustodyEntry.objects.get(act="set_aside")
    assert "another person" not in entry.payload
    assert came(case, ("a.pdf", pdf()))  # the same file may come again


def test_what_was_typed_is_kept_and_the_scan_stays_beside_it(
    case: Case, clerk: StaffMember
) -> None:
    first, second = came(case, ("a.pdf", pdf()), ("b.png", picture("PNG")))
    data = {**TYPED, "token": cast.token(), "upload": second.token, "issued_on": "2999-01-01"}
    answer = browser(clerk).post(url("documents", case), data)
    text = answer.content.decode()
    assert answer.status_code == 422
    assert 'value="R-9"' in text
    assert url("file-page", case, second.token, 1) in text
    assert url("file-page", case, first.token, 1) not in text
    assert not filed(case).exists()


def test_what_is_shown_is_drawn_anew_and_the_original_only_saved(
    case: Case, clerk: StaffMember
) -> None:
    notes = Image.Exif()
    notes.get_ifd(0x8825)[2] = (46.0, 52.0, 12.5)
    notes[0x010F] = "Camera of an invented clerk"
    data = picture("JPEG", exif=notes.tobytes()) + b"<script>alert(1)</script>"
    (upload,) = came(case, ('x";evil.jpg', data))
    client = browser(clerk)
    for _ in range(2):  # drawn, and as it was kept
        shown = client.get(url("file-page", case, upload.token, 1))
        assert shown.headers["Content-Type"] == "image/png"
        assert shown.headers["X-Content-Type-Options"] == "nosniff"
        assert shown.headers["Cache-Control"] == "no-store"
        assert shown.content.startswith(b"\x89PNG")
        assert b"script" not in shown.content
        assert b"invented clerk" not in shown.content
        assert not Image.open(io.BytesIO(shown.content)).getexif()
    original = client.get(url("file-original", case, upload.token))
    assert original.content == data
    assert original.headers["Content-Type"] == "application/octet-stream"
    assert original.headers["X-Content-Type-Options"] == "nosniff"
    assert original.headers["Cache-Control"] == "no-store"
    assert original.headers["Content-Security-Policy"] == "sandbox; default-src 'none'"
    assert re.fullmatch(
        r'attachment; filename="[A-Z0-9-]+-[0-9a-f]{12}\.jpg"',
        original.headers["Content-Disposition"],
    )


@pytest.mark.parametrize("name", ["file", "file-original", "set-aside"])
def test_a_member_of_another_house_sees_nothing(
    case: Case, other_facility: Facility, name: str
) -> None:
    (upload,) = came(case, ("a.pdf", pdf()))
    stranger = browser(cast.member(other_facility, cast.MANAGER))
    assert stranger.get(url(name, case, upload.token)).status_code == 404
    assert stranger.get(url("file-page", case, upload.token, 1)).status_code == 404
    assert Client().get(url(name, case, upload.token)).status_code == 302


def test_a_token_opens_its_own_case_only(case: Case, clerk: StaffMember) -> None:
    (upload,) = came(case, ("a.pdf", pdf()))
    other = cast.make_case(case.facility)
    assert browser(clerk).get(url("file", other, upload.token)).status_code == 404
    assert browser(clerk).get(url("file-page", case, upload.token, 2)).status_code == 404
    assert browser(clerk).get(url("file-page", case, upload.token, 0)).status_code == 404


@pytest.mark.parametrize("is_changed", [True, False])
def test_a_file_that_is_missing_or_changed_is_said_to_be(
    case: Case, clerk: StaffMember, is_changed: bool
) -> None:
    (upload,) = came(case, ("a.pdf", pdf()))
    client, path = browser(clerk), uploads_in.path_of(upload.token)
    assert client.get(url("file-page", case, upload.token, 1)).status_code == 200
    if is_changed:
        path.write_bytes(pdf(2))
    else:
        path.unlink()
    words = "was changed after it came in" if is_changed else "cannot be read"
    assert words in text_of(client, url("documents", case))
    assert words in text_of(client, url("file", case, upload.token))
    shown = client.get(url("file-page", case, upload.token, 1))
    assert (shown.status_code, words in shown.content.decode()) == (410, True)
    original = client.get(url("file-original", case, upload.token))
    assert original.headers["Location"] == url("file", case, upload.token)
    with pytest.raises(ActRefused) as refused:
        acts.file_document(case, clerk, cast.token(), **PAPER, files=[upload])
    assert refused.value.code == "file_damaged"


def test_a_picture_put_into_the_folder_is_not_shown(
    case: Case, clerk: StaffMember, own_folders: Path
) -> None:
    (upload,) = came(case, ("a.png", picture("PNG")))
    client = browser(clerk)
    true = client.get(url("file-page", case, upload.token, 1)).content
    (kept,) = (own_folders / "drawn").iterdir()
    kept.write_bytes(kept.read_bytes()[:32] + picture("PNG", colour="red"))
    assert client.get(url("file-page", case, upload.token, 1)).content == true


def test_uploads_are_written_once(case: Case) -> None:
    (upload,) = came(case, ("a.png", picture("PNG")))
    upload.kind = "PDF"
    with pytest.raises(AppendOnlyError):
        upload.save()
    with pytest.raises(AppendOnlyError):
        Upload.objects.filter(pk=upload.pk).delete()


def test_the_trail_holds_with_files_in_it(case: Case, clerk: StaffMember) -> None:
    (upload,) = came(case, ("a.png", picture("PNG")))
    acts.file_document(case, clerk, cast.token(), **PAPER, files=[upload])
    assert verify(case.facility).first is None
    page = text_of(browser(clerk), f"{url('case', case)}trail/")
    assert "Files taken in" in page
    assert upload.sha256 in page


def test_a_closed_case_takes_nothing(facility: Facility, clerk: StaffMember) -> None:
    case = cast.bring(cast.make_case(facility), "returned")
    answer = post(browser(clerk), case, ("a.png", picture("PNG")))
    assert answer.status_code == 409
    assert "closed" in answer.content.decode()
    assert "data-drop" not in text_of(browser(clerk), url("documents", case))


def test_a_hostile_file_is_decoded_apart_and_ended_in_time(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(apart, "SECONDS", 0.01)
    with pytest.raises(uploads.UploadRefused) as refused:
        apart.inspect(pdf())
    assert refused.value.code == "file_slow"


def test_the_child_knows_no_secret(monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[dict[str, str]] = []

    class Ended:
        stdout = b""

    def run(words: list[str], **kwargs: Any) -> Ended:
        seen.append(kwargs["env"])
        return Ended()

    monkeypatch.setenv("SECRET_KEY", "a secret")
    monkeypatch.setattr(apart.subprocess, "run", run)
    with pytest.raises(uploads.UploadRefused) as refused:  # a child that broke down
        apart.inspect(pdf())
    assert refused.value.code == "file_broken"
    assert "a secret" not in json.dumps(seen)


def test_the_child_answers_as_the_parent_would() -> None:
    data = pdf(3)
    assert apart.inspect(data) == uploads.inspect(data)
    assert apart.draw(data, 2) == uploads.draw(data, 2)
    with pytest.raises(uploads.UploadRefused) as refused:
        apart.inspect(b"GIF89a")
    assert refused.value.code == "file_kind"


def test_queries_do_not_grow_with_files(
    case: Case, clerk: StaffMember, django_assert_num_queries: Any
) -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    client = browser(clerk)

    def file_one(n: int) -> None:
        front, back, _ = came(
            case, *((f"{n}{i}.png", picture("PNG", (40 + n, 30 + i))) for i in range(3))
        )
        acts.file_document(case, clerk, cast.token(), **PAPER, files=[front, back])

    counts = []
    for n in range(2):
        file_one(n)
        for name in ("documents", "case"):
            client.get(url(name, case))
            with CaptureQueriesContext(connection) as seen:
                client.get(url(name, case))
            counts.append(len(seen))
    assert counts[:2] == counts[2:]


@pytest.mark.parametrize("asked", ["²", "9" * 30, "x"])
def test_a_version_that_is_no_number_is_passed_over(
    case: Case, clerk: StaffMember, asked: str
) -> None:
    acts.file_document(case, clerk, cast.token(), **PAPER)
    filing.take_in(case, clerk, cast.token(), [sent("a.png", picture("PNG"))])
    answered = browser(clerk).get(url("documents", case), {"replaces": asked})
    assert answered.status_code == 200
    assert "replaces" not in answered.context["form"].initial


def test_a_file_that_the_system_does_not_give_is_refused_and_the_others_come_in(
    case: Case, clerk: StaffMember
) -> None:
    def broken() -> bytes:
        raise OSError("the disk is gone")

    files = [sent("a.png", picture("PNG")), Sent("b.png", broken), sent("c.pdf", pdf())]
    taken = filing.take_in(case, clerk, cast.token(), files)
    assert [upload.original_name for upload in taken.kept] == ["a.png", "c.pdf"]
    assert [(name, reason.code) for name, reason in taken.refused] == [("b.png", "file_unstored")]


def test_a_file_stored_but_not_made_safe_is_not_left_behind(
    case: Case, clerk: StaffMember, monkeypatch: pytest.MonkeyPatch, own_folders: Path
) -> None:
    def fails(*folders: Path) -> None:
        raise OSError("no space")

    monkeypatch.setattr(file_store, "_sync_folders", fails)
    taken = filing.take_in(case, clerk, cast.token(), [sent("a.png", picture("PNG"))])
    assert [reason.code for _, reason in taken.refused] == ["file_unstored"]
    assert not [path for path in own_folders.rglob("*") if path.is_file()]
