"""A floor imports only from the floors below it."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
FLOORS = ("crematory", "chain_of_custody", "retort_log", "cases")  # from the ground up
# These two join the floors into one site: its addresses, and its start.
JOINS = {"crematory/urls.py", "crematory/wsgi.py"}
FILES = [path for floor in FLOORS for path in sorted((ROOT / floor).rglob("*.py"))]


def imported(source: str) -> Iterator[tuple[int, str]]:
    """Yield line and first name of each import, also of those inside functions."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name.split(".")[0]) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"line {node.lineno}: imports name their floor"
            yield node.lineno, (node.module or "").split(".")[0]


def upward(floor: str, source: str) -> list[str]:
    """Return the imports of a file that go to a higher floor, to tests, or to the demo."""
    above = {*FLOORS[FLOORS.index(floor) + 1 :], "tests"}
    return [f"line {line} imports {name}" for line, name in imported(source) if name in above]


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_a_file_imports_only_from_below(path: Path) -> None:
    name = path.relative_to(ROOT).as_posix()
    if name not in JOINS and "/migrations/" not in name:
        assert upward(name.split("/")[0], path.read_text("utf-8")) == []


def test_every_floor_has_files() -> None:
    for floor in FLOORS:
        assert sum(path.is_relative_to(ROOT / floor) for path in FILES) > 5


@pytest.mark.parametrize(
    ("floor", "source"),
    [
        ("crematory", "import cases"),
        ("crematory", "from chain_of_custody.trail import append"),
        ("chain_of_custody", "def f():\n    from retort_log import models"),
        ("retort_log", "if True:\n    import cases.models as m"),
        ("cases", "from tests import cast"),
    ],
)
def test_the_search_sees_an_import_from_above(floor: str, source: str) -> None:
    assert upward(floor, source)


def test_the_search_allows_what_lies_below() -> None:
    assert upward("cases", "from retort_log import acts\nimport crematory.clock\nimport json") == []
