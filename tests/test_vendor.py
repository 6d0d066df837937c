"""What is vendored is what the list says, and no page loads anything from outside."""

import hashlib
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
VENDOR = ROOT / "static" / "vendor"
README = VENDOR / "README.md"
ROW = re.compile(r"^\| `(?P<path>[^`]+)` \|.*\| `(?P<sha256>[0-9a-f]{64})` \|$", re.MULTILINE)
TEMPLATES = sorted((ROOT / "templates").rglob("*.html"))
STYLES = sorted(p for p in (ROOT / "static").rglob("*.css"))
LOADING = ("src", "srcset", "href", "xlink:href", "poster", "data", "action", "formaction")
OUTSIDE = re.compile(r"^\s*(?:https?:)?//", re.IGNORECASE)
STYLE_LOADS = re.compile(r"(?:url\(|@import)\s*[\"']?\s*(?:https?:)?//", re.IGNORECASE)


def listed() -> dict[str, str]:
    """The vendored files by the README: path relative to the folder, and SHA-256 in hex."""
    return {row["path"]: row["sha256"] for row in ROW.finditer(README.read_text("utf-8"))}


def test_every_vendored_file_is_listed_and_unchanged() -> None:
    found = {
        path.relative_to(VENDOR).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in VENDOR.rglob("*")
        if path.is_file() and path != README
    }
    assert found == listed()


def test_each_vendored_package_carries_its_licence() -> None:
    for folder in (path for path in VENDOR.iterdir() if path.is_dir()):
        assert [p for p in folder.iterdir() if p.name in ("LICENSE", "OFL.txt")], folder.name


def test_no_source_map_is_named() -> None:
    """A named but missing map stops `collectstatic` with a manifest."""
    for path in [*VENDOR.rglob("*.css"), *VENDOR.rglob("*.js")]:
        assert "sourceMappingURL" not in path.read_text("utf-8"), path.name


class Loads(HTMLParser):
    """Collects what a page would fetch, or send to, outside; a link to be clicked is allowed."""

    def __init__(self) -> None:
        super().__init__()
        self.outside: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "a":
            return
        self.outside += [
            f"<{tag} {name}={value!r}>"
            for name, value in attrs
            if name in LOADING and value and OUTSIDE.match(value)
        ]


def outside_loads(html: str) -> list[str]:
    """The tags and style rules of `html` that fetch from another host."""
    parser = Loads()
    parser.feed(html)
    return parser.outside + STYLE_LOADS.findall(html)


@pytest.mark.parametrize(
    "html",
    [
        '<script src="https://a.example/x.js"></script>',
        '<link rel="stylesheet" href="//a.example/x.css">',
        "<style>p { background: url('http://a.example/x.png') }</style>",
        '<svg><use href="https://a.example/x.svg#y"></use></svg>',
        '<form action="https://a.example/"></form>',
    ],
)
def test_the_search_sees_loads_from_outside(html: str) -> None:
    assert outside_loads(html)


def test_the_search_allows_links_and_own_files() -> None:
    html = """<a href="https://a.example/">Law</a><script src="{% static 'x.js' %}"></script>"""
    assert outside_loads(html) == []


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda p: str(p.relative_to(ROOT)))
def test_templates_load_nothing_from_outside(path: Path) -> None:
    assert outside_loads(path.read_text("utf-8")) == []


@pytest.mark.parametrize("path", STYLES, ids=lambda p: str(p.relative_to(ROOT)))
def test_styles_load_nothing_from_outside(path: Path) -> None:
    assert not STYLE_LOADS.search(path.read_text("utf-8"))
