"""Whatever a facility asks: refused, or at least as strict; twice is once; order is nothing."""

from collections.abc import Iterator, Mapping
from dataclasses import fields, replace
from decimal import Decimal
from typing import Any

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from cases import law
from cases.authority import Outcome, Rank
from cases.law.rules import Holding
from cases.law.scales import DIRECTIONS
from cases.law.shape import TABLES
from tests.cases.orders import EFFORTS, asked, several

CODES = st.sampled_from(law.codes())
# Larger is stricter for these, smaller for all other measures that may change.
LARGER = {"hours", "wait_years", "years", "days", "min_f", "min_c", "residence_s"}


def _rule_field(path: str) -> Any:
    table = next(table for table in TABLES if table.name == path.split(".")[0])
    return next(f for f in fields(table.rule) if f.name == path.split(".")[-1])


def values(path: str) -> st.SearchStrategy[Any]:
    """Values of the right type for a path, tight or loose."""
    name = path.split(".")[-1]
    if name in ("adopt", "add"):
        kinds = st.lists(st.sampled_from(sorted(law.PAPERS)), min_size=1, max_size=3, unique=True)
        return st.just(True) if name == "adopt" else kinds
    if name in ("quorum", "lesser"):
        return st.sampled_from(
            ["one", "all", "majority", "none", "any", "less_than_half", "less_than_majority"]
        )
    meta = _rule_field(path).metadata
    if meta["kind"] == "word":
        return st.sampled_from(sorted(meta["vocabulary"]))
    numbers = st.integers(int(meta["low"]), int(meta["high"]))
    if meta["kind"] == "measure":
        return numbers.map(str)
    return st.one_of(numbers, st.just("permanent")) if name == "years" else numbers


@st.composite
def demands(draw: st.DrawFn) -> tuple[law.Jurisdiction, dict[str, object]]:
    """A jurisdiction and some changes to what may be changed in it."""
    rules = law.jurisdiction(draw(CODES))
    paths = [offer.path for offer in law.offers(rules)] + ["retention.receipt.years"]
    chosen = draw(st.lists(st.sampled_from(paths), min_size=1, max_size=5, unique=True))
    return rules, {path: draw(values(path)) for path in chosen}


def accepted(
    rules: law.Jurisdiction, changes: Mapping[str, object]
) -> tuple[law.Jurisdiction, dict[str, object]]:
    """The rules with those changes that are not refused, and these changes."""
    kept: dict[str, object] = {}
    for path, value in changes.items():
        try:
            rules = law.tighten(rules, {path: value})
        except law.TighteningRefused:
            continue
        kept[path] = value
    return rules, kept


def entries(rules: law.Jurisdiction) -> Iterator[tuple[str, str, Any]]:
    """Yield table, key and rule of all there is."""
    for table in TABLES:
        found = getattr(rules, table.attribute)
        if table.unique is None:
            yield table.name, "", found
        else:
            for number, rule in enumerate(found, 1):
                yield table.name, str(getattr(rule, table.unique or "", number)), rule


def as_strict(name: str, old: Any, new: Any, rule: Any) -> bool:
    if old is None or old == new:
        return True
    if new is None:
        return name == "years" and rule.rule == "permanent"
    larger = name in LARGER and getattr(rule, "earliest", None) != "by_day"
    return Decimal(str(new)) >= Decimal(str(old)) if larger else Decimal(new) <= Decimal(old)


@settings(max_examples=150, deadline=None)
@given(demands())
def test_no_change_opens_anything(drawn: tuple[law.Jurisdiction, dict[str, object]]) -> None:
    rules, changes = drawn
    tighter, kept = accepted(rules, changes)
    after: dict[tuple[str, str], Any] = {}
    for table, key, rule in entries(tighter):  # a paper of the house may stand behind the law's
        after.setdefault((table, key), rule)
    for table, key, old in entries(rules):
        new = after.get((table, key))
        if new is None:  # only what said nothing gives way to a rule of the house
            assert old.mark == "unknown"
            continue
        assert (old.is_enforced, new.is_enforced) != (True, False)
        for field in (f for f in fields(old) if "kind" in f.metadata):
            was, now = getattr(old, field.name), getattr(new, field.name)
            if (table, field.name) in DIRECTIONS and field.metadata["kind"] != "word":
                assert as_strict(field.name, was, now, new), (table, field.name)
            elif field.name == "rule" and was != now:
                assert now in ("always", "never", "permanent") or was is None
            elif (table, field.name) not in DIRECTIONS:
                assert was == now or was is None, (table, field.name)
    assert {p.kind for p in rules.documents} <= {p.kind for p in tighter.documents}
    assert (rules.wait_hours or 0) <= (tighter.wait_hours or 0)
    assert [rank.key for rank in rules.ranks] == [rank.key for rank in tighter.ranks] or (
        "authority.adopt" in kept
    )


@settings(max_examples=100, deadline=None)
@given(demands())
def test_asking_twice_is_asking_once(drawn: tuple[law.Jurisdiction, dict[str, object]]) -> None:
    tighter, kept = accepted(*drawn)
    assert law.tighten(tighter, kept) == tighter
    assert law.tighten(tighter, kept).digest == tighter.digest
    assert law.tighten(drawn[0], {}) == drawn[0]


@settings(max_examples=100, deadline=None)
@given(demands(), st.randoms(use_true_random=False))
def test_the_order_does_not_matter(
    drawn: tuple[law.Jurisdiction, dict[str, object]], chance: Any
) -> None:
    rules, changes = drawn
    tighter, kept = accepted(rules, changes)
    assume(len(kept) > 1)
    assert law.tighten(rules, kept) == tighter
    paths = list(kept)
    chance.shuffle(paths)
    for path in paths:
        rules = law.tighten(rules, {path: kept[path]})
    assert rules == tighter
    assert rules.digest == tighter.digest


@settings(max_examples=150, deadline=None)
@given(
    st.sampled_from([c for c in law.codes() if law.jurisdiction(c).ranks]),
    st.data(),
    st.integers(1, 5),
    st.integers(0, 5),
    st.integers(0, 5),
    st.booleans(),
)
def test_who_may_not_authorize_by_law_may_not_in_the_house(
    code: str, data: st.DataObject, members: int, signed: int, objecting: int, sought: bool
) -> None:
    rules = law.jurisdiction(code)
    rank = data.draw(st.sampled_from(rules.ranks))
    paths = [f"authority.{rank.key}.quorum", f"authority.{rank.key}.lesser"]
    tighter, _ = accepted(rules, {path: data.draw(values(path)) for path in paths})
    assume(signed + objecting <= members)
    persons = several(
        rank.key, members, signed=signed, objecting=objecting, efforts=EFFORTS if sought else ()
    )
    persons = [replace(p, instrument_on_file=True) for p in persons]

    def suffices(ranks: tuple[Rank, ...]) -> bool:
        return asked(ranks, *persons).outcome is Outcome.SUFFICIENT

    assert suffices(rules.ranks) or not suffices(tighter.ranks)


def test_a_house_cools_sooner_and_colder() -> None:
    rules = law.tighten(
        law.jurisdiction("us-ks"), {"holding.1.max_f": "38"}
    ).holdings[0]  # fmt: skip
    assert isinstance(rules, Holding)
    assert (rules.after_hours, rules.max_f) == (0, "38")
