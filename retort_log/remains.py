"""Is the mass of cremated remains plausible for this person? Pure; masses in kilograms.

The check is an alarm for gross errors (an adult's remains in a child's file, a part left
behind, two persons together). It identifies nobody and rejects nothing: outside the range
somebody looks again. The remains of another person of the same sex would pass nearly always.

What was published, and what was not:

- Warren & Maples 1997, J Forensic Sci 42(3): 91 adults in Florida, mean 2.430 kg, from 0.876 to
  3.784; men 1.053 above women; above 2.750 all were men, below 1.887 all women; 3.5 % of body
  mass (children 2.5 %, fetuses about 1 %); correlation with body mass .5470, with stature .8473.
- The means of the sexes, 2.893 and 1.840 kg, are from memory; their difference is as published.
- Bass & Jantz 2004, J Forensic Sci 49(5): 306 adults in Tennessee, about 0.5 kg heavier.
- No spread was published that could be read. It is made from the ranges: (3.784 - 1.887) / 4.5
  for men, (2.750 - 0.876) / 4.3 for women, where 4.5 and 4.3 are the widths, in standard
  deviations, that samples of this size have on average (d2): both near 0.425 kg.
- No equation for stature could be read, so a stature changes nothing, and the words say so.

The range of an adult is where 95 of 100 persons like this one are expected. Before a house has
weighed anybody, the mean lies between the two regions and is worth less than one case (a
region's mean is known to 0.5 / 1.128 kg), the spread is worth 20 cases (that is how well a range
of 45 cases gives it). Each adult of this sex whom the house has weighed counts as one more case.
Below the lightest adult that was published somebody looks again in any case.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal
from enum import StrEnum

from retort_log.belief import Belief, Sample

CONFIDENCE = 0.95
ADULT_FROM_YEARS = 18
GRAM = Decimal("0.001")


class Sex(StrEnum):
    """As the house records it."""

    FEMALE = "f"
    MALE = "m"


class AgeClass(StrEnum):
    """The classes for which shares of body mass were published."""

    ADULT = "adult"
    CHILD = "child"
    FETUS = "fetus"


SHARE_OF_BODY_MASS = {
    AgeClass.ADULT: Decimal("0.035"),
    AgeClass.CHILD: Decimal("0.025"),
    AgeClass.FETUS: Decimal("0.01"),
}
# No spread of the shares was published: a choice of this design.
SHARE_FACTOR = 3
HEAVIEST_FETUS_KG = Decimal(5)  # a choice of this design, where no body mass is known

MEAN_KG = {Sex.FEMALE: 1.840, Sex.MALE: 2.893}  # from memory
LIGHTEST_ADULT_KG = Decimal("0.876")
HEAVIEST_WOMAN_KG = Decimal("2.750")
LIGHTEST_MAN_KG = Decimal("1.887")
SPREAD_KG = 0.425
SPREAD_CASES = 20
REGION_KG = 0.500
REGION_SPREAD_KG = REGION_KG / 1.128  # of two regions; 1.128 is d2 of two
MEAN_CASES = (SPREAD_KG / REGION_SPREAD_KG) ** 2

# One kilogram of body mass, from the mean body mass of Warren & Maples: the share, as far as
# body mass explains the mass of the remains (r squared).
KG_PER_KG = 0.5470**2 * 0.035
MEAN_BODY_KG = 2.430 / 0.035
# Beyond these, more body mass is taken to leave no more remains; an adult's unknown one lies
# between them. A container weighs up to the third, and up to half of both. Choices of this design.
LIGHTEST_BODY_KG = Decimal(40)
HEAVIEST_BODY_KG = Decimal(120)
HEAVIEST_CONTAINER_KG = Decimal(60)


@dataclass(frozen=True)
class Person:
    """What is known of the person; None is “not known” and makes the range wider."""

    sex: Sex | None = None
    age_class: AgeClass | None = None
    body_mass_kg: Decimal | None = None
    has_container: bool = False  # the body mass was weighed with the container
    stature_cm: Decimal | None = None


@dataclass(frozen=True)
class Weighed:
    """An adult whose remains this house has weighed; the body mass as for the person asked."""

    sex: Sex | None
    body_mass_kg: Decimal | None
    mass_kg: Decimal


@dataclass(frozen=True)
class Expectation:
    """The mass expected, the range that is plausible (ends included), and how both were made."""

    expected_kg: Decimal
    lowest_kg: Decimal
    highest_kg: Decimal
    reasoning: str
    house_cases: int = 0

    def holds(self, mass_kg: Decimal) -> bool:
        """True when the mass lies within the range."""
        return self.lowest_kg <= mass_kg <= self.highest_kg

    def doubt(self, mass_kg: Decimal) -> str:
        """Say what a mass outside the range may mean; empty within it."""
        if mass_kg < self.lowest_kg:
            return (
                "Less than expected: is a part left behind, or are these the remains of a "
                "smaller person or a child?"
            )
        if mass_kg > self.highest_kg:
            return (
                "More than expected: is metal left among them, or are these the remains of a "
                "larger person, or of two?"
            )
        return ""


def age_class(age_years: int | None) -> AgeClass | None:
    """Return the class of a person of this age; one who was not born has to be named."""
    if age_years is None:
        return None
    return AgeClass.ADULT if age_years >= ADULT_FROM_YEARS else AgeClass.CHILD


def by_share(body_mass_kg: Decimal, of: AgeClass) -> Decimal:
    """Return the published share of the body mass, in kg (Warren & Maples 1997)."""
    return body_mass_kg * SHARE_OF_BODY_MASS[of]


def beyond_all_seen(sex: Sex | None, mass_kg: Decimal) -> str:
    """Say where the mass is one that no adult of this sex had in Florida; else nothing."""
    where = "weighed by Warren & Maples 1997 (one region; another is 0.5 kg heavier)"
    if sex == Sex.FEMALE and mass_kg > HEAVIEST_WOMAN_KG:
        return f"Heavier than the remains of every woman {where}."
    if sex == Sex.MALE and mass_kg < LIGHTEST_MAN_KG:
        return f"Lighter than the remains of every man {where}."
    return ""


def house_samples(cases: Iterable[Weighed]) -> dict[Sex, Sample]:
    """Sum up a house's adults by sex, as if each had the mean body mass.

    Whose sex is not known is left out; whose body mass is not known counts as it was weighed.
    """
    levelled: dict[Sex, list[float]] = {sex: [] for sex in Sex}
    for case in cases:
        if case.sex is not None:
            levelled[case.sex].append(float(case.mass_kg) - _more_by(case.body_mass_kg))
    return {sex: Sample.of(values) for sex, values in levelled.items()}


def expected_mass(person: Person, house: Mapping[Sex, Sample] | None = None) -> Expectation:
    """Return what the remains of this person are expected to weigh.

    `house` sums up the adults whom this house has weighed (`house_samples`).
    """
    samples = house or {}
    if person.age_class == AgeClass.ADULT:
        return _adult(person, samples)
    if person.age_class is not None:
        return _young(person, person.age_class)
    adult, child = _adult(person, samples), _young(person, AgeClass.CHILD)
    return Expectation(
        adult.expected_kg,
        min(adult.lowest_kg, child.lowest_kg),
        max(adult.highest_kg, child.highest_kg),
        f"age not known, so wider, down to a child's. {adult.reasoning}",
        adult.house_cases,
    )


def _more_by(body_mass_kg: Decimal | None) -> float:
    """Return how much more than at the mean body mass is expected, in kg."""
    if body_mass_kg is None:
        return 0.0
    counted = min(max(body_mass_kg, LIGHTEST_BODY_KG), HEAVIEST_BODY_KG)
    return KG_PER_KG * (float(counted) - MEAN_BODY_KG)


def _body(person: Person) -> tuple[Decimal, Decimal]:
    """Return the least and the greatest body mass that the person may have had."""
    if person.body_mass_kg is None:
        return LIGHTEST_BODY_KG, HEAVIEST_BODY_KG
    together = person.body_mass_kg
    alone = together
    if person.has_container:
        alone -= min(HEAVIEST_CONTAINER_KG, together / 2)
    return min(alone, HEAVIEST_BODY_KG), min(together, HEAVIEST_BODY_KG)


def _adult(person: Person, house: Mapping[Sex, Sample]) -> Expectation:
    sexes = list(Sex) if person.sex is None else [person.sex]
    seen = {sex: house.get(sex, Sample()) for sex in sexes}
    beliefs = [
        Belief(MEAN_KG[sex] + REGION_KG / 2, MEAN_CASES, SPREAD_KG, SPREAD_CASES).after(seen[sex])
        for sex in sexes
    ]
    least, greatest = _body(person)
    halves = [belief.half_width(CONFIDENCE) for belief in beliefs]
    pairs = list(zip(beliefs, halves, strict=True))
    count = sum(sample.count for sample in seen.values())
    return _rounded(
        sum(belief.mean for belief in beliefs) / len(beliefs) + _more_by(person.body_mass_kg),
        max(
            min(belief.mean - half for belief, half in pairs) + _more_by(least),
            float(LIGHTEST_ADULT_KG),
        ),
        max(belief.mean + half for belief, half in pairs) + _more_by(greatest),
        _adult_words(person, count),
        count,
    )


def _adult_words(person: Person, count: int) -> str:
    who = {Sex.FEMALE: "women", Sex.MALE: "men", None: "men and women (sex not known, so wider)"}
    words = [f"95 of 100 {who[person.sex]}, by means and ranges published for two regions"]
    if count:
        words.append(f"sharpened by {count} whom this house has weighed")
    if person.body_mass_kg is None:
        words.append("body mass not known, so wider")
    else:
        share = by_share(person.body_mass_kg, AgeClass.ADULT)
        words.append(f"3.5 % of body mass would be {share:.2f} kg, and counts for three tenths")
    if person.body_mass_kg is not None and person.has_container:
        words.append("the container was weighed with the body, so wider")
    if person.stature_cm is not None:
        words.append("the stature changes nothing: no equation for it was to be had")
    return "; ".join(words)


def _young(person: Person, of: AgeClass) -> Expectation:
    """A child or a fetus: a third to three times the published share of body mass."""
    highest = _adult(Person(), {}).highest_kg
    share = f"{SHARE_OF_BODY_MASS[of]:.1%} of body mass"
    if person.body_mass_kg is None:
        if of == AgeClass.FETUS:
            highest = by_share(HEAVIEST_FETUS_KG, of) * SHARE_FACTOR
        why = f"a {of.value} of unknown body mass: only what is too much is seen"
        return _rounded(float(highest) / 2, 0.0, float(highest), why, 0)
    least, greatest = _body(person)
    why = (
        f"a {of.value}: a third to three times the {share} that was published; no spread of it "
        "was, so the factor is a choice"
    )
    if person.has_container:
        why += "; the container was weighed with the body, so wider"
    return _rounded(
        float(by_share(greatest, of)),
        float(by_share(least, of) / SHARE_FACTOR),
        min(float(by_share(greatest, of) * SHARE_FACTOR), float(highest)),
        why,
        0,
    )


def _rounded(
    expected: float, lowest: float, highest: float, reasoning: str, count: int
) -> Expectation:
    """Round to grams, outward, and to no less than one gram."""
    return Expectation(
        max(Decimal(expected).quantize(GRAM, ROUND_HALF_EVEN), GRAM),
        max(Decimal(lowest).quantize(GRAM, ROUND_FLOOR), GRAM),
        max(Decimal(highest).quantize(GRAM, ROUND_CEILING), GRAM),
        reasoning,
        count,
    )
