"""Files for tests of what comes in: invented pictures and PDFs, made here."""

import io
from typing import Any

import pikepdf
from PIL import Image

SIZE = (320, 200)


def picture(form: str, size: tuple[int, int] = SIZE, colour: str = "navy", **saved: Any) -> bytes:
    """Return a picture of two halves."""
    out = io.BytesIO()
    image = Image.new("RGB", size, "white")
    image.paste(colour, (0, 0, size[0] // 2, size[1]))
    image.save(out, form, **saved)
    return out.getvalue()


def pdf(pages: int = 1, change: object = None, **saved: Any) -> bytes:
    """Return a PDF of empty pages; `change` may alter it before it is saved."""
    out = io.BytesIO()
    with pikepdf.new() as made:
        for _ in range(pages):
            made.add_blank_page(page_size=(612, 792))
        if callable(change):
            change(made)
        made.save(out, **saved)
    return out.getvalue()
