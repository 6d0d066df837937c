"""Check characters, against the python-stdnum package."""

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum.iso7064 import mod_37_36

from crematory.check_character import explain, is_valid, with_check

ALPHABET = string.digits + string.ascii_uppercase


def test_the_packages_own_example_holds() -> None:
    # From the documentation of python-stdnum 2.2, stdnum.iso7064.mod_37_36.
    assert is_valid("A12425GABC1234002M")


def test_a_number_gets_its_character_after_a_hyphen() -> None:
    number = with_check("QV26-00042")
    assert number == "QV26-00042-0"
    assert mod_37_36.is_valid(number.replace("-", ""))


@given(st.text(ALPHABET, min_size=1, max_size=30))
def test_every_body_makes_a_valid_number(body: str) -> None:
    number = with_check(body)
    assert is_valid(number)
    assert mod_37_36.is_valid(number.replace("-", ""))
    assert explain(number) == ""


@pytest.mark.parametrize(
    "typed", ["qv26-00042-0", "QV26000420", "  QV26-00042-0\n", "QV-2600042-0"]
)
def test_case_hyphens_and_outer_blanks_do_not_matter(typed: str) -> None:
    assert is_valid(typed)


def test_every_single_misread_character_is_found() -> None:
    number = with_check("QV26-00042")
    for place, right in enumerate(number):
        for wrong in set(ALPHABET) - {right}:
            if right != "-":
                assert not is_valid(number[:place] + wrong + number[place + 1 :])


@given(st.text(), st.text(ALPHABET, max_size=12))
def test_any_text_is_answered(text: str, body: str) -> None:
    assert is_valid(body + text) == (explain(body + text) == "")


@pytest.mark.parametrize(
    ("number", "says"),
    [
        ("", "only letters, digits and hyphens"),
        ("---", "only letters, digits and hyphens"),
        ("QV26_00042", "only letters, digits and hyphens"),
        ("Straße", "only letters, digits and hyphens"),
        ("٣٤", "only letters, digits and hyphens"),
        ("1", "too short"),
        ("qv26-00024-0", "QV26-00024-0 does not fit its last character"),
    ],
)
def test_explain_says_what_to_do(number: str, says: str) -> None:
    assert says in explain(number)
    assert "Read" in explain(number)


@pytest.mark.parametrize("body", ["", "-", "QV 26", "Ä1"])
def test_a_body_of_other_characters_gets_no_character(body: str) -> None:
    with pytest.raises(ValueError, match="letters, digits and hyphens"):
        with_check(body)
