"""Rows that are written by one tag: what people typed is escaped, and nothing is left out."""

from datetime import timedelta

import pytest
from django.urls import reverse

from cases import overview
from cases.gates import PASSED, REFUSED, Verdict
from cases.models import Case
from cases.overview import Waiting
from cases.steps import STEPS
from cases.templatetags.gates import gate_row, reason, short_gate_row
from cases.templatetags.persons import list_rows, place_rows, waiting_groups
from cases.templatetags.trails import Entry, trail_entries, trail_facts
from cases.trail_lines import Fact, Line
from chain_of_custody.models import CustodyEntry, Place, Placement
from crematory import clock
from crematory.templatetags.crematory import address, ago, when
from tests import cast

TYPED, SHOWN = "<b>\"Ada\" & 'Bo'</b>", "&lt;b&gt;&quot;Ada&quot; &amp; &#x27;Bo&#x27;&lt;/b&gt;"


@pytest.fixture
def case(db: None) -> Case:
    return cast.make_case(cast.make_facility(), decedent_name=TYPED, sender=TYPED)


def test_rows_of_persons_escape_what_was_typed(case: Case) -> None:
    line = overview.Line(case.number, case.decedent_name, case.years, case.stage_since)
    group = Waiting(STEPS["receive"], "expected", "clerk", [line], 2)
    place, stay = Place(name=TYPED), Placement(since=case.stage_since)
    assert place_rows([(place, None, None)]).count(SHOWN) == 1
    assert place_rows([(place, stay, case)]).count(SHOWN) == 2  # the place and the name
    for row in (waiting_groups([group]), list_rows([case]), place_rows([(place, stay, case)])):
        assert "<b>" not in row
        assert SHOWN in row
        assert reverse("cases:case", args=[case.number]) in row
        assert when(case.stage_since) in row
        assert ago(case.stage_since) in row
    assert list_rows([case]).count(SHOWN) == 2  # the name and the sender


def test_a_refused_gate_says_all_that_it_knows(case: Case) -> None:
    now = clock.now()
    since, ends = now - timedelta(hours=3), now + timedelta(hours=2)
    gate = Verdict("band_compared", TYPED, REFUSED, TYPED, TYPED, ends, TYPED, since)
    row, short = gate_row(gate, case), short_gate_row(gate)
    for text in (row, short):
        assert "<b>" not in text
        assert f"Since {when(since)}. Ends {when(ends)}, in 2 h." in text
        assert f"Who can settle it: {SHOWN}." in text
    assert f'<p class="law-note">{SHOWN}</p>' in row
    assert reverse("cases:band", args=[case.number]) in row
    assert reason(gate).startswith(SHOWN)


def test_a_gate_that_passed_names_nobody_to_settle_it(case: Case) -> None:
    gate = Verdict("no_hold", "No hold", PASSED, "Read at noon.", "nobody", citation="§ 1")
    assert "settle" not in gate_row(gate, case)
    assert "Read at noon." in gate_row(gate, case)
    assert "Read at noon." not in short_gate_row(gate)


def test_entries_of_the_trail_say_all_and_escape_what_was_typed() -> None:
    at = clock.now() - timedelta(hours=3)
    row = CustodyEntry(
        sequence=7, outcome="refused", leaf_hash="ab" * 32, happened_at=at,
        recorded_at=at + timedelta(hours=1), place_from_id=1, place_to_id=2,
    )  # fmt: skip
    line = Line(row, TYPED, [Fact("name", TYPED, True)], True, "pin", 3, TYPED)
    text = trail_entries([Entry(line, [9], TYPED, TYPED, TYPED, TYPED)])
    assert "<b>" not in text
    assert text.count(SHOWN) == 7  # the act, a fact, the field, two persons, two places
    assert '<a href="#entry-9">entry 9</a>' in text
    assert f'Corrects {SHOWN} in <a href="#entry-3">entry 3</a>.' in text
    for words in (
        'id="entry-7"', f"recorded {when(row.recorded_at)}", "tried with the code of",
        "with PIN", "second person", "<dt>from</dt>", "<dt>to</dt>", "Recorded late", "Refused",
    ):  # fmt: skip
        assert words in text


def test_a_person_who_did_not_move_is_in_one_place() -> None:
    row = CustodyEntry(sequence=7, outcome="done", leaf_hash="ab" * 32, happened_at=clock.now(),
                       recorded_at=clock.now(), place_from_id=1, place_to_id=1)  # fmt: skip
    line = Line(row, "Act", [], False, "session", None, "")
    text = trail_entries([Entry(line, [], "Ada (QVC1)", None, "Cooler, Bay 1", "Cooler, Bay 1")])
    assert text.count("Cooler, Bay 1") == 1
    assert "<dt>place</dt>" in text
    for word in ("from", "second person", "Corrects", "Recorded late", "Refused"):
        assert word not in text


def test_facts_of_the_trail_escape_what_was_typed() -> None:
    shown = trail_facts([Fact("name", TYPED, True), Fact("mass", "80 kg", False)])
    assert shown == (
        f'<dt>name</dt><dd><bdi>{SHOWN}</bdi> <span class="ago">sealed</span></dd>'
        "<dt>mass</dt><dd><bdi>80 kg</bdi></dd>"
    )


def test_addresses_are_those_of_the_resolver() -> None:
    for name, *arguments in (
        ("cases:case", "QV26-00001-H"),
        ("cases:paper", "QV26-00001-H", "P-7"),
        ("cases:correct-reading", "retort-1", 12),
        ("machine", "retort-2"),
    ):
        assert address(name, *arguments) == reverse(name, args=arguments)
