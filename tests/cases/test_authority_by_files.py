"""The check values of the order of agents, asked of the rule files as shipped."""

from typing import Any

import pytest

from cases.authority import Outcome, Person
from cases.law import jurisdiction
from tests.cases.orders import EFFORTS, asked, person, several

ON_FILE: dict[str, Any] = {"instrument_on_file": True}
EXECUTOR = "personal_representative"
HALF = several("child", 4, signed=2, efforts=EFFORTS)


@pytest.mark.parametrize(
    ("code", "persons", "expected"),
    [
        ("us-sd", HALF, Outcome.SUFFICIENT),
        ("us-ca", HALF, Outcome.SUFFICIENT),
        ("us-il", HALF, Outcome.UNDECIDED),
        ("us-co", HALF, Outcome.INSUFFICIENT),
        ("us-co", several("child", 5, signed=3), Outcome.SUFFICIENT),
        ("us-co", several("child", 5, signed=3, objecting=1), Outcome.DISPUTED),
        ("us-wa", several("child", 3, signed=1), Outcome.INSUFFICIENT),
        ("us-wa", several("child", 3, signed=2), Outcome.SUFFICIENT),
        ("us-fl", several("child", 3, signed=1), Outcome.SUFFICIENT),
        ("us-tx", several("child", 3, signed=1), Outcome.SUFFICIENT),
        ("us-sc", several("child", 3, signed=1), Outcome.SUFFICIENT),
        ("us-sc", several("child", 3, signed=1, objecting=1), Outcome.DISPUTED),
        ("us-oh", several("child", 3, signed=2), Outcome.UNDECIDED),
        ("us-oh", several("child", 3, signed=3), Outcome.SUFFICIENT),
        (
            "us-co",
            [person("spouse", signs=True), person(EXECUTOR, **ON_FILE)],
            Outcome.INSUFFICIENT,
        ),
        ("us-tx", [person("spouse", signs=True), person(EXECUTOR, **ON_FILE)], Outcome.SUFFICIENT),
        (
            "us-tn",
            [person("spouse"), person(EXECUTOR, signs=True, **ON_FILE)],
            Outcome.INSUFFICIENT,
        ),
        ("us-ny", [person("spouse", signs=True)], Outcome.UNDECIDED),
        ("us-ga", [person("spouse", signs=True)], Outcome.UNDECIDED),
    ],
)
def test_the_file_gives_the_check_value(
    code: str, persons: list[Person], expected: Outcome
) -> None:
    assert asked(jurisdiction(code).ranks, *persons).outcome is expected


@pytest.mark.parametrize(
    "code", ["us-sc", "us-il", "us-ca", "us-oh", "us-sd", "us-fl", "us-mt", "us-tn", "us-tx"]
)
def test_the_children_cannot_sign_past_a_living_spouse(code: str) -> None:
    persons = [person("spouse"), *several("child", 3, signed=3)]
    assert asked(jurisdiction(code).ranks, *persons).outcome is Outcome.INSUFFICIENT
