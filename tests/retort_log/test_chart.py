"""The chart of a run: peaks and gaps survive, on screen and on paper."""

import json
import xml.etree.ElementTree as ET
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from retort_log.chart import Chart, LimitLine, Mark, for_screen, svg, thinned
from retort_log.readings import Trace

SVG = "{http://www.w3.org/2000/svg}"


def trace(seconds: list[float], values: list[float], unit: str = "degC") -> Trace:
    return Trace(np.array(seconds, np.float64), np.array(values, np.float64), unit)


def chart(traces: dict[str, Trace], end: float = 600, **more: object) -> Chart:
    return Chart(traces, "degC", 0, end, 60, **more)  # type: ignore[arg-type]


@given(st.lists(st.floats(0, 1500), min_size=50, max_size=400), st.integers(10, 49))
def test_thinning_keeps_highest_lowest_first_and_last(values: list[float], most: int) -> None:
    at = np.arange(len(values), dtype=np.float64)
    thin_at, thin = thinned(at, np.array(values), most)
    assert len(thin_at) <= most + 2
    assert (thin.max(), thin.min()) == (max(values), min(values))
    assert (thin_at[0], thin_at[-1]) == (at[0], at[-1])
    assert set(thin_at) <= set(at)


def test_a_gap_breaks_the_line_and_a_single_reading_is_a_dot() -> None:
    read = trace([0, 30, 60, 300, 500, 530], [800, 810, 820, 830, 840, 850])
    drawing = ET.fromstring(svg(chart({"secondary": read})))
    lines = drawing.findall(f"{SVG}polyline")
    assert [len(line.attrib["points"].split()) for line in lines] == [3, 2]
    assert len(drawing.findall(f"{SVG}circle")) == 1


def test_the_screen_has_a_null_in_a_gap_and_no_number_that_is_none() -> None:
    read = {"secondary": trace([0, 30, 300], [800, 810, 830]), "primary": trace([15], [600])}
    found = for_screen(chart(read))
    text = json.dumps(found, allow_nan=False)
    assert "null" in text
    secondary = dict(zip(found["times"], found["columns"][0], strict=True))
    assert (secondary[0], secondary[15], secondary[30], secondary[165]) == (800, 805, 810, None)
    assert secondary[300] == 830


def test_limits_and_events_are_told_in_words_and_escaped() -> None:
    marks, limits = (Mark(60, "burner lit"), Mark(9999, "later")), (LimitLine(871, "<least>"),)
    drawing = svg(chart({"secondary": trace([0, 30], [800, 810])}, limits=limits, marks=marks))
    assert "&lt;least&gt;" in drawing
    root = ET.fromstring(drawing)
    assert [t.text for t in root.findall(f"{SVG}title")] == ["Temperatures of the run"]
    numbers = [t.text for t in root.findall(f"{SVG}text")]
    assert "1" in numbers  # the first event; the one outside the drawing has no number
    assert "2" not in numbers


@pytest.mark.parametrize(("zone", "first"), [("UTC", "00:00"), ("Asia/Kolkata", "05:30")])
def test_the_clock_of_the_house_stands_below(zone: str, first: str) -> None:
    read = trace([0, 3600], [800, 810])
    drawing = svg(chart({"secondary": read}, end=7200, zone=ZoneInfo(zone)))
    texts = [t.text for t in ET.fromstring(drawing).findall(f"{SVG}text")]
    assert next(t for t in texts if t and ":" in t) == first


def test_another_unit_is_drawn_in_the_charts_own() -> None:
    read = trace([0, 30], [1600, 1600], "degF")
    assert for_screen(chart({"secondary": read}))["columns"][0] == [871.1, 871.1]


def test_an_empty_record_is_drawn_as_an_empty_chart() -> None:
    assert ET.fromstring(svg(chart({}))).findall(f"{SVG}polyline") == []
    assert for_screen(chart({}))["times"] == []


def texts_of(drawing: str) -> dict[str, tuple[float, float]]:
    """Return where each text of a drawing stands."""
    found = ET.fromstring(drawing).findall(f"{SVG}text")
    return {t.text or "": (float(t.attrib["x"]), float(t.attrib["y"])) for t in found}


def test_words_of_close_limits_and_numbers_of_close_events_lie_beside_one_another() -> None:
    limits = (LimitLine(871, "lower"), LimitLine(890, "upper"))
    marks = (Mark(300, "door opened"), Mark(301, "repositioned"))
    read = trace([0, 30], [800, 810])
    texts = texts_of(svg(chart({"secondary": read}, limits=limits, marks=marks)))
    assert texts["lower"][1] - texts["upper"][1] > 10
    assert texts["2"][0] - texts["1"][0] >= 9
