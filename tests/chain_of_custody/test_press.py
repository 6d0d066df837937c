"""Numbers, bytes and files of papers, below what any one kind of paper says."""

import hashlib
import io
import json
import subprocess
import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pypdf
import pypdfium2
import pytest
from django.conf import settings as django_settings
from django.test import override_settings

from cases.models import Case
from chain_of_custody import paper_store, press, typesetter
from chain_of_custody.models import CustodyEntry, Paper
from chain_of_custody.paper_store import PaperDamaged
from chain_of_custody.press import Order, PrintRefused
from chain_of_custody.typesetter import ROOT, ForbiddenAddress, PressUnavailable
from crematory import clock
from crematory.check_character import is_valid
from crematory.models import StaffMember
from tests import cast

AT = datetime(2026, 3, 3, 21, 5, 9, tzinfo=UTC)


@pytest.fixture
def case(facility: Any) -> Case:
    return cast.make_case(facility)


@pytest.fixture
def order(case: Case, clerk: StaffMember) -> Order:
    facts = {"case_number": case.number, "decedent_name": "Łukasz Nguyễn", "years": "1941–2026"}
    return Order(case, "sheet", "Plain sheet", "papers/base.html", lambda: dict(facts), clerk)


@pytest.fixture(autouse=True)
def papers_dir(tmp_path: Path, settings: Any) -> Path:
    settings.PAPERS_DIR = tmp_path / "papers"
    return Path(settings.PAPERS_DIR)


def text_of(data: bytes) -> str:
    document = pypdfium2.PdfDocument(data)
    return "\n".join(page.get_textpage().get_text_range() for page in document)


def typeset(order: Order) -> bytes:
    facts = press._facts(order)
    return press.render(order, "K7QM-2XHD-9", 1, facts, AT).data


def test_a_number_has_a_check_character_and_no_letter_that_is_misread() -> None:
    numbers = {press.new_number() for _ in range(500)}
    assert len(numbers) == 500
    assert all(is_valid(number) for number in numbers)
    assert not set("".join(numbers)) & set("ILO01")


def test_bytes_are_the_same_again(order: Order) -> None:
    assert typeset(order) == typeset(order)


def test_threads_print_one_after_the_other() -> None:
    html = '<html lang="en"><head><title>Sheet</title></head><body>Łukasz</body></html>'
    with ThreadPoolExecutor(4) as pool:
        results = list(pool.map(typesetter.typeset, [html] * 8))
    assert all(one == results[0] for one in results)


ELSEWHERE = """
import sys, hashlib, django
django.setup()
from chain_of_custody import typesetter
print(hashlib.sha256(typesetter.typeset(sys.stdin.buffer.read().decode()).data).hexdigest())
"""


def test_bytes_are_the_same_in_other_processes() -> None:
    html = (
        '<html lang="en"><head><title>Sheet</title>'
        '<meta name="dcterms.created" content="2026-03-03T21:05:09+00:00">'
        '<link rel="stylesheet" href="fonts.css"><link rel="stylesheet" href="papers.css"></head>'
        "<body><h1>Łukasz Nguyễn Щукин</h1></body></html>"
    )
    here = hashlib.sha256(typesetter.typeset(html).data).hexdigest()
    there = [
        subprocess.run(
            [sys.executable, "-c", ELSEWHERE],
            input=html.encode(),
            capture_output=True,
            check=True,
            cwd=django_settings.BASE_DIR,
            env={
                "DJANGO_SETTINGS_MODULE": "tests.settings_sqlite",
                "PYTHONHASHSEED": seed,
                "PATH": "",
            },
        )
        .stdout.decode()
        .strip()
        for seed in ("1", "2")
    ]
    assert there == [here, here]


def test_the_pdf_is_tagged_and_titled(order: Order) -> None:
    reader = pypdf.PdfReader(io.BytesIO(typeset(order)))
    root: Any = reader.root_object
    assert root["/StructTreeRoot"]["/K"]
    assert root["/MarkInfo"]["/Marked"] is True or root["/MarkInfo"]["/Marked"].value is True
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert reader.metadata is not None
    assert reader.metadata.title == "Plain sheet, paper K7QM-2XHD-9"
    assert b"pdfuaid" in root["/Metadata"].get_data()


def fonts_of(data: bytes) -> set[str]:
    reader = pypdf.PdfReader(io.BytesIO(data))
    names = set()
    for page in reader.pages:
        fonts: Any = page["/Resources"].get("/Font", {})  # type: ignore[attr-defined]
        for font in fonts.values():
            inner = font.get_object()["/DescendantFonts"][0].get_object()
            assert "/FontFile2" in inner["/FontDescriptor"].get_object(), "not embedded"
            names.add(str(inner["/BaseFont"]).split("+")[-1].rstrip(","))
    return names


def test_latin_papers_hold_our_own_font_and_no_other(order: Order) -> None:
    names = fonts_of(typeset(order))
    assert names
    assert all(name.startswith("Source-Sans-3") for name in names), names


def test_times_name_their_zone_and_pages_are_counted(order: Order) -> None:
    text = text_of(typeset(order))
    assert "Tue 3 Mar 2026 14:05 MST" in text
    assert "Page 1 of 1" in text
    assert "K7QM-2XHD-9" in text
    assert "Copy" not in text


