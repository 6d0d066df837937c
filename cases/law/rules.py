"""The rules before the charge: time, papers, right, holding, identity, devices, container.

One frozen class a table of the files. A field says what it may hold (`cases.law.fields`).
"""

from dataclasses import dataclass

from cases.authority import Rank
from cases.law.base import Rule
from cases.law.fields import flag, measure, whole, word, words
from cases.law.words import BY, CONDITIONS, GROUNDS, ITEMS, PAPERS


@dataclass(frozen=True, kw_only=True)
class Waiver(Rule):
    """What shortens or lifts the waiting period: the ground, the papers, who gives them."""

    ground: str = word(*GROUNDS, needed=True)
    needs: tuple[str, ...] = words(*PAPERS)
    by: str | None = word(*BY)


@dataclass(frozen=True, kw_only=True)
class Wait(Rule):
    """Hours (elapsed) between death and cremation."""

    hours: int | None = whole(1, 336, needed=True)
    starts: str | None = word("death", "death_or_discovery", "certificate", needed=True, key="from")
    certificate_must_be_final: bool | None = flag()
    waivers: tuple[Waiver, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Clearance(Rule):
    """Whether a coroner, medical examiner or referee must clear the cremation."""

    rule: str | None = word("always", "listed", "reportable", needed=True)
    by: str | None = word(*BY)
    oral_confirmed_within_hours: int | None = whole(1, 240)


@dataclass(frozen=True, kw_only=True)
class Authority(Rule):
    """Who may authorize, highest rank first. `is_complete`: the list was read to its end."""

    is_complete: bool | None = flag()
    minimum_age: int | None = whole(14, 25)
    delegation: str | None = word("written")
    dd93_overrides: bool | None = flag()
    first_member_suffices: bool | None = flag()
    others_told_in_writing: bool | None = flag()
    lapse_days_after_notice: int | None = whole(1, 60)
    lapse_days_after_death: int | None = whole(1, 60)
    ranks: tuple[Rank, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Paper(Rule):
    """A paper that must be at hand `before` a step; `alternatives` do instead of it.

    `condition`: the law asks for it only where this question is answered with yes.
    """

    kind: str = word(*PAPERS, needed=True)
    before: str | None = word("receive", "authorize", "charge", "after", needed=True)
    alternatives: tuple[str, ...] = words(*PAPERS)
    condition: str | None = word(*CONDITIONS)


@dataclass(frozen=True, kw_only=True)
class Holding(Rule):
    """After how many hours an un-embalmed body must be cooled, and to what temperature.

    A limit is kept in the unit of the text: a rule in °F is tested in °F.
    """

    after_hours: int | None = whole(0, 240)
    starts: str | None = word("death", "custody", "death_or_release", key="from")
    min_f: str | None = measure("20", "60")
    max_f: str | None = measure("20", "60")
    max_c: str | None = measure("-10", "15")
    is_about: bool | None = flag()
    unless: tuple[str, ...] = words("embalmed", "seep_proof_container", "dry_ice")
    unless_charged_within_hours: int | None = whole(1, 240)


@dataclass(frozen=True, kw_only=True)
class HoldingLimit(Rule):
    """An outer limit of a holding or of a time out of the cooler."""

    what: str = word(
        "cremate", "explain_delay", "cool_or_dispose", "dispose", "refrigerated", "dry_ice",
        "out_of_cooler", "retained_overnight", needed=True,
    )  # fmt: skip
    within_hours: int | None = whole(1, 2000)
    within_days: int | None = whole(1, 400)
    starts: str | None = word(
        "death", "custody", "acceptance", "agreed_time", "committal", key="from"
    )
    force: str | None = word("must", "best_efforts", "trade_code")
    unless: tuple[str, ...] = words(
        "emergency", "good_cause", "coroner_agrees_in_writing", "applicant_consents_in_writing",
        "refrigerated", "embalmed",
    )  # fmt: skip
    only_for: str | None = word("religious_custom")


@dataclass(frozen=True, kw_only=True)
class HoldingArea(Rule):
    """What the place must be where persons wait."""

    demands: tuple[str, ...] = words(
        "secure", "marked", "authorized_only", "adjacent", "in_container", needed=True
    )


@dataclass(frozen=True, kw_only=True)
class Identification(Rule):
    """How a person is known from the door to the release."""

    demands: tuple[str, ...] = words(
        "none_unidentified", "verified_before_acceptance", "verified_before_charging",
        "exterior_label", "label_near_control_panel", "papers_near_control_panel",
        "number_on_all_paperwork", "with_the_remains_always", "tracked_to_release",
        "written_procedure", "positive_identification", "papers_compared_by_sight",
        "permit_is_proof", "doubt_stops", "unique_number",
    )  # fmt: skip
    procedure_within_working_days: int | None = whole(1, 90)
    unidentified_not_before_days: int | None = whole(1, 365)
    label_items: tuple[str, ...] = words(*ITEMS)
    methods: tuple[str, ...] = words(
        "next_of_kin_or_representative", "any_able_adult", "law_enforcement_by_court_order",
        "other_positive_means", "coroner", "care_facility",
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Disc(Rule):
    """The disc or tag that stays with the remains."""

    is_required: bool | None = flag()
    items: tuple[str, ...] = words(*ITEMS)
    during_cremation: str | None = word("inside", "outside", "outside_allowed")
    exempt: tuple[str, ...] = words("keepsake_urn", "death_outside_state")
    repeated_on_second_container: bool | None = flag()


@dataclass(frozen=True, kw_only=True)
class ContainerRule(Rule):
    """What a cremation container must be, and whether it is cremated with the person."""

    tests: tuple[str, ...] = words(
        "combustible", "consumable", "closable", "leak_resistant", "impermeable", "rigid",
        "rigid_on_all_sides", "protects_staff", "name_affixed", "not_metal", "sealed_lid",
        "individual", "stackable", "closed",
    )  # fmt: skip
    forbidden: tuple[str, ...] = words(
        "non_flammable", "hazardous", "chlorinated_plastic", "fibre_reinforced_plastic"
    )
    cremated_with_body: str | None = word("always", "unless_in_writing")
    casket_may_be_demanded: bool | None = flag()
    varnished_cold_hours: int | None = whole(1, 48)


@dataclass(frozen=True, kw_only=True)
class Devices(Rule):
    """What the law asks about pacemakers and other implants."""

    rule: str | None = word(
        "none_in_place", "actual_knowledge", "not_knowingly", "statement", "removed_if_required",
        needed=True,
    )  # fmt: skip
    devices: tuple[str, ...] = words(
        "pacemaker", "defibrillator", "hazardous_implant", "any_implant", "battery", "radioactive"
    )
    asserted_by: tuple[str, ...] = words(*BY)
    removed_by: tuple[str, ...] = words(*BY)
    removal_seen_to_by: tuple[str, ...] = words(*BY)
    removed_before: str | None = word("delivery")
    unknown_is_an_answer: bool | None = flag()
    leadless_may_stay: bool | None = flag()


@dataclass(frozen=True, kw_only=True)
class Radioactive(Rule):
    """What the law asks where a radioactive implant or substance is in the body."""

    rule: str | None = word("hazardous_implant", "on_form", "wait", "written_advice", needed=True)
    by: str | None = word(*BY)
    wait_years: int | None = whole(1, 10)
    sooner_if_safe: bool | None = flag()


@dataclass(frozen=True, kw_only=True)
class OneBody(Rule):
    """Whether more than one body may be in a retort at once."""

    rule: str | None = word(
        "never", "consent_of_each", "consent_of_all", "written_permission",
        "permission_after_disclosure", "unless_form_says", "authority_approves",
    )  # fmt: skip
    exceptions: tuple[str, ...] = words(
        "separating_equipment", "body_parts", "mother_and_baby", "twins", "pregnancy_losses"
    )
    human_only: bool | None = flag()
    next_after_clearing: bool | None = flag()
