"""Published permit profiles: what each demands, and what a wrong file says."""

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from crematory.units import convert
from retort_log import permit_profiles
from retort_log.permit_profiles import (
    CHECK_LOCALLY,
    ProfileFileError,
    ProfileUnknown,
    codes,
    for_unit,
    limits,
    parse,
    profile,
    published,
)
from retort_log.permit_rules import Averaging, Limit, Mark, PermitRules
from retort_log.permit_terms import from_terms, to_terms

READ_ON = date(2026, 11, 25)


def pair(limit: Limit | None) -> tuple[Decimal, str] | None:
    return None if limit is None else (limit.value, limit.unit)


def is_reached(limit: Limit | None, reading_c: str) -> bool:
    """Test a reading in the unit of the rule."""
    assert limit
    return convert(Decimal(reading_c), "degC", limit.unit) >= limit.value


@pytest.mark.parametrize("code", codes())
def test_every_value_says_where_how_well_and_when_it_was_read(code: str) -> None:
    rules = published(code).rules
    found = limits(rules)
    assert found
    assert all(limit.citation and limit.link for limit in found)
    assert {limit.read_on for limit in found} == {READ_ON}
    assert CHECK_LOCALLY in rules.notes


@pytest.mark.parametrize("code", codes())
def test_a_value_from_memory_is_off_until_it_is_asked_for(code: str) -> None:
    on, whole = profile(code), profile(code, from_memory=True)
    kept = [limit for limit in limits(whole) if limit.mark != Mark.MEMORY]
    assert limits(on) == kept
    assert ("Off, since known from memory only" in on.notes[-1]) == (len(kept) < len(limits(whole)))


@pytest.mark.parametrize("code", codes())
def test_a_profile_goes_into_a_database_and_comes_back(code: str) -> None:
    rules = profile(code, from_memory=True)
    assert from_terms(to_terms(rules)) == rules


SECONDARY = [
    ("us-ny-2020", ("1600", "degF"), (Averaging.TIME, 60), ("1", "second"), None),
    ("us-ny-1988", ("1800", "degF"), (Averaging.INSTANT, None), ("1", "second"), None),
    ("us-or-1993", ("1800", "degF"), (Averaging.INSTANT, None), ("0.5", "second"), "1400"),
    ("us-or-before-1993", ("1600", "degF"), (Averaging.INSTANT, None), ("0.5", "second"), "1200"),
    ("de-27bimschv", ("850", "degC"), (Averaging.TIME, 10), None, "850"),
    ("de-27bimschv-electric", ("850", "degC"), (Averaging.TIME, 10), None, "850"),
    ("ca-qc", ("1000", "degC"), (Averaging.INSTANT, None), ("1", "second"), None),
    ("fr-animal-1992", ("850", "degC"), (Averaging.INSTANT, None), ("2", "second"), "500"),
    ("gb-unabated", ("850", "degC"), (Averaging.INSTANT, None), None, None),
    ("gb-abated", ("800", "degC"), (Averaging.INSTANT, None), None, None),
]


@pytest.mark.parametrize(("code", "minimum", "averaging", "residence", "charging"), SECONDARY)
def test_what_the_texts_demand_of_the_chamber(
    code: str,
    minimum: tuple[str, str],
    averaging: tuple[Averaging, int | None],
    residence: tuple[str, str] | None,
    charging: str | None,
) -> None:
    rules = profile(code)
    assert pair(rules.secondary_minimum) == (Decimal(minimum[0]), minimum[1])
    assert (rules.averaging, rules.averaging_min) == averaging
    assert pair(rules.residence) == (residence and (Decimal(residence[0]), residence[1]))
    assert (rules.charging and rules.charging.value) == (charging and Decimal(charging))


def test_profiles_without_a_known_temperature_have_none() -> None:
    listed = {row[0] for row in SECONDARY}
    for code in set(codes()) - listed:
        assert profile(code).secondary_minimum is None, code


@pytest.mark.parametrize(
    ("code", "found"),
    [
        ("de-27bimschv", {"CO": "50", "PM": "10", "TOC": "20", "PCDD/F": "0.1"}),
        (
            "fr-2010",
            {"TOC": "20", "NOx": "500", "CO": "50", "PM": "10", "HCl": "30", "SO2": "120"}
            | {"Hg": "0.2", "PCDD/F": "0.1"},
        ),
        (
            "fr-1994",
            {"TOC": "20", "NOx": "700", "CO": "100", "PM": "100", "HCl": "100", "SO2": "200"},
        ),
        ("ca-qc", {"PM": "70"}),
        ("us-ny-1988", {"PM": "0.08"}),
        ("gb-pgn-5-2-25", {"NOx": "200"}),
        ("gb-abated", {}),
    ],
)
def test_what_may_leave_the_stack(code: str, found: dict[str, str]) -> None:
    rows = profile(code).concentrations
    assert {name: str(row.limit.value) for name, row in rows.items()} == found


def test_germany_corrects_to_another_oxygen_where_the_unit_is_electric() -> None:
    for code, percent in (("de-27bimschv", "11"), ("de-27bimschv-electric", "15")):
        rows = profile(code).concentrations.values()
        assert {row.reference_oxygen for row in rows} == {Decimal(percent)}
        assert profile(code).concentrations["CO"].over_min == 60


