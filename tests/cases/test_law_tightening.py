"""A facility may ask more than the law and never less."""

import dataclasses
from decimal import Decimal

import pytest

from cases import law
from cases.law.scales import DIRECTIONS

MT, TX, SC = (law.jurisdiction(code) for code in ("us-mt", "us-tx", "us-sc"))


def refusal(rules: law.Jurisdiction, path: str, value: object) -> str:
    with pytest.raises(law.TighteningRefused) as refused:
        law.tighten(rules, {path: value})
    return str(refused.value)


def test_a_refusal_says_what_the_law_asks_and_where() -> None:
    assert refusal(MT, "wait.hours", 12) == (
        "Montana asks 24 h (MCA 37-19-705(2)); a house may ask more, never less."
    )
    assert refusal(MT, "holding.1.after_hours", 49) == (
        "Montana asks 48 h (MCA 37-19-705(4)(b)); a house may ask less, never more."
    )
    assert refusal(TX, "particle.max_mm", "4") == (
        "Texas asks 3.175 mm (Health and Safety Code 716.152(d)); a house may ask less, never more."
    )
    assert "kept permanently" in refusal(MT, "retention.record.years", 50)
    assert "“majority” of this class" in refusal(MT, "authority.child.quorum", "one")


@pytest.mark.parametrize(
    ("rules", "path", "value"),
    [
        (MT, "wait.hours", 23),
        (MT, "holding.2.max_f", "36"),
        (MT, "unclaimed.dispose.days", 89),
        (MT, "authority.child.lesser", "any"),
        (MT, "one_body.rule", "written_permission"),
        (MT, "medical_clearance.oral_confirmed_within_hours", 25),
        (SC, "medical_clearance.rule", "listed"),
        (SC, "retention.crematory_disposed.years", 9),
        (SC, "authority.child.quorum", "one"),
        (SC, "wait.hours", 12),  # from memory only, yet never less than what is remembered
        (TX, "release.ship_within_days", 31),
        (law.jurisdiction("us-ca"), "unclaimed.inter.years", 2),  # a duty: never later
        (law.jurisdiction("us-in"), "unclaimed.deliver_to_director.days", 31),
        (law.jurisdiction("us-or"), "secondary_chamber.installed_from_1993_03_13.min_f", "1799"),
        (law.jurisdiction("us-ny"), "secondary_chamber.always.residence_s", "0.9"),
        (law.jurisdiction("us-oh"), "authority.child.quorum", "majority"),
        (law.jurisdiction("us-ca"), "authority.parent.quorum", "one"),
        (law.jurisdiction("gb-ew"), "notice.cremation.within_hours", 97),
        (law.jurisdiction("us-md"), "holding_limit.1.within_hours", 49),
        (law.jurisdiction("ca-on"), "radioactive.wait_years", 1),
    ],
)
def test_nothing_is_loosened(rules: law.Jurisdiction, path: str, value: object) -> None:
    assert refusal(rules, path, value)


@pytest.mark.parametrize(
    ("path", "value", "says"),
    [
        ("wait", 48, "names no value"),
        ("wait.hours.more", 48, "names no value"),
        ("weight.hours", 48, "names no value"),
        ("wait.from", "death", "no value that a house may tighten"),
        ("wait.citation", "mine", "no value that a house may tighten"),
        ("wait.mark", "found", "no value that a house may tighten"),
        ("wait.hours", "48", "whole number"),
        ("wait.hours", 5000, "between 1 and 336"),
        ("wait.hours", True, "whole number"),
        ("holding.3.after_hours", 2, "no holding number 3"),
        ("holding.1.max_f", 35, "in quotes"),
        ("holding.2.max_c", "1.7", "in that unit"),
        ("authority.neighbour.quorum", "all", "no value"),
        ("authority.child.age", "18", "no value"),
        ("authority.child.quorum", "most", "never for less"),
        ("retention.gossip.years", 5, "gossip"),
        ("document.add", [], "no list"),
        ("document.add", ["napkin"], "no list"),
        ("disc.adopt", 1, "true or left out"),
        ("release.adopt", True, "could be adopted"),
        ("secondary_chamber.always.adopt", True, "could be adopted"),
    ],
)
def test_what_makes_no_sense_is_refused_with_a_reason(path: str, value: object, says: str) -> None:
    assert says in refusal(MT, path, value)


def test_a_greatest_value_below_the_least_is_refused() -> None:
    assert "at least 34" in refusal(TX, "holding.1.max_f", "33")


