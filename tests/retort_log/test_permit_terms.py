"""A permit as plain data: there and back without loss, and every fault in plain words."""

import json
from datetime import date, time
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from retort_log.permit_rules import (
    Averaging,
    Concentration,
    Limit,
    Mark,
    Opacity,
    PermitRules,
)
from retort_log.permit_terms import (
    IN_SENSE,
    SUBSTANCES,
    PermitError,
    from_terms,
    problems,
    to_terms,
)

words = st.text(st.characters(codec="utf-8"), min_size=1, max_size=20).filter(str.strip)
clock_times = st.builds(time, st.integers(0, 23), st.integers(0, 59))
windows = st.integers(1, 1440)


@st.composite
def limits(draw: st.DrawFn, kind: str) -> Limit:
    unit = draw(st.sampled_from(sorted(IN_SENSE[kind])))
    low, high = map(Decimal, IN_SENSE[kind][unit])
    value = draw(st.decimals(low, high, places=draw(st.integers(4, 9))))
    link, read_on = draw(st.sampled_from(["", "https://law.example"])), draw(st.none() | st.dates())
    return Limit(value, unit, draw(words), draw(st.sampled_from(Mark)), link, read_on)


@st.composite
def opacities(draw: st.DrawFn) -> Opacity:
    limit = draw(limits("opacity"))
    exception = draw(st.none() | limits("opacity").filter(lambda one: one.value > limit.value))
    return Opacity(limit, exception, draw(st.booleans()))


concentrations = st.builds(
    Concentration,
    limits("concentrations"),
    st.none() | st.decimals(0, 20, places=1),
    st.sampled_from([Decimal("20.9"), Decimal(21)]),
    st.none() | windows,
)


@st.composite
def permits(draw: st.DrawFn) -> PermitRules:
    stated = {
        name: draw(st.none() | limits(name))
        for name in IN_SENSE
        if name not in ("opacity", "concentrations")
    }
    averaging = Averaging.INSTANT
    if stated["secondary_minimum"]:
        averaging = draw(st.sampled_from(Averaging))
    hours = draw(
        st.none() | st.tuples(clock_times, clock_times).filter(lambda pair: pair[0] != pair[1])
    )
    return PermitRules(
        code=draw(words),
        title=draw(words),
        averaging=averaging,
        averaging_min=None if averaging == Averaging.INSTANT else draw(windows),
        charging_chamber=draw(st.sampled_from(["primary", "secondary"]))
        if stated["charging"]
        else "secondary",
        hours=hours,
        hours_citation=draw(words) if hours else "",
        opacity=draw(st.none() | opacities()),
        concentrations=draw(st.dictionaries(st.sampled_from(SUBSTANCES), concentrations)),
        notes=tuple(draw(st.lists(words, max_size=2))),
        **stated,
    )


@given(permits())
def test_a_permit_comes_back_from_json_as_it_went(rules: PermitRules) -> None:
    stored = json.loads(json.dumps(to_terms(rules)))
    assert from_terms(stored) == rules
    assert to_terms(from_terms(stored)) == stored


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner),
    max_leaves=8,
)


@given(
    st.sampled_from(sorted(to_terms(from_terms({"code": "x", "title": "y"})) | IN_SENSE)),
    json_values,
)
def test_whatever_stands_in_the_terms_is_named_or_read(key: str, value: object) -> None:
    terms = {"code": "house", "title": "House", key: value}
    said = problems(terms)
    assert all(one.endswith(".") for one in said)
    if said:
        with pytest.raises(PermitError) as caught:
            from_terms(terms)
        assert caught.value.problems == said
    else:
        assert from_terms(to_terms(from_terms(terms))) == from_terms(terms)


SOURCE = {"citation": "permit 17, condition 3", "mark": "house"}


def limit(value: object, unit: object, **other: object) -> dict[str, object]:
    return {"value": value, "unit": unit, **SOURCE, **other}


def house(**changes: Any) -> dict[str, Any]:
    return {
        "code": "house",
        "title": "The house's permit",
        "secondary_minimum": limit("1600", "degF"),
        "averaging": {"kind": "time", "minutes": 60},
        "hours": {"from": "07:00", "until": "19:00", "citation": "permit 17"},
        "opacity": {"limit": limit("10", "percent")},
        "concentrations": {"CO": {"limit": limit("100", "ppm"), "reference_oxygen": "7"}},
    } | changes