def test_a_minimum_in_fahrenheit_is_tested_in_fahrenheit() -> None:
    minimum = profile("us-ny-2020").secondary_minimum
    assert minimum
    assert not is_reached(minimum, "871.0")  # 1,599.8 °F
    assert is_reached(minimum, "871.12")
    assert abs(convert(minimum.value, "degF", "degC") - Decimal("871.1111")) < Decimal("1e-3")
    assert abs(convert(Decimal(1800), "degF", "degC") - Decimal("982.2222")) < Decimal("1e-3")
    assert convert(Decimal(900), "degC", "degF") == 1652
    assert convert(Decimal(850), "degC", "degF") == 1562


def test_new_york_breaks_its_opacity_at_ten_per_cent_not_only_above() -> None:
    opacity = profile("us-ny-2020").opacity
    assert opacity
    assert (opacity.limit.value, opacity.limit_is_breach, opacity.exception) == (10, True, None)
    florida = profile("us-fl-small").opacity
    assert florida
    assert not florida.limit_is_breach
    assert (florida.limit.value, florida.exception and florida.exception.value) == (5, 15)


# The traps of the published texts.


@pytest.mark.parametrize(
    ("installed", "minimum", "charging"),
    [(date(1993, 3, 13), 1800, 1400), (date(1993, 3, 12), 1600, 1200)],
)
def test_trap_a_the_day_of_installation_decides_in_oregon(
    installed: date, minimum: int, charging: int
) -> None:
    rules = for_unit("us-or", installed)
    assert pair(rules.secondary_minimum) == (minimum, "degF")
    assert pair(rules.charging) == (charging, "degF")


def test_trap_b_the_old_text_of_new_york_is_another_profile_and_says_so() -> None:
    assert pair(profile("us-ny-2020").secondary_minimum) == (1600, "degF")
    old = profile("us-ny-1988")
    assert pair(old.secondary_minimum) == (1800, "degF")
    assert "replaced" in old.title


def mean_passes(rules: PermitRules, temperatures_f: list[int]) -> bool:
    """Judge one value a minute by the rule's own window, in the rule's unit."""
    assert rules.secondary_minimum
    window = rules.averaging_min or 1
    sums = [
        sum(temperatures_f[end - window : end]) for end in range(window, len(temperatures_f) + 1)
    ]
    return all(Decimal(one) / window >= rules.secondary_minimum.value for one in sums)


def test_trap_c_the_same_minimum_is_judged_over_other_windows() -> None:
    hour = [1500] * 30 + [1700] * 30
    new_york, oregon = profile("us-ny-2020"), profile("us-or-before-1993")
    assert mean_passes(new_york, hour)
    assert not mean_passes(oregon, hour)
    assert profile("de-27bimschv").averaging_min == 10


def test_trap_c_ten_minutes_fail_where_an_hour_passes() -> None:
    hour = [1500] * 30 + [1700] * 30
    assert not mean_passes(replace(profile("us-ny-2020"), averaging_min=10), hour)


def test_trap_d_the_charging_temperature_is_a_rule_of_its_own() -> None:
    oregon, animal = profile("us-or-1993"), profile("fr-animal-1992")
    assert oregon.charging
    assert oregon.secondary_minimum
    assert oregon.charging.value < oregon.secondary_minimum.value
    assert oregon.charging_chamber == "secondary"
    assert animal.charging_chamber == "primary"
    assert not is_reached(animal.charging, "499")
    assert is_reached(animal.charging, "500")
    assert any("CO" in note for note in profile("de-27bimschv").notes)


def test_trap_e_nobody_publishes_a_recording_interval() -> None:
    assert {published(code).rules.recording_interval for code in codes()} == {None}


def test_trap_f_the_mean_holds_while_remains_burn() -> None:
    assert any("whole time" in note for note in profile("us-ny-2020").notes)


# What a wrong file or a wrong code says.

GOOD = (permit_profiles.FOLDER / "us-or-1993.toml").read_text("utf-8")


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('code = "us-or-1993"', 'code = "us-or"', "'us-or' is not the file's name"),
        ('unit = "second"', 'unit = "minute"', "residence: the unit 'minute' is none of second"),
        ('value = "1800"', "value = 1800", "1800 is no number; write its decimals as a text"),
        ('value = "1800"', 'value = "850"', "850 is not between 900 and 2500; is the unit right"),
        ('mark = "found"', 'mark = "heard"', "the mark 'heard' is none of found, secondary"),
        ('mark = "found"', 'mark = "house"', "a mark other than “house”"),
        ("read_on = 2026-11-25", "", "needs the date it was read"),
        ("read_on = 2026-11-25", 'read_on = "soon"', "'soon' is no date"),
        ("[residence]", "[residents]", "“residents” is not known here"),
        ('family = "us-or"', "", "installed_from: must be a date, beside a family"),
        ("= 1993-03-13", '= "1993"', "installed_from: must be a date, beside a family"),
        ("[residence]", "[residence", "not TOML"),
    ],
)
def test_a_wrong_file_names_file_key_and_fault(old: str, new: str, said: str) -> None:
    assert old in GOOD
    with pytest.raises(ProfileFileError) as caught:
        parse(GOOD.replace(old, new), "us-or-1993.toml")
    assert said in str(caught.value)
    assert str(caught.value).startswith("us-or-1993.toml: ")


def test_an_unknown_code_or_family_says_what_there_is() -> None:
    with pytest.raises(ProfileUnknown, match=r"No permit profile “us-tx”\. There are: ca-qc"):
        profile("us-tx")
    with pytest.raises(ProfileUnknown, match="“us-xx” for a unit of 1993-03-13"):
        for_unit("us-xx", date(1993, 3, 13))
