"""What a jurisdiction asks of persons, papers, discs and machines: worked examples with source."""

from decimal import Decimal

import pytest

from cases import law
from cases.authority import Outcome, Person
from cases.law.after_rules import ItemList
from crematory.units import convert
from tests.cases.orders import EFFORTS, asked, person, several

SUFFICIENT, INSUFFICIENT = Outcome.SUFFICIENT, Outcome.INSUFFICIENT
DISPUTED, UNDECIDED = Outcome.DISPUTED, Outcome.UNDECIDED
SPOUSE = person("spouse")


@pytest.mark.parametrize(
    ("code", "persons", "outcome", "source"),
    [
        ("us-sd", several("child", 4, signed=2, efforts=EFFORTS), SUFFICIENT, "34-26-75, bill"),
        ("us-ca", several("child", 4, signed=2, efforts=EFFORTS), SUFFICIENT, "7100"),
        ("us-il", several("child", 4, signed=2, efforts=EFFORTS), UNDECIDED, "65/5: exactly half"),
        ("us-co", several("child", 5, signed=2), INSUFFICIENT, "15-19-106"),
        ("us-co", several("child", 5, signed=3), SUFFICIENT, "15-19-106"),
        ("us-co", several("child", 4, signed=2), INSUFFICIENT, "15-19-106"),
        ("us-co", several("child", 2, signed=1, efforts=EFFORTS), INSUFFICIENT, "no relief"),
        ("us-tx", several("child", 2, signed=1, efforts=EFFORTS), SUFFICIENT, "711.002"),
        ("us-wa", several("child", 3, signed=1), INSUFFICIENT, "68.50.160, secondary"),
        ("us-wa", several("child", 3, signed=2), SUFFICIENT, "68.50.160, secondary"),
        ("us-fl", several("child", 3, signed=1), SUFFICIENT, "497.005(43), as quoted"),
        ("us-sc", several("child", 3, signed=1), SUFFICIENT, "32-8-320(B)"),
        ("us-sc", several("child", 3, signed=1, objecting=1), DISPUTED, "32-8-320(B)"),
        ("us-oh", several("child", 3, signed=2), UNDECIDED, "2108.81(B): collectively"),
        ("us-mt", several("child", 3, signed=1, efforts=EFFORTS), SUFFICIENT, "37-19-904"),
        *(
            (code, [SPOUSE, *several("child", 3, signed=3)], INSUFFICIENT, "the spouse outranks")
            for code in ("us-sd", "us-mt", "us-sc", "us-tn", "us-il", "us-fl", "us-tx", "us-ca",
                         "us-co", "us-wa", "us-oh")
        ),
        (
            "us-tn",
            [SPOUSE, person("personal_representative", signs=True, instrument_on_file=True)],
            INSUFFICIENT,
            "62-5-706: no priority",
        ),
        (
            "us-co",
            [SPOUSE, person("personal_representative", signs=True, instrument_on_file=True)],
            SUFFICIENT,
            "15-19-106(1)",
        ),
        (
            "us-tx",
            [SPOUSE, person("personal_representative", signs=True, instrument_on_file=True)],
            INSUFFICIENT,
            "711.002(a): the spouse outranks the executor",
        ),
    ],
)  # fmt: skip
def test_who_may_authorize(code: str, persons: list[Person], outcome: Outcome, source: str) -> None:
    assert asked(law.jurisdiction(code).ranks, *persons).outcome is outcome, source


def test_an_order_from_memory_decides_nothing() -> None:
    assert law.jurisdiction("gb-ew").authority.ranks
    assert law.jurisdiction("gb-ew").ranks == ()
    assert law.jurisdiction("us-ne").ranks == ()


def lacks(rule: ItemList, item: str) -> tuple[str, ...]:
    """What is missing from a paper that has every item but one."""
    assert item in rule.items
    return rule.missing(set(rule.items) - {item})


@pytest.mark.parametrize(
    ("code", "paper", "item", "source"),
    [
        ("us-tx", "form", "witnesses", "716.052(a)(10): the viewing"),
        ("us-wi", "form", "valuables", "440.73(7)"),
        ("us-tx", "receipt_release", "contracting_firm", "716.156(b)"),
        ("us-sd", "form", "implant_statement", "34-26A-6.1(5)"),
        ("us-ca", "record", "agent_address", "8343"),
        ("us-ny", "record", "delay_reason", "203.13(a)(7)"),
        *(
            (code, "receipt_delivery", "both_signatures", "one signature only")
            for code in ("us-sc", "us-tn", "us-oh", "us-co", "us-nc", "us-wi", "us-ne", "us-sd")
        ),
    ],
)
def test_a_paper_without_one_item_is_incomplete(
    code: str, paper: str, item: str, source: str
) -> None:
    rule = getattr(law.jurisdiction(code), paper)
    assert lacks(rule, item) == (item,), source
    assert rule.missing(rule.items) == ()


def test_a_missing_item_has_printed_words() -> None:
    for code in law.codes():
        rules = law.jurisdiction(code)
        for rule in (rules.receipt_delivery, rules.receipt_release, rules.record, rules.form):
            assert all(law.item_words(rule.items))
        assert all(law.paper_words(paper.kind) for paper in rules.papers if paper.kind)


@pytest.mark.parametrize(
    ("code", "items"),
    [
        ("us-ca", {"crematory_licence_number", "identification_number"}),  # 8344
        ("us-wa", {"crematory_name", "identification_number"}),  # 308-47-020
    ],
)
def test_a_disc_with_a_number_alone_is_not_enough(code: str, items: set[str]) -> None:
    assert set(law.jurisdiction(code).disc.items) == items


