"""Whatever may stand in the trail has words for people."""

import re
from pathlib import Path

from cases.gates import TITLES
from cases.trail_lines import ACTS, REASONS

ROOT = Path(__file__).resolve().parents[2]
FLOORS = ("cases", "retort_log", "chain_of_custody", "crematory")
REFUSAL = re.compile(r"\b\w+Refused\(\s*\"([a-z_]+)\"")
STAFF_ACT = re.compile(r"\"(staff\.[a-z_]+)\"")
# `gates` stands for the gates that refused, which are recorded by name; where no code or PIN was
# typed nobody tried to sign.
NEVER_RECORDED = {"gates", "signature_missing"}


def found(pattern: re.Pattern[str]) -> set[str]:
    """Return what the pattern finds in the code of all floors."""
    texts = [
        path.read_text(encoding="utf-8")
        for floor in FLOORS
        for path in (ROOT / floor).rglob("*.py")
        # What makes a file of readings none is said to who sent it; nothing was attempted yet.
        if "logger_files" not in path.parts
    ]
    return {name for text in texts for name in pattern.findall(text)}


def test_every_reason_of_a_refusal_has_words() -> None:
    codes = found(REFUSAL) - NEVER_RECORDED
    assert {"role", "pin_given", "own_account"} <= codes  # the pattern still finds them
    assert codes - REASONS.keys() - TITLES.keys() == set()


def test_every_act_about_the_staff_has_words() -> None:
    acts = found(STAFF_ACT)
    assert "staff.change_own_password" in acts
    assert acts <= ACTS.keys()
