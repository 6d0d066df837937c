"""Data loggers' files: each dialect is understood, each defect is said and costs no more."""

import contextlib
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from retort_log.logger_files import (
    FileRefused,
    Mapping,
    MappingError,
    Unanswered,
    in_runs,
    look,
    read,
)
from retort_log.logger_files.refusals import FILE_REASONS, REASONS
from retort_log.logger_files.source import MAX_BYTES, MAX_COLUMNS, MAX_LINE_BYTES, MAX_LINES
from tests.retort_log.logger_logs import (
    NOW,
    READABLE,
    REFUSED,
    ZONE,
    at,
    generated,
    mapping_of,
    parsed,
    raw,
)

FF, CC = ("degF", "degF"), ("degC", "degC")


@pytest.mark.parametrize(
    ("name", "kind", "formats", "asked", "units"),
    [
        ("iso.csv", "stamp", ("%Y-%m-%d %H:%M:%S",), {"zone"}, (*FF, "degF", "%")),
        ("mark_semicolon.csv", "stamp", ("%d.%m.%Y %H:%M:%S",), {"zone"}, (*CC, "ppm")),
        ("wide_tab.txt", "stamp", ("%m/%d/%Y %I:%M:%S %p",), {"zone"}, FF),
        ("two_columns.csv", "date_and_time", ("%d-%m-%Y", "%H:%M:%S"), {"zone"}, (*CC, "Pa")),
        ("which_day.csv", "stamp", ("%m/%d/%Y %H:%M",), {"zone", "date_order"}, FF),
        ("elapsed.csv", "elapsed", (), {"start"}, FF),
        ("epoch.csv", "epoch", (), set(), (*FF, "%")),
        ("offsets.csv", "stamp", ("%Y-%m-%dT%H:%M:%S%f%z",), set(), CC),
    ],
)
def test_a_dialect_is_understood(
    name: str, kind: str, formats: tuple[str, ...], asked: set[str], units: tuple[str, ...]
) -> None:
    assert {question.code for question in look(raw(name)).questions} == asked
    mapping = mapping_of(raw(name))
    assert (mapping.time.kind, mapping.time.formats) == (kind, formats)
    assert tuple(column.unit for column in mapping.columns) == units
    assert mapping.channels[:2] == ("primary", "secondary")


@pytest.mark.parametrize(
    ("name", "count", "first", "step", "row"),
    [
        ("iso.csv", 12, "2026-03-03T13:00:00", 5_000, [1500, 1640, 550, 10.2]),
        ("mark_semicolon.csv", 10, "2026-03-26T12:00:00", 10_000, [810, 880, 12]),
        ("wide_tab.txt", 10, "2026-03-15T15:57:00", 30_000, [1500, 1640]),
        ("two_columns.csv", 8, "2026-03-19T03:59:00", 15_000, [800, 870, -21.5]),
        ("which_day.csv", 6, "2026-03-04T13:00:00", 60_000, [1500, 1640]),
        ("elapsed.csv", 9, "2026-03-03T13:00:00", 30_000, [1500, 1640]),
        ("epoch.csv", 8, "2026-03-03T08:00:00", 2_250, [1500, 1640, -0.3]),
        ("offsets.csv", 7, "2026-03-03T13:00:00.500", 20_000, [820, 875]),
        ("numbered.csv", 6, "2026-03-03T13:00:00", 30_000, [1500, 1640]),
    ],
)
def test_a_dialect_is_read(name: str, count: int, first: str, step: int, row: list[float]) -> None:
    found = parsed(name)
    assert (len(found.times_ms), found.times_ms[0], found.step_ms) == (count, at(first), step)
    assert found.values[0].tolist() == row
    assert (found.refusals, found.notes, found.gaps, found.duplicates) == ((), (), (), 0)


def test_the_order_of_day_and_month_is_asked_with_both_days_named() -> None:
    question = next(q for q in look(raw("which_day.csv")).questions if q.code == "date_order")
    words = dict(question.choices)
    assert "March 4" in words["mdy"]
    assert "April 3" in words["dmy"]
    assert question.suggested is None
    with pytest.raises(Unanswered) as refused:
        look(raw("which_day.csv")).mapping({"zone": ZONE})
    assert refused.value.codes == ("date_order",)
    other = parsed("which_day.csv", date_order="dmy")
    assert other.times_ms[0] == at("2026-04-03T12:00:00")