def test_oregon_asks_no_disc_for_a_death_outside_the_state() -> None:
    disc = law.jurisdiction("us-or").disc
    assert (disc.is_required, disc.exempt) == (True, ("death_outside_state",))  # 830-030-0030


def test_minnesota_repeats_the_number_on_a_second_container() -> None:
    assert law.jurisdiction("us-mn").disc.repeated_on_second_container


@pytest.mark.parametrize("code", ["us-mt", "us-fl", "us-md"])
def test_one_consent_of_two_is_not_enough(code: str) -> None:
    assert law.jurisdiction(code).one_body.rule in ("consent_of_all", "consent_of_each")


def test_the_tag_lies_where_the_text_says() -> None:
    where = {code: law.jurisdiction(code).disc.during_cremation for code in law.codes()}
    told = {code: place for code, place in where.items() if place}
    assert told == {
        "us-mt": "outside",  # ARM, 2014
        "us-sc": "outside_allowed",  # 57-14.1
        "us-fl": "inside",  # 69K-22.007(2)
        "us-wa": "inside",  # 308-47-040
    }


def test_south_dakota_lets_only_named_persons_in() -> None:
    presence = law.jurisdiction("us-sd").presence  # 34-26A-12.1(4)
    assert presence.allowed == ("employees", "form_signer", "director_invitee")
    assert presence.unless_form_says


def test_ontario_waits_two_years_for_a_radioactive_implant() -> None:
    rules = law.jurisdiction("ca-on")  # O. Reg. 412/19
    assert (rules.radioactive.wait_years, rules.radioactive.sooner_if_safe) == (2, True)
    assert (rules.devices.rule, rules.devices.devices) == ("none_in_place", ("pacemaker",))


def test_in_new_york_the_agents_word_on_batteries_is_not_enough() -> None:
    rules = law.jurisdiction("us-ny")  # PHL 4202
    assert rules.devices.asserted_by == ("physician_coroner_or_medical_examiner",)
    assert "battery_statement" in [paper.kind for paper in rules.documents]


def test_virginia_asks_permission_and_identification() -> None:
    rules = law.jurisdiction("us-va")  # 54.1-2818.1
    assert rules.clearance_rule == "always"
    assert "identification" in [paper.kind for paper in rules.documents]


def test_a_typed_name_signs_in_england_and_not_in_scotland() -> None:
    assert "electronic" in law.jurisdiction("gb-ew").signatures.kinds  # reg. 14(1A)
    assert "electronic" not in law.jurisdiction("gb-sct").signatures.kinds  # SSI 2019/36 reg. 1(4)


def test_california_inters_what_florida_counts_by_the_hour() -> None:
    counting = {code: law.jurisdiction(code).unclaimed[0].counting for code in ("us-fl", "us-ca")}
    assert counting == {"us-fl": "time", "us-ca": "day"}


def chamber(code: str, applies: str) -> Decimal:
    """The least temperature in the unit of the text."""
    rules = law.jurisdiction(code).secondary_chambers
    rule = next(rule for rule in rules if rule.applies == applies)
    assert rule.is_enforced
    return Decimal(rule.min_f or rule.min_c or "NaN")


def test_new_york_takes_the_mean_of_an_hour() -> None:
    mean = (20 * Decimal(1590) + 40 * Decimal(1620)) / 60
    assert mean == 1610
    assert mean >= chamber("us-ny", "always")  # 219-4.4
    assert law.jurisdiction("us-ny").secondary_chambers[0].averaging_min == 60
    assert (30 * Decimal(1500) + 30 * Decimal(1700)) / 60 >= chamber("us-ny", "always")


def test_the_united_kingdom_asks_less_where_mercury_is_abated() -> None:
    for code in ("gb-ew", "gb-sct"):
        assert chamber(code, "mercury_abated") <= 820 < chamber(code, "not_mercury_abated")


def test_oregon_has_two_classes_by_date_of_installation() -> None:
    after, before = law.jurisdiction("us-or").secondary_chambers  # 340-230-0210(1)
    assert (after.min_f, after.charge_min_f, after.residence_s) == ("1800", "1400", "0.5")
    assert (before.min_f, before.charge_min_f, before.residence_s) == ("1600", "1200", "0.5")


def test_871_degrees_celsius_miss_a_minimum_of_1600_fahrenheit() -> None:
    least = chamber("us-pa", "always")
    assert convert(Decimal("871.0"), "degC", "degF") < least
    assert convert(Decimal("871.12"), "degC", "degF") > least


def test_a_chamber_from_memory_is_not_held_to() -> None:
    rule = law.jurisdiction("us-fl").secondary_chambers[0]
    assert (rule.min_f, rule.is_enforced) == ("1600", False)


def test_florida_orders_the_recovery() -> None:
    assert law.jurisdiction("us-fl").recovery.steps == (  # 69K-22.007(2)(a)-(g)
        "cooled",
        "clean_tray_in_position",
        "documents_to_tray",
        "swept_clean",
        "tag_to_tray",
        "tools_checked",
        "all_to_cool_down_area",
    )


def test_no_two_jurisdictions_can_share_one_default() -> None:
    rules = [law.jurisdiction(code) for code in law.codes()]
    kept = {r.years or "permanent" for j in rules for r in j.retentions if r.is_enforced}
    limits = {h.max_f for j in rules for h in j.holdings if h.max_f}
    children = {rank.quorum for j in rules for rank in j.ranks if rank.key == "child"}
    assert {2, 3, 5, 7, 10, "permanent"} <= kept
    assert {"36", "40", "48", "50"} <= limits
    assert len(children) > 3