def test_a_house_may_ask_for_a_longer_wait() -> None:
    rules = law.tighten(MT, {"wait.hours": 48})
    assert (rules.wait_hours, rules.wait.state, rules.wait.adopted) == (48, "enforced", False)
    assert rules.tightened == (("wait.hours", "48"),)
    assert rules.digest != MT.digest
    assert dataclasses.replace(rules, wait=MT.wait, tightened=()) == MT


def test_a_wait_from_memory_may_be_adopted_as_it_stands() -> None:
    rules = law.tighten(SC, {"wait.adopt": True})
    assert (rules.wait_hours, rules.wait.state, rules.wait.mark) == (24, "enforced", "memory")


def test_a_house_may_adopt_hours_where_none_are_known() -> None:
    rules = law.tighten(law.jurisdiction("us-wa"), {"wait.hours": 24})
    assert (rules.wait_hours, rules.wait.starts, rules.wait.state) == (24, "death", "enforced")


def test_what_was_read_in_a_summary_may_be_confirmed() -> None:
    florida = law.jurisdiction("us-fl")
    assert florida.wait.state == "confirm"
    assert law.tighten(florida, {"wait.adopt": True}).wait.state == "enforced"


def test_more_papers_are_asked() -> None:
    rules = law.tighten(MT, {"document.add": ["disposition_permit", "death_record"]})
    kinds = [paper.kind for paper in rules.documents]
    assert kinds == [p.kind for p in MT.documents] + ["death_record", "disposition_permit"]
    again = law.tighten(rules, {"document.add": "death_record"})
    assert again.documents == rules.documents


def test_a_paper_of_the_house_takes_none_of_the_laws_place() -> None:
    rules = law.tighten(law.jurisdiction("us-id"), {"document.add": ["application"]})
    kinds = [paper.kind for paper in rules.documents]
    assert kinds == ["cremation_authorization", "application"]
    england = law.tighten(law.jurisdiction("gb-ew"), {"document.application.adopt": True})
    kinds = [paper.kind for paper in england.documents]
    assert kinds == ["cremation_authorization", "application"]


def test_a_paper_due_after_the_cremation_may_be_asked_before_it() -> None:
    rules = law.tighten(SC, {"document.add": ["disposition_permit"]})
    assert "disposition_permit" not in [paper.kind for paper in SC.documents]
    assert "disposition_permit" in [paper.kind for paper in rules.documents]


def test_a_paper_from_memory_may_be_adopted() -> None:
    rules = law.tighten(law.jurisdiction("us-il"), {"document.disposition_permit.adopt": True})
    assert "disposition_permit" in [paper.kind for paper in rules.documents]


def test_a_house_keeps_records_that_the_law_does_not_name() -> None:
    rules = law.tighten(MT, {"retention.receipt.years": 7, "retention.form.years": "permanent"})
    receipt, form = rules.retention("receipt"), rules.retention("form")
    assert receipt
    assert form
    assert (receipt.years, receipt.starts, receipt.state) == (7, "cremation", "enforced")
    assert (form.rule, form.years) == ("permanent", None)
    assert rules.retention("record") == MT.retention("record")


def test_years_may_become_permanent_and_not_years_again() -> None:
    rules = law.tighten(TX, {"retention.record.years": "permanent"})
    record = rules.retention("record")
    assert record
    assert record.rule == "permanent"
    assert "kept permanently" in refusal(rules, "retention.record.years", 99)


def test_the_list_says_what_may_be_tightened_and_how() -> None:
    listed = {offer.path: offer for offer in law.offers(MT)}
    assert listed["wait.hours"] == law.Offer("wait.hours", "24 h", "more", "MCA 37-19-705(2)")
    assert listed["authority.child.quorum"].may == "all or majority"
    assert listed["medical_clearance.rule"].may == "always or listed"
    assert listed["holding.1.after_hours"].may == "less"
    assert listed["holding.2.adopt"].now == "found-old"
    assert "retention.record.years" not in listed  # permanent: nothing is left to ask
    assert "document.add" in listed


@pytest.mark.parametrize("code", law.codes())
def test_each_value_of_the_list_has_its_direction(code: str) -> None:
    rules = law.jurisdiction(code)
    for offer in law.offers(rules):
        table, *rest = offer.path.split(".")
        name = rest[-1]
        assert (
            (table, name) in DIRECTIONS
            or name in ("adopt", "add")
            or (table == "authority" and name in ("quorum", "lesser"))
        )
        assert offer.may


def test_particles_grow_only_finer() -> None:
    rules = law.tighten(TX, {"particle.max_mm": "3"})
    assert rules.particle.max_mm
    assert Decimal(rules.particle.max_mm) < Decimal("3.175")