def test_a_day_above_twelve_anywhere_in_the_file_settles_the_order() -> None:
    start = datetime(2026, 3, 1, tzinfo=UTC)
    days = [start + timedelta(hours=n) for n in range(20 * 24)]
    lines = [f"{day:%d/%m/%Y %H:%M};{800 + n % 50};{880 + n % 40}" for n, day in enumerate(days)]
    seen = look("\n".join(["Time;Primary °C;Secondary °C", *lines]).encode())
    assert [question.code for question in seen.questions] == ["zone"]
    assert seen.times[0].formats == {"": ("%d/%m/%Y %H:%M",)}


def test_numbered_channels_and_their_units_are_asked() -> None:
    codes = {question.code for question in look(raw("numbered.csv")).questions}
    assert codes == {"zone"} | {f"{what}:{n}" for what in ("channel", "unit") for n in range(2, 6)}
    assert parsed("numbered.csv").channels == ("primary", "secondary")


def test_every_fault_is_said_by_line_and_costs_only_itself() -> None:
    found = parsed("faults.csv")
    assert [(one.line, one.code, one.channel) for one in found.refusals] == [
        (3, "error_value", "primary"),
        (4, "error_value", "secondary"),
        (5, "error_value", "secondary"),
        (5, "blank", "stack"),
        (6, "not_a_number", "primary"),
        (7, "too_hot", "secondary"),
        (7, "too_cold", "stack"),
        (8, "wrong_columns", None),
        (9, "unreadable_time", None),
        (10, "no_time", None),
        (13, "conflict", None),
        (14, "conflict", None),
        (15, "other_unit", "secondary"),
        (16, "future", None),
        (17, "too_old", None),
        (19, "quote", None),
    ]
    assert found.lines.tolist() == [2, 3, 4, 5, 6, 7, 11, 15, 20]
    assert np.isnan(found.values).sum(axis=1).tolist() == [0, 1, 1, 2, 1, 2, 0, 1, 0]
    assert found.values[8].tolist() == [1515, 1655, 565]  # a cell with its column's unit
    assert found.duplicates == 1


def test_every_reason_is_whole_sentences_that_can_be_filled_in() -> None:
    for words in REASONS.values():
        assert words.format(channel="primary").endswith(".")
    for words in FILE_REASONS.values():
        filled = words.format(limit=1, line=1, reason="A reason.")
        assert filled.endswith(".")
        assert "{" not in filled
    shown = {refusal.reason for refusal in parsed("faults.csv").refusals}
    assert any("primary" in reason for reason in shown)


def test_the_repeated_hour_is_settled_by_the_order_where_both_passes_show() -> None:
    found = parsed("clocks_back.csv")
    assert len(found.times_ms) == 15
    assert set(np.diff(found.times_ms)) == {600_000}
    assert found.times_ms[0] == at("2026-11-01T04:50:00")
    assert not found.asks_repeated_hour


def test_both_passes_are_told_apart_in_a_file_that_runs_backwards() -> None:
    header, *lines = raw("clocks_back.csv").decode().splitlines()
    content = "\n".join([header, *reversed(lines)]).encode()
    found = read(content, mapping_of(content), now=NOW)
    assert found.times_ms.tolist() == parsed("clocks_back.csv").times_ms.tolist()


def test_the_repeated_hour_is_asked_where_one_pass_shows() -> None:
    name = "clocks_back_once.csv"
    found = parsed(name)
    assert found.asks_repeated_hour
    assert [one.code for one in found.refusals] == ["repeated_hour"] * 6
    mapping = mapping_of(raw(name))
    first = read(raw(name), replace(mapping, repeated_hour="first"), now=NOW)
    second = read(raw(name), replace(mapping, repeated_hour="second"), now=NOW)
    assert (first.times_ms[1], second.times_ms[1]) == (
        at("2026-11-01T05:00:00"),
        at("2026-11-01T06:00:00"),
    )
    assert (len(first.times_ms), first.refusals, first.asks_repeated_hour) == (9, (), False)


def test_a_line_written_late_is_not_taken_for_the_second_pass() -> None:
    lines = raw("clocks_back_once.csv").splitlines()
    lines[4], lines[5] = lines[5], lines[4]
    content = b"\n".join(lines)
    found = read(content, mapping_of(content), now=NOW)
    assert found.asks_repeated_hour
    assert [one.code for one in found.refusals] == ["repeated_hour"] * 6