def test_a_houses_own_permit_is_read() -> None:
    rules = from_terms(house())
    assert rules.secondary_minimum == Limit(
        Decimal(1600), "degF", "permit 17, condition 3", Mark.HOUSE
    )
    assert rules.hours == (time(7), time(19))
    assert rules.concentrations["CO"].ambient_oxygen == Decimal("20.9")
    dated = from_terms(house(residence=limit("1", "second", read_on="2026-11-25")))
    assert dated.residence
    assert dated.residence.read_on == date(2026, 11, 25)


FAULTS: list[tuple[dict[str, Any], str]] = [
    ({"code": " "}, "permit: “code” is missing, or no text."),
    ({"minimum": 3}, "permit: “minimum” is not known here; known are averaging, charge_rate"),
    ({"secondary_minimum": 1600}, "secondary_minimum: must be a table of keys and values."),
    (
        {"secondary_minimum": limit("1600", "degC")},
        "secondary_minimum, value in degC: 1600 is not between 480 and 1370; is the unit right.",
    ),
    ({"secondary_minimum": limit("NaN", "degF")}, "'NaN' is no number"),
    ({"secondary_minimum": limit("1_600", "degF")}, "'1_600' is no number"),
    ({"secondary_minimum": limit("-1600", "degF")}, "'-1600' is no number"),
    ({"secondary_minimum": limit(1600.5, "degF")}, "1600.5 is no number"),
    ({"secondary_minimum": {"value": "1600", "unit": "degF"}}, "“citation” is missing"),
    ({"secondary_minimum": limit("1600", "degF", mark="sure")}, "the mark 'sure' is none of"),
    ({"secondary_minimum": limit("1600", "degF", link=3)}, "“link” is missing, or no text"),
    ({"secondary_minimum": limit("1600", "degF", read_on="25.11.2026")}, "is no date"),
    ({"secondary_minimum": limit("1600", "degF", to="x")}, "“to” is not known here"),
    ({"averaging": {"kind": "mean", "minutes": 60}}, "averaging: 'mean' is none of instant"),
    ({"averaging": {"kind": "time"}}, "averaging, minutes: must be whole minutes"),
    ({"averaging": {"kind": "time", "minutes": True}}, "must be whole minutes from 1 to 1440"),
    ({"averaging": {"kind": "instant", "minutes": 10}}, "“instant” averages nothing"),
    ({"charging": limit("1400", "degF", chamber="third")}, "the chamber 'third' is none of"),
    ({"hours": {"from": "7", "until": "19", "citation": "x"}}, "write them as “07:00”"),
    ({"hours": {"from": "07:00", "until": "07:00", "citation": "x"}}, "are the same time"),
    ({"hours": {"from": "07:00", "until": "19:00"}}, "hours: “citation” is missing"),
    ({"opacity": {}}, "opacity: “limit” is missing"),
    (
        {"opacity": {"limit": limit("10", "percent"), "exception": limit("5", "percent")}},
        "the exception must be more than the limit",
    ),
    ({"opacity": {"limit": limit("10", "percent"), "limit_is_breach": 1}}, "is true or false"),
    ({"concentrations": {"Xe": {"limit": limit("1", "ppm")}}}, "“Xe” is not known here"),
    ({"concentrations": {"CO": {}}}, "concentrations, CO: “limit” is missing"),
    (
        {"concentrations": {"CO": {"limit": limit("1", "ppm"), "ambient_oxygen": "22"}}},
        "concentrations, CO: 22 is not between 20.9 and 21",
    ),
    ({"notes": "one"}, "notes: must be a list of texts."),
]


@pytest.mark.parametrize(("change", "said"), FAULTS)
def test_each_fault_is_said_in_plain_words(change: dict[str, Any], said: str) -> None:
    assert any(said in one for one in problems(house(**change))), problems(house(**change))


def test_an_averaging_without_a_minimum_is_a_fault() -> None:
    terms = house()
    del terms["secondary_minimum"]
    assert problems(terms) == [
        "averaging: there is no minimum of the secondary chamber to average."
    ]


def test_all_faults_are_told_at_once() -> None:
    with pytest.raises(PermitError) as caught:
        from_terms(house(code="", notes=3, averaging=5))
    assert len(caught.value.problems) == 3
