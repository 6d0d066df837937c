"""Volumes for remains, and parting them among containers without losing a gram."""

from decimal import Decimal

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from crematory.units import convert
from retort_log.containers import (
    Fit,
    Part,
    SplitError,
    fit,
    split,
    volume_by_body,
    volumes_by_mass,
)

masses = st.decimals(Decimal("0.001"), 30, places=3)
volumes = st.decimals(Decimal("0.0001"), 20, places=4)


def d(text: str) -> Decimal:
    return Decimal(text)


@pytest.mark.parametrize(
    ("body", "unit", "cubic_inches", "millilitres"),
    [("180", "lb", "180", "2949.672"), ("80", "kg", "176.370", "2890.183")],
)
def test_a_cubic_inch_for_a_pound(
    body: str, unit: str, cubic_inches: str, millilitres: str
) -> None:
    litres = volume_by_body(convert(d(body), unit, "kg"))
    assert convert(litres, "l", "inch**3") == pytest.approx(d(cubic_inches), abs=d("0.001"))
    assert litres * 1000 == pytest.approx(d(millilitres), abs=d("0.001"))


def test_the_usual_urn_of_an_adult() -> None:
    assert convert(d("200"), "inch**3", "l") == pytest.approx(d("3.277413"), abs=d("0.000001"))
    assert fit(d("2.430"), d("3.2774")) == Fit.PERHAPS
    assert fit(d("1.900"), d("3.2774")) == Fit.YES


def test_the_trap_of_the_small_rule_is_seen() -> None:
    """One cubic centimetre a kilogram gives an adult a container for nothing."""
    assert fit(d("2.430"), d("0.080")) == Fit.NO
    assert volume_by_body(d("80")) > 36 * d("0.080")


@given(masses)
def test_between_both_volumes_it_depends_on_the_packing(mass: Decimal) -> None:
    found = volumes_by_mass(mass)
    step = d("0.0001")
    assert fit(mass, found.ample_l) == Fit.YES
    assert fit(mass, found.ample_l - step) != Fit.YES
    assert fit(mass, found.least_l + step) != Fit.NO
    assume(found.least_l > step)
    assert fit(mass, found.least_l - step) == Fit.NO


@st.composite
def wishes(draw: st.DrawFn) -> tuple[Decimal, list[Part]]:
    """A whole, keepsakes with set masses, and containers with room enough for the rest."""
    keepsakes = draw(st.lists(st.decimals(d("0.001"), d("0.050"), places=3), max_size=5))
    rest = draw(st.lists(st.decimals(d("0.05"), 20, places=4), min_size=1, max_size=5))
    left = draw(st.decimals(d("0.005"), d("0.045") * len(rest), places=3))
    parts = [Part(mass * 2, mass) for mass in keepsakes] + [Part(one) for one in rest]
    return left + sum(keepsakes, Decimal(0)), draw(st.permutations(parts))


@given(wishes())
@settings(deadline=None)
def test_the_parts_add_up_to_the_whole_to_the_gram(wish: tuple[Decimal, list[Part]]) -> None:
    whole, parts = wish
    found = split(whole, parts)
    assert sum(found) == whole
    for mass, part in zip(found, parts, strict=True):
        assert mass == mass.quantize(d("0.001"))
        assert mass > 0
        assert part.mass_kg in (None, mass)
        assert fit(mass, part.volume_l) != Fit.NO


@given(masses, st.lists(volumes, min_size=1, max_size=6))
def test_a_share_is_by_volume_within_a_gram_each(mass: Decimal, sizes: list[Decimal]) -> None:
    assume(mass * 1000 >= len(sizes))
    try:
        found = split(mass, [Part(size) for size in sizes])
    except SplitError:
        return
    total = sum(sizes)
    for share, size in zip(found, sizes, strict=True):
        assert abs(share - mass * size / total) <= d("0.001") * (len(sizes) + 1)


def test_an_urn_and_two_keepsakes() -> None:
    parts = [Part(d("3.3")), Part(d("0.1"), d("0.040")), Part(d("0.1"), d("0.040"))]
    assert split(d("2.400"), parts) == [d("2.320"), d("0.040"), d("0.040")]


def test_three_equal_urns_get_the_odd_gram_first() -> None:
    assert split(d("2.500"), [Part(d("2"))] * 3) == [d("0.834"), d("0.833"), d("0.833")]


@pytest.mark.parametrize(
    ("whole", "parts", "said"),
    [
        ("2.4005", [Part(Decimal(3))], "2.4005 kg is no mass in whole grams"),
        ("0", [Part(Decimal(3))], "no mass in whole grams above nought"),
        ("2.4", [Part(Decimal(3), Decimal("2.5"))], "100 g more than there is"),
        ("2.4", [Part(Decimal(3), Decimal("2.3"))], "100 g are left over, and no container"),
        ("2.4", [], "2400 g are left over, and no container"),
        (
            "2.4",
            [Part(Decimal(3), Decimal("2.399")), Part(Decimal(3)), Part(Decimal(3))],
            "1 g are left over for 2 containers: one would stay empty",
        ),
        ("2.4", [Part(Decimal(1)), Part(Decimal(1))], "Container 1 of 1 L cannot hold 1.2 kg"),
        ("2.4", [Part(Decimal(0))], "A container without volume"),
    ],
)
def test_what_does_not_work_out_says_why(whole: str, parts: list[Part], said: str) -> None:
    with pytest.raises(SplitError) as caught:
        split(d(whole), parts)
    assert said in str(caught.value)
