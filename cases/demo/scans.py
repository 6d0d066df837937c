"""Scans of the demonstration: pages drawn by code, plainly specimens, of no real paper's look."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from PIL import Image, ImageDraw, ImageFilter, ImageFont

from cases import filing
from cases.filing import Sent
from cases.law import paper_words
from chain_of_custody import uploads_in
from chain_of_custody.models import Upload
from chain_of_custody.uploads_in import Arrived

if TYPE_CHECKING:
    from cases.demo.life import Life

PAGE = (1240, 1754)  # A4 at 150 dots an inch
MARGIN = 120
INK, FAINT = "#2b2b33", "#c9c4bb"
PAPERS = ("#fbfaf5", "#f7f8fa", "#fbf7f0")


def came(life: Life, kind: str) -> list[Upload]:
    """Take in the scan of this paper, where the person's papers are shown as scanned."""
    if not life.person.scanned:
        return []
    name, data = scan(life, kind)
    taken = filing.take_in(
        life.case,
        life.hands.member(life.front()),
        life.hands.token(),
        [Sent(name, lambda: data)],
    )
    return taken.kept


def scan(life: Life, kind: str) -> tuple[str, bytes]:
    """Return the file of one paper: a PDF of two pages, or a photograph of one."""
    title = paper_words(kind)
    lines = (
        f"Name: {life.person.name}",
        f"Sent by: {life.person.sender}",
        f"Signed by: {life.person.agent}, {life.person.relationship}",
        f"Reference: {kind[:2].upper()}-{4400 + life.index}",
    )
    first = page(title, lines, life.index)
    out = io.BytesIO()
    if life.index % 2:
        table, softly = "#6f6a63", Image.Resampling.BICUBIC
        tilted = first.rotate(1.2, expand=True, fillcolor=table, resample=softly)
        tilted.save(out, "JPEG", quality=80)
        return f"photo of {title}.jpg", out.getvalue()
    second = page(title, ("Page 2: explanations, invented and without force.",), life.index)
    first.save(out, "PDF", save_all=True, append_images=[second], resolution=150)
    return f"{title}.pdf", out.getvalue()


def photograph(life: Life) -> Arrived:
    """Return a picture that stands for the one taken of a disc that cannot be read."""
    out = io.BytesIO()
    disc = Image.new("RGB", (480, 360), "#57514b")
    draw = ImageDraw.Draw(disc)
    draw.ellipse((150, 90, 330, 270), "#8b8178", "#3a3532", 4)
    draw.line([(170 + 20 * n, 180 + (n * 37) % 40 - 20) for n in range(8)], "#6b635c", 9)
    _across(disc)
    disc.filter(ImageFilter.GaussianBlur(1)).save(out, "JPEG", quality=80)
    return uploads_in.arrive(out.getvalue(), f"disc {life.case.number}.jpg")


def page(title: str, lines: tuple[str, ...], seed: int) -> Image.Image:
    """Draw one page: a title, lines of text, rules to write on, and SPECIMEN across it."""
    sheet = Image.new("RGB", PAGE, PAPERS[seed % len(PAPERS)])
    draw = ImageDraw.Draw(sheet)
    _across(sheet)
    draw.text((MARGIN, MARGIN), title.capitalize(), INK, font=ImageFont.load_default(44))
    draw.line((MARGIN, 210, PAGE[0] - MARGIN, 210), INK, 3)
    text = ImageFont.load_default(30)
    for number, line in enumerate(lines):
        draw.text((MARGIN, 270 + 70 * number), line, INK, font=text)
    for y in range(270 + 70 * len(lines) + 60, PAGE[1] - 420, 70):
        draw.line((MARGIN, y, PAGE[0] - MARGIN, y), FAINT, 2)
    draw.text((MARGIN, PAGE[1] - 330), "Signature", INK, font=text)
    draw.line((MARGIN, PAGE[1] - 230, 700, PAGE[1] - 230), INK, 2)
    _signature(draw, seed)
    note = "Specimen for a demonstration. Invented; not a form of any authority."
    draw.text((MARGIN, PAGE[1] - 150), note, INK, font=ImageFont.load_default(26))
    return sheet.filter(ImageFilter.GaussianBlur(0.6))


def _across(sheet: Image.Image) -> None:
    stamp = Image.new("L", (1000, 240), 0)
    ImageDraw.Draw(stamp).text((20, 10), "SPECIMEN", 60, font=ImageFont.load_default(190))
    turned = stamp.rotate(35, expand=True)
    sheet.paste("#97291b", ((PAGE[0] - turned.width) // 2, (PAGE[1] - turned.height) // 2), turned)


def _signature(draw: ImageDraw.ImageDraw, seed: int) -> None:
    x, y = MARGIN + 30, PAGE[1] - 265
    points = [(x + 26 * n, y + ((seed * 7 + n * n * 13) % 61) - 30) for n in range(16)]
    draw.line(points, "#23356e", 4, joint="curve")
