"""How much to expect and how remains are parted, as the pages of process and contain say it."""

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases import room
from cases.forms.sharing import proposed
from cases.models import Case
from crematory import clock
from crematory.models import Facility, StaffMember
from crematory.units import default_unit, parse_quantity
from retort_log.containers import SplitError
from tests import cast
from tests.cases.pages import browser, text_of, url


@pytest.mark.parametrize("units", ["us", "metric"])
@given(grams=st.integers(1000, 9000), keepsake=st.integers(1, 90))
def test_what_is_proposed_adds_up_to_the_gram(units: Any, grams: int, keepsake: int) -> None:
    mass = Decimal(grams) / 1000
    rows = [("0.1 L", f"{keepsake / 1000} kg"), ("9 L", ""), ("9 L", "")]
    unit = default_unit("mass", units)
    read = [parse_quantity(text, "mass", unit) for text in proposed(mass, rows, units)]
    assert sum(read) == mass
    assert read[0] == Decimal(keepsake) / 1000


def test_where_all_are_filled_the_last_gets_the_rest() -> None:
    rows = [("0.2 L", "0.05 kg"), ("4 L", "9 kg")]
    assert proposed(Decimal("2.400"), rows, "metric")[1].startswith("2.35")


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([("", "")], "Write the volume of container 1 first"),
        ([("1 L", "1 kg"), ("many", "")], "Container 2:"),
        ([("1 L", "")], "cannot hold"),
        ([("9 L", "3 kg"), ("9 L", "")], "more than there is"),
    ],
)
def test_what_cannot_be_parted_is_said(rows: list[tuple[str, str]], words: str) -> None:
    with pytest.raises(SplitError, match=words):
        proposed(Decimal("2.400"), rows, "metric")


def rows_of(*typed: tuple[str, str]) -> dict[str, Any]:
    data: dict[str, Any] = {"containers-TOTAL_FORMS": len(typed), "containers-INITIAL_FORMS": 0}
    for position, (volume, mass) in enumerate(typed):
        data |= {
            f"containers-{position}-kind": "urn",
            f"containers-{position}-volume_l": volume,
            f"containers-{position}-mass_kg": mass,
        }
    return data


@pytest.mark.django_db
def test_the_page_proposes_the_rest(facility: Facility, operator: StaffMember) -> None:
    case = cast.bring(cast.make_case(facility), "processed")
    client, address = browser(operator), url("step", case, "contain")
    with clock.pinned(cast.time_of("contain", case)):
        answer = client.post(
            address, rows_of(("0.2 L", "0.050 kg"), ("4 L", "")) | {"share": "1", "token": "t"}
        )
        shown = [form["mass_kg"].value() for form in answer.context["form"].containers.forms]
        masses = [parse_quantity(text, "mass", "lb") for text in shown]
        assert sum(masses) == case.processing.mass_kg
        assert masses[0] == Decimal("0.050")
        wrong = client.post(address, rows_of(("0.2 L", "")) | {"share": "1", "token": "t"})
    assert "cannot hold" in wrong.content.decode()
    case.refresh_from_db()
    assert case.stage == "processed"


@pytest.mark.django_db
def test_the_pages_say_what_to_expect(facility: Facility, operator: StaffMember) -> None:
    case = cast.bring(cast.make_case(facility), "recovered")
    page = text_of(browser(operator), url("step", case, "process"))
    assert room.ALARM in page
    assert "plausible from" in page
    assert "common practice, no source" in page
    early = text_of(browser(operator), url("step", case, "contain"))
    assert "Room for the remains" not in early
    cast.bring(case, "processed")
    page = text_of(browser(operator), url("step", case, "contain"))
    assert "to be sure" in page
    assert "one cubic inch for each pound" in page


@pytest.mark.django_db
def test_other_steps_say_nothing_of_it(case: Case) -> None:
    assert room.told(case, "receive") == []
