"""Every figure in the files of the law, against a table that was transcribed apart from them."""

import tomllib
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from cases import law

FIGURES = Path(__file__).parent / "law_figures"
SOURCE = {"citation", "link", "read_on", "note"}
Rows = dict[str, list[str]]


def expected() -> dict[str, Rows]:
    """Return the values of each table by jurisdiction, from the transcribed lines."""
    found: dict[str, Rows] = defaultdict(lambda: defaultdict(list))
    for path in sorted(FIGURES.glob("*.txt")):
        for line in path.read_text("utf-8").splitlines():
            if line.strip() and not line.startswith("#"):
                code, table, values, source = (part.strip() for part in line.split(" | "))
                assert source, line
                found[code][table].append(" ".join(sorted(values.split())))
    return found


EXPECTED = expected()


def _word(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return ",".join(value) if isinstance(value, list) else str(value)


def _values(row: dict[str, Any]) -> str:
    nested = {"waiver", "rank"}
    pairs = (f"{k}={_word(v)}" for k, v in row.items() if k not in SOURCE | nested)
    return " ".join(sorted(pairs))


def _rank(rank: dict[str, Any]) -> str:
    lesser = f"/{rank['lesser']}" if "lesser" in rank else ""
    excluded = "".join(f"!{fact}" for fact in rank.get("excluded_when", []))
    mark = f":{rank['mark']}" if "mark" in rank else ""
    return f"{rank['key']}:{rank['quorum']}{lesser}{excluded}{mark}"


def in_file(code: str) -> Iterator[tuple[str, str]]:
    """Yield table and values of all that the file says, without what is unknown."""
    data = tomllib.loads((law.FOLDER / f"{code}.toml").read_text("utf-8"))
    for table, given in data.items():
        for row in [given] if isinstance(given, dict) else given if type(given) is list else []:
            if row["mark"] == "unknown":
                assert _values(row) == "mark=unknown", (code, table)
                continue
            yield table, _values(row)
            for waiver in row.get("waiver", []):
                yield f"{table}.waiver", _values(waiver)
            if "rank" in row:
                yield f"{table}.rank", " ".join(_rank(rank) for rank in row["rank"])


def test_every_jurisdiction_has_figures() -> None:
    assert sorted(EXPECTED) == law.codes()
    assert len(law.codes()) == 36


@pytest.mark.parametrize("code", law.codes())
def test_every_value_is_the_one_transcribed(code: str) -> None:
    found: Rows = defaultdict(list)
    for table, values in in_file(code):
        found[table].append(values)
    ranks = EXPECTED[code].get("authority.rank", [])
    wanted = {table: rows for table, rows in EXPECTED[code].items() if table != "authority.rank"}
    assert [set(row.split()) for row in found.pop("authority.rank", [])] == [
        set(row.split()) for row in ranks
    ]
    assert found == wanted


def _orders() -> Iterator[tuple[str, list[str]]]:
    """Yield the order of ranks as transcribed; the lines above are sorted for comparing."""
    for path in sorted(FIGURES.glob("*.txt")):
        for line in path.read_text("utf-8").splitlines():
            if " | authority.rank | " in line:
                code, _, values, _ = line.split(" | ")
                yield code.strip(), [rank.split(":")[0] for rank in values.split()]


@pytest.mark.parametrize(("code", "keys"), list(_orders()))
def test_the_order_of_ranks_is_that_of_the_text(code: str, keys: list[str]) -> None:
    assert [rank.key for rank in law.jurisdiction(code).authority.ranks] == keys


@pytest.mark.parametrize("code", law.codes())
def test_every_rule_names_its_source(code: str) -> None:
    data = tomllib.loads((law.FOLDER / f"{code}.toml").read_text("utf-8"))
    for given in data.values():
        for row in [given] if isinstance(given, dict) else given if type(given) is list else []:
            assert row["citation"].strip()
            assert row["read_on"].isoformat() == "2026-11-25"
            assert not row["link"].startswith("http"), "addresses stand without their scheme"
