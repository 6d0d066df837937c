"""When two writings are one name."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.names import is_same_name


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Vera Oldmeadow", "vera  OLDMEADOW"),
        ("OLDMEADOW, Vera", "Vera Oldmeadow"),
        ("Łukasz Ábel", "lukasz abel"),
        ("Nguyễn-Oldmeadow, Vera Ann", "Vera Ann Nguyen-Oldmeadow"),
        ("Madonna", "MADONNA"),
    ],
)
def test_one_name(one: str, other: str) -> None:
    assert is_same_name(one, other)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Vera Oldmeadow", "Oldmeadow Vera"),
        ("Vera Oldmeadow", "Vera Oldmeadow-Reed"),
        ("Oldmeadow, Vera, Ann", "Vera Ann Oldmeadow"),
        ("Oldmeadow,", "Oldmeadow"),
        ("", "Vera"),
    ],
)
def test_two_names(one: str, other: str) -> None:
    assert not is_same_name(one, other)


@given(st.text(max_size=40))
def test_a_name_is_itself(name: str) -> None:
    assert is_same_name(name, name)