def test_the_hour_that_never_was_is_refused() -> None:
    found = parsed("clocks_forward.csv")
    assert [one.code for one in found.refusals] == ["skipped_hour"] * 6
    assert found.times_ms.tolist() == [
        at(f"2026-03-08T{clock}:00") for clock in ("06:40", "06:50", "07:00", "07:10", "07:20")
    ]


def test_a_clock_set_back_is_said() -> None:
    (note,) = parsed("clock_set_back.csv").notes
    assert (note.code, note.line, note.last_line) == ("clock_back", 32, 50)
    assert (note.from_ms, note.to_ms) == (at("2026-03-03T13:04:50"), at("2026-03-03T13:01:41"))


def test_lines_out_of_order_are_sorted_and_said_and_a_gap_is_listed() -> None:
    found = parsed("late_lines.csv")
    assert [(note.code, note.line, note.last_line) for note in found.notes] == [
        ("out_of_order", 6, 7)
    ]
    assert found.lines.tolist() == [2, 3, 4, 6, 7, 5, 8, 9, 10, 11]
    (gap,) = found.gaps
    assert (gap.from_ms, gap.length_ms) == (at("2026-03-03T13:01:10"), 130_000)
    assert found.longest_gap == gap


def test_a_file_with_the_newest_line_first_is_turned_round() -> None:
    found = parsed("newest_first.csv")
    assert [note.code for note in found.notes] == ["newest_first"]
    assert found.lines.tolist() == list(range(11, 1, -1))


def test_a_loss_of_power_costs_the_spoilt_lines() -> None:
    found = parsed("power_loss.csv")
    assert [(one.line, one.code) for one in found.refusals] == [
        (6, "nul_bytes"),
        (12, "wrong_columns"),
    ]
    assert [(note.code, note.line) for note in found.notes] == [("header_again", 7)]
    assert len(found.gaps) == 1
    assert len(found.times_ms) == 8


@pytest.mark.parametrize(("name", "code"), REFUSED.items())
def test_a_file_without_usable_readings_is_refused(name: str, code: str) -> None:
    with pytest.raises(FileRefused) as refused:
        look(raw(name))
    assert refused.value.code == code


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"", "empty"),
        (b"\xef\xbb\xbf \r\n\r\n", "empty"),
        (b"\0" * 500, "empty"),
        (b"PK\x03\x04" + b"\0" * 90, "workbook"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "workbook"),
        (b"%PDF-1.7\n", "binary"),
        (bytes(range(256)) * 20, "binary"),
        (b"\x01\0\0\0\x07\0\0\0" * 200, "binary"),
        (b"hello\nworld\n", "no_columns"),
        (b"a,b\n" * 10, "header_only"),
        (b"a,b\n" * 100, "no_readings"),
        (b"No.,Primary F\n1,1500\n2,1501\n", "no_times"),
        (b"Time," + b"x," * MAX_COLUMNS + b"x\n", "too_many_columns"),
        (b"x" * (MAX_BYTES + 1), "too_big"),
        (b"1,2\n" * (MAX_LINES + 1), "too_many_lines"),
    ],
)
def test_what_is_no_log_is_refused_with_what_to_do(content: bytes, code: str) -> None:
    with pytest.raises(FileRefused) as refused:
        look(content)
    assert refused.value.code == code
    assert len(refused.value.text) > 20


def test_utf16_without_its_mark_is_known() -> None:
    content = raw("wide_tab.txt").decode("utf-16")
    for encoding in ("utf-16-le", "utf-16-be"):
        assert look(content.encode(encoding)).mapping({"zone": ZONE}).delimiter == "\t"


def test_a_line_that_is_too_long_is_refused_alone() -> None:
    content = generated(20) + b"2026-03-03 09:00:00," + b"9" * MAX_LINE_BYTES + b",1,1,1\n"
    found = read(content, mapping_of(content), now=NOW)
    assert [(one.line, one.code) for one in found.refusals] == [(22, "too_long")]
    assert len(found.refusals[0].text) <= 60


def test_a_remembered_mapping_is_known_again_and_reads_no_other_list() -> None:
    mapping = Mapping.from_json(mapping_of(raw("iso.csv")).to_json())
    assert mapping == mapping_of(raw("iso.csv"))
    assert look(raw("iso.csv")).knows(mapping)
    assert not look(raw("faults.csv")).knows(mapping)
    swapped = raw("iso.csv").replace(
        "Primary (°F),Secondary".encode(), "Secondary (°F),Primary".encode()
    )
    assert not look(swapped).knows(mapping)
    with pytest.raises(FileRefused) as refused:
        read(swapped, mapping, now=NOW)
    assert refused.value.code == "other_file"


