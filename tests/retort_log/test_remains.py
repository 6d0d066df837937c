"""The expected mass of cremated remains: published figures, and how the range must behave."""

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crematory.units import parse_quantity
from retort_log.remains import (
    AgeClass,
    Expectation,
    Person,
    Sex,
    Weighed,
    age_class,
    beyond_all_seen,
    by_share,
    expected_mass,
    house_samples,
)

body_masses = st.decimals(Decimal("0.5"), 1000, places=3)
sexes = st.none() | st.sampled_from(Sex)
classes = st.none() | st.sampled_from(AgeClass)
persons = st.builds(Person, sexes, classes, st.none() | body_masses, st.booleans())
house_cases = st.builds(
    Weighed, sexes, st.none() | st.decimals(40, 160, places=1), st.decimals(1, 5, places=3)
)

MAN = Person(Sex.MALE, AgeClass.ADULT, Decimal(80))
WOMAN = Person(Sex.FEMALE, AgeClass.ADULT, Decimal(65))


def bounds(one: Expectation) -> tuple[Decimal, Decimal, Decimal]:
    return one.lowest_kg, one.expected_kg, one.highest_kg


def kg(text: str) -> Decimal:
    return Decimal(text)


# Published figures (Warren & Maples 1997).


def test_the_published_share_of_body_mass() -> None:
    assert by_share(kg("70"), AgeClass.ADULT) == kg("2.450")
    assert by_share(kg("20"), AgeClass.CHILD) == kg("0.500")
    assert by_share(kg("1"), AgeClass.FETUS) == kg("0.010")


@pytest.mark.parametrize(
    ("sex", "mass", "said"),
    [
        (Sex.FEMALE, "2.800", "every woman"),
        (Sex.FEMALE, "2.750", ""),
        (Sex.MALE, "2.800", ""),
        (Sex.MALE, "1.800", "every man"),
        (Sex.MALE, "1.887", ""),
        (Sex.FEMALE, "1.800", ""),
        (Sex.MALE, "2.300", ""),
        (Sex.FEMALE, "2.300", ""),
        (None, "2.800", ""),
    ],
)
def test_what_nobody_of_that_sex_had(sex: Sex | None, mass: str, said: str) -> None:
    found = beyond_all_seen(sex, kg(mass))
    assert said in found
    assert bool(found) == bool(said)


@pytest.mark.parametrize(
    ("person", "lowest", "highest"),
    [(MAN, "1.97", "4.54"), (WOMAN, "0.876", "3.33")],
)
def test_the_range_reaches_over_both_regions(person: Person, lowest: str, highest: str) -> None:
    """Wider than one region's 2.039 to 3.747 and 0.986 to 2.694, half a kilogram upward."""
    found = expected_mass(person)
    assert found.lowest_kg == pytest.approx(kg(lowest), abs=kg("0.01"))
    assert found.highest_kg == pytest.approx(kg(highest), abs=kg("0.01"))


def test_all_adults_of_the_published_samples_are_plausible_somewhere() -> None:
    unknown = expected_mass(Person(age_class=AgeClass.ADULT))
    assert unknown.holds(kg("0.876"))
    assert not unknown.holds(kg("0.875"))
    assert unknown.holds(kg("3.784"))


# Gross errors are seen.


def test_an_adults_remains_in_a_childs_file_are_seen() -> None:
    child = expected_mass(Person(None, AgeClass.CHILD, kg("14")))
    assert not child.holds(kg("2.400"))
    assert "larger person" in child.doubt(kg("2.400"))
    assert "or of two" in child.doubt(kg("2.400"))


def test_a_childs_remains_in_an_adults_file_are_seen() -> None:
    assert not expected_mass(MAN).holds(kg("0.400"))
    assert not expected_mass(WOMAN).holds(kg("0.400"))
    assert "a part left behind" in expected_mass(MAN).doubt(kg("0.400"))


def test_two_persons_remains_together_are_seen() -> None:
    for person in (MAN, WOMAN):
        assert not expected_mass(person).holds(kg("5.300"))


def test_within_the_range_there_is_no_doubt_even_for_another_person() -> None:
    """A swap between two of one sex passes: the mass identifies nobody."""
    assert (
        expected_mass(MAN).doubt(expected_mass(replace(MAN, body_mass_kg=kg("95"))).expected_kg)
        == ""
    )


# How the range behaves.


@given(persons)
def test_the_range_is_in_order_and_of_whole_grams(person: Person) -> None:
    low, expected, high = bounds(expected_mass(person))
    assert kg("0.001") <= low <= expected <= high
    assert all(value == value.quantize(kg("0.001")) for value in (low, expected, high))


@given(persons, body_masses, body_masses)
def test_more_body_mass_never_means_less_remains(
    person: Person, one: Decimal, two: Decimal
) -> None:
    light, heavy = (
        bounds(expected_mass(replace(person, body_mass_kg=mass))) for mass in sorted((one, two))
    )
    assert all(less <= more for less, more in zip(light, heavy, strict=True))


@given(persons)
def test_what_is_not_known_makes_the_range_wider(person: Person) -> None:
    known = expected_mass(person)
    for unknown in ({"sex": None}, {"has_container": True}):
        wider = expected_mass(replace(person, **unknown))
        assert wider.lowest_kg <= known.lowest_kg
        assert wider.highest_kg >= known.highest_kg


