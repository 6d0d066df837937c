"""HTML to PDF/UA-1 with our own fonts, nothing from outside, the same bytes each time.

WeasyPrint is imported late: it needs the Pango library of the system, and the site must run
without it. One paper is set at a time, because its font configuration is not thread-safe.
"""

import logging
import platform
import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

from django.conf import settings

from crematory.checks import PANGO, pango_missing

# A host that cannot exist: addresses below it are files of ours, all others are refused.
ROOT = "https://static.invalid/"
SERVED = {".css": "text/css", ".ttf": "font/ttf"}
_one_at_a_time = threading.Lock()


class PressUnavailable(Exception):
    """Papers cannot be printed on this system; the text names the remedy."""


class ForbiddenAddress(ValueError):
    """A paper asked for something that is not one of our style sheets or fonts."""


def static_file(url: str) -> tuple[bytes, str]:
    """Return content and media type of one of our style sheets or fonts.

    Raises ForbiddenAddress for every other address.
    """
    parts, folder = urlsplit(url), (Path(settings.BASE_DIR) / "static").resolve()
    path = (folder / unquote(parts.path).lstrip("/")).resolve()
    known = url.startswith(ROOT) and path.is_relative_to(folder) and path.suffix in SERVED
    if not known or not path.is_file():
        raise ForbiddenAddress("A paper may use only our own style sheets and fonts.")
    return path.read_bytes(), SERVED[path.suffix]


def _fetcher(weasyprint: Any) -> Any:
    class Fetcher(weasyprint.urls.URLFetcher):
        def fetch(self, url: str, headers: dict[str, str] | None = None) -> Any:
            try:
                content, media_type = static_file(url)
            except ForbiddenAddress as error:
                # Only this class stops the printing; else a system font steps in unseen.
                raise weasyprint.urls.FatalURLFetchingError(str(error)) from error
            return weasyprint.urls.URLFetcherResponse(url, content, {"Content-Type": media_type})

    return Fetcher()


@dataclass(frozen=True)
class Typeset:
    """A PDF, and the code points ("U+674E") for which no font of this system has a sign."""

    data: bytes
    unprintable: tuple[str, ...]


@contextmanager
def _listening() -> Iterator[list[str]]:
    """Collect what the typesetter says of missing signs; keep names out of the log."""
    missing: list[str] = []

    def hear(record: logging.LogRecord) -> bool:
        if ".notdef" not in str(record.msg):
            return True
        missing.extend(re.findall(r"U\+[0-9A-Fa-f]{4,6}", record.getMessage()))
        return False

    logger = logging.getLogger("weasyprint")
    logger.addFilter(hear)
    try:
        yield missing
    finally:
        logger.removeFilter(hear)


def typeset(html: str) -> Typeset:
    """Return the tagged PDF of a page.

    Raises PressUnavailable where Pango is missing, ForbiddenAddress for a page that asks for
    anything but our own style sheets and fonts.
    """
    with _one_at_a_time, _listening() as missing:
        if reason := pango_missing():
            remedy = PANGO.get(platform.system(), PANGO["Linux"])
            raise PressUnavailable(f"Papers cannot be printed here: {reason}. {remedy}")
        import weasyprint

        page = weasyprint.HTML(string=html, base_url=ROOT, url_fetcher=_fetcher(weasyprint))
        try:
            data: bytes = page.write_pdf(pdf_variant="pdf/ua-1")
        except weasyprint.urls.FatalURLFetchingError as error:
            # A BaseException, which would pass by every handler of the site.
            raise ForbiddenAddress(str(error)) from error
        return Typeset(data, tuple(sorted(set(missing))))