def test_what_belongs_to_one_file_alone_is_not_remembered() -> None:
    kept = replace(mapping_of(raw("elapsed.csv")), repeated_hour="first")
    longer = b"A line more above\n" + raw("elapsed.csv")
    seen = look(longer)
    assert seen.knows(kept)
    with pytest.raises(Unanswered) as refused:
        seen.remembered(kept)
    assert refused.value.codes == ("start",)
    mapping = seen.remembered(kept, "2026-03-04T13:00:00+00:00")
    assert (mapping.first_line, mapping.repeated_hour) == (5, "ask")
    found = read(longer, mapping, now=NOW)
    assert (len(found.times_ms), found.times_ms[0]) == (9, at("2026-03-04T13:00:00"))


def test_refusals_that_go_on_are_put_together_for_people() -> None:
    content = generated(50)
    head, *body = content.splitlines()
    body[10:30] = [line.rsplit(b",", 1)[0] + b",OPEN" for line in body[10:30]]
    body[40] = b"cut"
    content = b"\n".join([head, *body])
    runs = in_runs(read(content, mapping_of(content), now=NOW).refusals)
    assert [(run.first_line, run.last_line, run.refusal.code) for run in runs] == [
        (12, 31, "error_value"),
        (42, 42, "wrong_columns"),
    ]


@pytest.mark.parametrize("text", ["%Q", "", "%Y-%Y", "%I:%M", "%"])
def test_a_format_that_is_none_makes_no_mapping(text: str) -> None:
    mapping = mapping_of(raw("iso.csv"))
    with pytest.raises(MappingError):
        replace(mapping, time=replace(mapping.time, formats=(text,)))


@pytest.mark.parametrize("name", READABLE)
def test_a_mapping_survives_as_text(name: str) -> None:
    mapping = mapping_of(raw(name))
    assert Mapping.from_json(mapping.to_json()) == mapping


@pytest.mark.parametrize(
    "change",
    [
        {"delimiter": "#"},
        {"decimal": "x"},
        {"columns": ()},
        {"width": 2},
        {"first_line": 0},
        {"repeated_hour": "both"},
        {"version": 99},
    ],
)
def test_a_mapping_that_cannot_be_used_is_refused(change: dict[str, object]) -> None:
    with pytest.raises(MappingError):
        replace(mapping_of(raw("iso.csv")), **change)  # type: ignore[arg-type]


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"time": 1}', "null"])
def test_other_text_is_no_mapping(text: str) -> None:
    with pytest.raises(MappingError):
        Mapping.from_json(text)


@pytest.mark.parametrize("answer", ["soon", "2026-03-03T08:00:00"])
def test_a_start_needs_its_offset(answer: str) -> None:
    with pytest.raises(MappingError):
        mapping_of(raw("elapsed.csv"), start=answer)


def test_a_decimal_comma_that_could_part_thousands_is_asked() -> None:
    content = b"Time;Primary F\n" + b"".join(
        b"2026-03-03 08:0%d;1,64%d\n" % (n, n) for n in range(9)
    )
    assert {question.code for question in look(content).questions} == {"zone", "decimal"}
    found = read(content, mapping_of(content, decimal="."), now=NOW)
    assert {one.code for one in found.refusals} == {"not_a_number"}


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(READABLE), st.data())
def test_no_damage_does_worse_than_be_refused(name: str, data: st.DataObject) -> None:
    content = bytearray(raw(name))
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(content) - 1))
        end = at + data.draw(st.integers(0, 30))
        content[at:end] = data.draw(
            st.one_of(st.binary(max_size=6), st.sampled_from([b"\n", b";", b'"']))
        )
        if not content:
            return
    try:
        mapping = mapping_of(bytes(content))
        found = read(bytes(content), mapping, now=NOW)
    except (FileRefused, MappingError):
        return
    assert (np.diff(found.times_ms) > 0).all()
    assert not np.isinf(found.values).any()
    assert all(one.reason and len(one.text) <= 60 for one in found.refusals)


@given(st.binary(max_size=300))
def test_no_bytes_do_worse_than_be_refused(content: bytes) -> None:
    with contextlib.suppress(FileRefused):
        look(content)
