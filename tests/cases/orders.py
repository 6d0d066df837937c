"""Orders of authorizing agents as the texts give them, and persons, for the tests of authority.

Only what the tests need of each order; the rule files hold the whole.
"""

from datetime import UTC, date, datetime
from typing import Any

from cases.authority import (
    CLASSES,
    Answer,
    Delegation,
    Lesser,
    NoticeEffort,
    Objection,
    Person,
    Quorum,
    Rank,
    Signing,
    decide,
)

AT = datetime(2026, 3, 2, 15, 0, tzinfo=UTC)
LATER = datetime(2026, 3, 3, 15, 0, tzinfo=UTC)
EFFORTS = (NoticeEffort(date(2026, 3, 3), "telephone"),)
EVERYONE = frozenset(CLASSES)

ONE, MAJORITY, ALL = Quorum.ONE, Quorum.MAJORITY, Quorum.ALL
SPOUSE = Rank("spouse", ONE)


def _ranks(*ranks: Rank) -> tuple[Rank, ...]:
    return ranks


# Bill text of SDCL 34-26-75 (SB 141 of 2023).
SD = _ranks(
    Rank("designated_agent", ONE),
    Rank("dd93", ONE),
    SPOUSE,
    Rank("child", MAJORITY, Lesser.LESS_THAN_MAJORITY),
    Rank("parent", ALL, Lesser.ANY),
    Rank("sibling", MAJORITY, Lesser.LESS_THAN_MAJORITY),
    Rank("grandparent", MAJORITY, Lesser.LESS_THAN_MAJORITY),
    Rank("guardian", ONE),
    Rank("personal_representative", ONE),
)
# MCA 37-19-904 with the relief as a secondary source gives it.
MT = _ranks(
    Rank("dd93", ONE),
    Rank("designated_agent", ONE),
    SPOUSE,
    Rank("child", MAJORITY, Lesser.LESS_THAN_HALF),
)
# Texas HSC 711.002(a).
TX = _ranks(
    Rank("decedent_directions", ONE),
    Rank("designated_agent", ONE),
    SPOUSE,
    Rank("child", ONE),
    Rank("parent", ONE),
    Rank("sibling", ONE),
    Rank("personal_representative", ONE),
)
# Colorado 15-19-106(1).
CO = _ranks(
    Rank("decedent_directions", ONE),
    Rank("personal_representative", ONE),
    Rank("spouse", ONE, excluded_when=frozenset({"separated_by_order"})),
    Rank("child", MAJORITY),
    Rank("parent", MAJORITY),
    Rank("sibling", MAJORITY),
    Rank("other_willing", ONE),
)
# California HSC 7100(a).
CA = _ranks(
    Rank("health_care_agent", ONE),
    SPOUSE,
    Rank("child", MAJORITY, Lesser.LESS_THAN_MAJORITY),
    Rank("parent", ALL, Lesser.ANY),
)
# 755 ILCS 65/5.
IL = _ranks(
    Rank("designated_agent", ONE),
    Rank("personal_representative", ONE),
    SPOUSE,
    Rank("child", MAJORITY, Lesser.LESS_THAN_HALF),
    Rank("parent", ALL, Lesser.ANY),
)
# S.C. Code 32-8-320(A), (B).
SC = _ranks(
    Rank("designated_agent", ONE),
    Rank("spouse", ONE, excluded_when=frozenset({"separated_by_order"})),
    Rank("child", Quorum.ONE_UNLESS_OBJECTION),
    Rank("parent", Quorum.ONE_UNLESS_OBJECTION),
)
# Florida 497.005(43) as quoted: no majority in the list.
FL = _ranks(
    Rank("decedent_directions", ONE),
    Rank("dd93", ONE),
    Rank("spouse", ONE, excluded_when=frozenset({"arrested_for_the_death"})),
    Rank("child", ONE),
    Rank("parent", ONE),
)
# RCW 68.50.160, secondary for the majorities.
WA = _ranks(
    Rank("decedent_directions", ONE),
    Rank("dd93", ONE),
    Rank("designated_agent", ONE),
    SPOUSE,
    Rank("child", MAJORITY),
    Rank("parent", ALL),
    Rank("sibling", MAJORITY),
)
# Ohio 2108.81(B).
OH = _ranks(
    SPOUSE,
    Rank("child", Quorum.COLLECTIVELY),
    Rank("parent", ALL),
    Rank("sibling", Quorum.COLLECTIVELY),
)
# Tenn. 62-5-703, secondary; 62-5-706: the personal representative gains no priority.
TN = _ranks(
    Rank("decedent_directions", ONE),
    Rank("health_care_agent", ONE),
    SPOUSE,
    Rank("child", MAJORITY, Lesser.LESS_THAN_HALF),
    Rank("parent", ALL, Lesser.ANY),
)


def signing(by: str = "", at: datetime = LATER) -> Signing:
    """A signature on paper."""
    return Signing(at, "paper", by)


def objection() -> Objection:
    """An objection that stands."""
    return Objection(LATER, "letter")


def delegation(to: str, *, in_writing: bool = True, at: datetime = AT) -> Delegation:
    """A delegation made before LATER."""
    return Delegation(to, at, in_writing)


def person(class_key: str, key: str = "", **given: Any) -> Person:
    """One person, named after class and key; `signs=True` gives a signature."""
    key = key or class_key
    if given.pop("signs", False):
        given["signed"] = signing()
    if given.pop("objects", False):
        given["objection"] = objection()
    return Person(key, f"N. {key.title()}", class_key, **given)


def several(
    class_key: str, number: int, *, signed: int = 0, objecting: int = 0, **others: Any
) -> list[Person]:
    """Members of one class: the first `signed` signed, the last `objecting` object."""
    return [
        person(
            class_key,
            f"{class_key}-{place}",
            signs=place < signed,
            objects=place >= number - objecting,
            **({} if place < signed else others),
        )
        for place in range(number)
    ]


def asked(
    ranks: tuple[Rank, ...], *persons: Person, all_named: frozenset[str] = EVERYONE
) -> Answer:
    """The answer for persons of whom everybody is named."""
    return decide(persons, ranks, all_named)