@pytest.mark.parametrize(("units", "size"), [("us", (612, 792)), ("metric", (595, 842))])
def test_units_choose_letter_or_a4(order: Order, units: str, size: tuple[int, int]) -> None:
    order.case.facility.units = units
    width, height = pypdfium2.PdfDocument(typeset(order))[0].get_size()
    assert (round(width), round(height)) == size


def test_printing_is_an_entry_without_names(order: Order) -> None:
    with clock.pinned(AT):
        paper = press.print_paper(order)
    entry = paper.entry
    assert (entry.act, entry.signed_by, entry.case) == ("print", order.printed_by, order.case)
    assert json.loads(entry.payload)["facts"] == {
        "number": paper.number,
        "kind": "sheet",
        "copy": 1,
        "sha256": paper.sha256,
    }
    assert "Łukasz" not in entry.payload
    assert paper.facts["decedent_name"] == "Łukasz Nguyễn"


def test_bytes_lie_under_their_own_digest(order: Order, papers_dir: Path) -> None:
    paper = press.print_paper(order)
    path = papers_dir / paper.sha256[:2] / f"{paper.sha256}.pdf"
    assert path.read_bytes() == press.read_paper(paper)
    assert [p for p in papers_dir.rglob("*") if p.is_file()] == [path]


def test_a_reprint_says_which_copy_it_is(order: Order) -> None:
    first, second = press.print_paper(order), press.print_paper(order)
    assert (first.copy, second.copy) == (1, 2)
    assert first.number != second.number
    assert first.facts == second.facts
    assert "Copy 2" in text_of(press.read_paper(second))


def test_a_repeated_token_gives_the_same_paper(order: Order) -> None:
    order = replace(order, token="form-1")
    assert press.print_paper(order) == press.print_paper(order)
    assert Paper.objects.count() == 1
    with pytest.raises(PrintRefused, match="already used"):
        press.print_paper(replace(order, kind="other"))


def test_a_print_that_overtakes_takes_the_copy_number(
    order: Order, monkeypatch: pytest.MonkeyPatch
) -> None:
    once: list[Callable[[], Any]] = [lambda: press.print_paper(order)]
    original = press.render

    def render(*args: Any) -> Any:
        done = original(*args)
        if once:
            once.pop()()
        return done

    monkeypatch.setattr(press, "render", render)
    late = press.print_paper(order)
    assert sorted(Paper.objects.values_list("copy", flat=True)) == [1, 2]
    assert late.copy == 2
    assert "Copy 2" in text_of(press.read_paper(late))


def test_facts_that_never_rest_are_printed_under_the_lock(order: Order) -> None:
    asked = iter(range(100))

    def facts() -> dict[str, Any]:
        return {"case_number": "X", "decedent_name": f"N{next(asked)}", "years": ""}

    paper = press.print_paper(replace(order, facts=facts))
    assert paper.facts["decedent_name"] in text_of(press.read_paper(paper))


def test_a_missing_file_is_told(order: Order) -> None:
    paper = press.print_paper(order)
    paper_store.path_of(paper.sha256).unlink()
    with pytest.raises(PaperDamaged, match="cannot be read"):
        press.read_paper(paper)


def test_a_changed_file_is_told(order: Order) -> None:
    paper = press.print_paper(order)
    path = paper_store.path_of(paper.sha256)
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(data)
    with pytest.raises(PaperDamaged, match="changed"):
        press.read_paper(paper)


def test_nothing_is_recorded_when_the_bytes_cannot_be_kept(order: Order, tmp_path: Path) -> None:
    blocked = tmp_path / "a-file"
    blocked.touch()
    before = CustodyEntry.objects.count()
    with override_settings(PAPERS_DIR=blocked), pytest.raises(OSError, match="a-file"):
        press.print_paper(order)
    assert CustodyEntry.objects.count() == before
    assert not Paper.objects.exists()


@pytest.mark.parametrize(
    "url",
    [
        "https://example.org/fonts.css",
        "file:///etc/passwd",
        "data:text/css,body{}",
        f"{ROOT}../manage.py",
        f"{ROOT}%2e%2e/manage.py",
        f"{ROOT}vendor/../../static/../pyproject.toml",
        f"{ROOT}house.js",
        f"{ROOT}absent.css",
        "https://static.invalid.example.org/papers.css",
    ],
)
def test_only_our_style_sheets_and_fonts_are_served(url: str) -> None:
    with pytest.raises(ForbiddenAddress):
        typesetter.static_file(url)


def test_a_paper_that_asks_for_something_else_is_not_printed() -> None:
    with pytest.raises(ForbiddenAddress, match="only our own"):
        typesetter.typeset('<img alt="" src="file:///etc/hostname">')


def test_a_character_without_a_font_is_named_on_the_paper(
    order: Order, caplog: pytest.LogCaptureFixture
) -> None:
    facts = order.facts() | {"decedent_name": "Ada \U0010fff0"}
    paper = press.print_paper(replace(order, facts=lambda: facts))
    assert paper.facts["unprintable"] == ["U+10FFF0"]
    assert "U+10FFF0" in text_of(press.read_paper(paper))
    assert not caplog.records, "names stay out of the log"


def test_without_the_library_the_remedy_is_told(
    order: Order, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(typesetter, "pango_missing", lambda: "no library called pango")
    with pytest.raises(PressUnavailable, match=r"no library called pango.*[Pp]ango"):
        press.print_paper(order)
