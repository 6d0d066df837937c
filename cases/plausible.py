"""What the remains of a person are expected to weigh: one answer for gate and effect."""

from datetime import timedelta

from django.db.models import F

from cases.models import Case
from retort_log.models import Processing
from retort_log.remains import (
    ADULT_FROM_YEARS,
    Expectation,
    Person,
    Sex,
    Weighed,
    age_class,
    expected_mass,
    house_samples,
)

# The newest of the house's cases: enough to know its mean well, few enough for a page.
MOST_CASES = 500
ADULT_FROM = timedelta(days=ADULT_FROM_YEARS * 365.25)


def expected_for(case: Case) -> Expectation:
    """Return the expectation for a person who was received, sharpened by the house's own cases.

    The body mass is that of the delivery, with the container.
    """
    person = Person(
        sex=Sex(case.sex) if case.sex else None,
        age_class=age_class(case.age_years),
        body_mass_kg=case.delivery.mass_kg,
        has_container=True,
    )
    return expected_mass(person, house_samples(_weighed(case)))


def _weighed(case: Case) -> list[Weighed]:
    """Return the adults of this person's sex, or of both, whom the house has weighed."""
    rows = Processing.objects.filter(
        case__facility=case.facility_id, case__died_at__gte=F("case__born_on") + ADULT_FROM
    )
    known = [case.sex] if case.sex else list(Sex)
    newest = rows.filter(case__sex__in=known).order_by("-pk")[:MOST_CASES]
    values = newest.values_list("case__sex", "case__delivery__mass_kg", "mass_kg")
    return [Weighed(Sex(sex), body, mass) for sex, body, mass in values]
