"""The answer in a clerk's words."""

from datetime import date

from cases.authority import DELEGATE, NoticeEffort, explain
from tests.cases.orders import (
    CA,
    CO,
    EFFORTS,
    EVERYONE,
    IL,
    SD,
    TN,
    WA,
    asked,
    person,
    several,
    signing,
)


def test_an_insufficient_number_names_who_may_still_sign() -> None:
    lines = explain(asked(CO, *several("child", 3, signed=1)))
    assert lines == (
        "The authorization is not sufficient yet.",
        "The right lies with: adult child. 1 of 3 has signed; 2 must.",
        "1 more must sign, of: N. Child-1 (adult child), N. Child-2 (adult child).",
    )


def test_a_living_spouse_is_to_sign_or_to_be_ruled_out() -> None:
    lines = explain(asked(CO, person("spouse"), person("child", signs=True)))
    assert lines[2:] == (
        "1 more must sign, of: N. Spouse (spouse).",
        "A lower rank may act only if it is recorded of each spouse named: has died; or cannot "
        "be reached, with the efforts made; or is separated from the decedent by court order.",
        "Signed, but counts nothing beside a higher rank: N. Child (adult child).",
    )


def test_efforts_that_would_be_enough_are_named() -> None:
    lines = explain(asked(CA, *several("child", 2, signed=1)))
    assert lines[-1] == "Or record the efforts to give notice to: N. Child-1 (adult child)."
    unsigned = explain(asked(CA, *several("child", 3)))
    assert "Fewer may be enough" in unsigned[-1]
    enough = explain(asked(CA, *several("child", 2, signed=1, efforts=EFFORTS)))
    assert "suffice because the efforts" in enough[2]


def test_those_passed_over_are_explained() -> None:
    efforts = (NoticeEffort(date(2026, 3, 3), "call"), NoticeEffort(date(2026, 3, 5), "letter"))
    answer = asked(
        CO,
        person("personal_representative", instrument_on_file=False),
        person("spouse", facts=frozenset({"separated_by_order"})),
        person("child", "a", living=False),
        person("child", "b", minor=True),
        person("child", "c", sound_mind=False),
        person("parent", reachable=False, efforts=efforts),
        person("sibling", signs=True),
        person("guardian", objects=True),
    )
    assert explain(answer)[2:] == (
        "N. Personal_Representative (personal representative or executor) has no paper or order "
        "on file that gives the right.",
        "N. Spouse (spouse) is separated from the decedent by court order.",
        "N. A (adult child) has died.",
        "N. B (adult child) is under age.",
        "N. C (adult child) is recorded as not of sound mind.",
        "N. Parent (parent) could not be reached; efforts on 2026-03-03, 2026-03-05.",
        "N. Guardian (guardian) is not in the order as it is known here.",
        "N. Guardian (guardian) objects, without a right to decide; noted.",
    )


def test_a_dispute_says_who_objects_and_whether_the_number_stands() -> None:
    stands = explain(asked(CO, *several("child", 5, signed=3, objecting=1)))
    assert "N. Child-4 (adult child) objects." in stands
    assert "By the text the signatures are enough all the same; a manager decides." in stands
    fails = explain(asked(CO, *several("child", 5, signed=2, objecting=1)))
    assert "With the objection the signatures are not enough by the text." in fails


def test_the_decedents_own_objection_is_told_apart() -> None:
    against = person("decedent_directions", objects=True, instrument_on_file=True)
    assert "The decedent's own directions are against cremation." in explain(asked(WA, against))


def test_what_must_be_recorded_is_said() -> None:
    lines = explain(
        asked(
            SD,
            person("spouse", signed=signing(by="friend")),
            person(DELEGATE, "friend"),
            all_named=EVERYONE - {"dd93"},
        )
    )
    assert (
        "Record whether every person named on DD Form 93 is named, or that there is none." in lines
    )
    assert any(line.startswith("Somebody else signed for N. Spouse (spouse)") for line in lines)
    unproved = explain(asked(TN, person("health_care_agent", signs=True)))
    assert any("on which the right of N. Health_Care_Agent" in line for line in unproved)


def test_who_may_act_where_nobody_of_the_order_is_left() -> None:
    lines = explain(asked(IL, person("sibling", signs=True)))
    assert lines[1:] == (
        "Nobody of the known order may act. Ask the local authority who may: a public "
        "administrator, the coroner or a court. A public officer is named here with the written "
        "order.",
        "N. Sibling (brother or sister) is not in the order as it is known here.",
    )


def test_a_review_says_why() -> None:
    assert any(
        "neither the one" in line for line in explain(asked(IL, *several("child", 2, signed=1)))
    )
    assert explain(asked(()))[0].endswith("a manager must review it.")