@given(sexes, body_masses)
def test_an_unknown_age_reaches_over_adults_and_children(sex: Sex | None, body: Decimal) -> None:
    wider = expected_mass(Person(sex, None, body))
    for one in (AgeClass.ADULT, AgeClass.CHILD):
        known = expected_mass(Person(sex, one, body))
        assert wider.lowest_kg <= known.lowest_kg
        assert wider.highest_kg >= known.highest_kg


@given(sexes, st.decimals(1, 200, places=1))
def test_an_unknown_body_mass_reaches_over_all_of_them(sex: Sex | None, body: Decimal) -> None:
    for one in (AgeClass.ADULT, AgeClass.CHILD):
        wider, known = (expected_mass(Person(sex, one, mass)) for mass in (None, body))
        assert wider.lowest_kg <= known.lowest_kg
        assert wider.highest_kg >= known.highest_kg


@given(st.decimals(1, 400, places=2), st.sampled_from(AgeClass))
@settings(deadline=None)  # the registry of units is built at first use
def test_pounds_and_kilograms_give_the_same(pounds: Decimal, of: AgeClass) -> None:
    typed = parse_quantity(f"{pounds} lb", "mass", "lb")
    again = parse_quantity(f"{typed} kg", "mass", "lb")
    assert expected_mass(Person(None, of, typed)) == expected_mass(Person(None, of, again))


# The house's own cases.


@given(st.lists(house_cases, max_size=30), st.randoms(), persons)
def test_the_order_of_the_houses_cases_does_not_matter(
    cases: list[Weighed], chance: object, person: Person
) -> None:
    shuffled = list(cases)
    chance.shuffle(shuffled)  # type: ignore[attr-defined]
    assert expected_mass(person, house_samples(cases)) == expected_mass(
        person, house_samples(shuffled)
    )


@given(st.lists(st.decimals(2, 4, places=3), min_size=5, max_size=20), st.sampled_from(Sex))
@settings(max_examples=30)
def test_with_many_cases_the_expected_mass_is_the_houses_mean(
    masses: list[Decimal], sex: Sex
) -> None:
    cases = [Weighed(sex, kg("80"), mass) for mass in masses * 200]
    person = Person(sex, AgeClass.ADULT, kg("80"))
    found = expected_mass(person, house_samples(cases))
    mean = sum(masses, Decimal(0)) / len(masses)
    assert found.expected_kg == pytest.approx(mean, abs=kg("0.003"))
    assert found.house_cases == len(cases)
    assert f"sharpened by {len(cases)} whom this house has weighed" in found.reasoning


def test_a_houses_cases_make_the_range_narrower() -> None:
    usual = [Weighed(Sex.MALE, kg("80"), kg(mass)) for mass in ("2.6", "3.1", "3.4", "2.9")]
    before, after = expected_mass(MAN), expected_mass(MAN, house_samples(usual))
    assert after.lowest_kg > before.lowest_kg
    assert after.highest_kg < before.highest_kg


def test_a_house_in_a_heavier_region_learns_it() -> None:
    heavy = [Weighed(Sex.FEMALE, kg("70"), kg("2.6"))] * 20
    assert expected_mass(WOMAN, house_samples(heavy)).expected_kg > kg("2.5")


def test_one_sex_teaches_nothing_of_the_other_nor_of_children() -> None:
    women = house_samples([Weighed(Sex.FEMALE, None, kg("2.6"))] * 20)
    assert expected_mass(MAN, women) == expected_mass(MAN)
    child = Person(Sex.FEMALE, AgeClass.CHILD, kg("20"))
    assert expected_mass(child, women) == expected_mass(child)
    assert expected_mass(WOMAN, house_samples([Weighed(None, None, kg("4"))])) == expected_mass(
        WOMAN
    )


def test_a_heavier_body_in_the_houses_cases_is_allowed_for() -> None:
    """The same masses from heavier bodies speak for less at this person's body mass."""
    light, heavy = (
        house_samples([Weighed(Sex.MALE, kg(body), kg("3.0"))] * 10) for body in ("70", "110")
    )
    assert expected_mass(MAN, heavy).expected_kg < expected_mass(MAN, light).expected_kg


# Words.


def test_the_words_say_what_was_not_known() -> None:
    words = expected_mass(Person()).reasoning
    for part in ("age not known", "sex not known", "body mass not known"):
        assert part in words
    assert "not known" not in expected_mass(MAN).reasoning
    tall = replace(MAN, has_container=True, stature_cm=kg("190"))
    assert "container was weighed" in expected_mass(tall).reasoning
    assert "stature changes nothing" in expected_mass(tall).reasoning


def test_a_child_of_unknown_mass_is_only_checked_upward() -> None:
    found = expected_mass(Person(None, AgeClass.CHILD))
    assert found.lowest_kg == kg("0.001")
    assert "only what is too much is seen" in found.reasoning
    fetus = expected_mass(Person(None, AgeClass.FETUS))
    assert fetus.highest_kg == kg("0.150")


@pytest.mark.parametrize(
    ("years", "of"),
    [(None, None), (0, AgeClass.CHILD), (17, AgeClass.CHILD), (18, AgeClass.ADULT)],
)
def test_the_age_gives_the_class(years: int | None, of: AgeClass | None) -> None:
    assert age_class(years) == of
