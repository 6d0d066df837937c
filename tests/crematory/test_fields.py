"""The form field for quantities, in a form as pages use it."""

from decimal import Decimal

import pytest
from django import forms

from crematory.fields import QuantityField


class WeighingForm(forms.Form):
    mass_kg = QuantityField(kind="mass", maximum=Decimal("226.796"))
    volume_l = QuantityField(kind="volume", required=False, help_text="Inside measure.")


def test_clean_answers_the_stored_unit() -> None:
    form = WeighingForm({"mass_kg": "182 lb", "volume_l": "200"})
    assert form.is_valid()
    assert form.cleaned_data == {"mass_kg": Decimal("82.554"), "volume_l": Decimal("3.2774")}


def test_a_field_that_may_be_empty_answers_none() -> None:
    form = WeighingForm({"mass_kg": "182", "volume_l": " "})
    assert form.is_valid()
    assert form.cleaned_data["volume_l"] is None


def test_a_required_field_asks_for_a_value() -> None:
    assert WeighingForm({"mass_kg": ""}).has_error("mass_kg", "required")


@pytest.mark.parametrize("typed", ["12 furlongs", "600 lb", "<b>12</b>", "1\x00kg"])
def test_what_was_typed_stays_beside_the_error(typed: str) -> None:
    form = WeighingForm({"mass_kg": typed})
    assert form.has_error("mass_kg", "quantity")
    assert form["mass_kg"].value() == typed
    assert "<b>" not in form.as_p()


def test_a_stored_value_is_offered_in_the_facilitys_units() -> None:
    form = WeighingForm(initial={"mass_kg": Decimal("82.554")})
    assert 'value="182 lb"' in str(form["mass_kg"])


def test_an_unchanged_value_counts_as_unchanged() -> None:
    form = WeighingForm({"mass_kg": "182 lb"}, initial={"mass_kg": Decimal("82.554")})
    assert not form.has_changed()
    form = WeighingForm({"mass_kg": "183 lb"}, initial={"mass_kg": Decimal("82.554")})
    assert form.changed_data == ["mass_kg"]


def test_the_input_brings_up_digits_and_suggests_nothing() -> None:
    html = str(WeighingForm()["mass_kg"])
    assert 'type="text"' in html
    assert 'inputmode="decimal"' in html
    assert 'autocomplete="off"' in html


def test_the_help_text_names_the_unit() -> None:
    fields = WeighingForm().fields
    assert str(fields["mass_kg"].help_text).startswith("A plain number is in lb.")
    assert str(fields["volume_l"].help_text).startswith("Inside measure. A plain number is in in³.")


def test_a_form_may_choose_the_units_of_its_facility() -> None:
    form = WeighingForm({"mass_kg": "82,5"}, initial={"mass_kg": Decimal("80.000")})
    field = form.fields["mass_kg"]
    assert isinstance(field, QuantityField)
    field.use_units("metric")
    assert form.is_valid()
    assert form.cleaned_data["mass_kg"] == Decimal("82.500")
    assert str(field.help_text).startswith("A plain number is in kg.")
    assert WeighingForm().fields["mass_kg"].units == "us"  # type: ignore[attr-defined]
