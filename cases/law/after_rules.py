"""The rules of writing and of what follows the charge: receipts, records, release, temperature."""

from collections.abc import Collection
from dataclasses import dataclass

from cases.law.base import Rule
from cases.law.fields import flag, measure, whole, word, words
from cases.law.words import ITEMS, PAPERS, WITHOUT_FORM, WITHOUT_FORM_PAPERS


@dataclass(frozen=True, kw_only=True)
class ItemList(Rule):
    """What a paper or record must contain. `is_complete`: the text was read to its end."""

    items: tuple[str, ...] = words(*ITEMS)
    is_complete: bool | None = flag()

    def missing(self, present: Collection[str]) -> tuple[str, ...]:
        """Return the keys of the items that are not `present`, in the order of the text."""
        return tuple(item for item in self.items if item not in present)


@dataclass(frozen=True, kw_only=True)
class Receipt(ItemList):
    """What a receipt must contain, and how many must sign it."""

    signatures: int | None = whole(0, 2)
    copy_kept: bool | None = flag()


@dataclass(frozen=True, kw_only=True)
class Record(ItemList):
    """What the record, log or register of a cremation must contain."""


@dataclass(frozen=True, kw_only=True)
class Form(ItemList):
    """What the authorization form must contain."""

    max_sheets: int | None = whole(1, 20)
    must_not_be_altered: bool | None = flag()


@dataclass(frozen=True, kw_only=True)
class Certificate(Rule):
    """Whether a certificate of cremation is due."""

    is_required: bool | None = flag(needed=True)
    goes_with_remains: bool | None = flag()


@dataclass(frozen=True, kw_only=True)
class Retention(Rule):
    """How long what is kept: permanently, or years from an event.

    `counting` "calendar": the text speaks of calendar years, so that the last one runs to its end.
    """

    what: str = word(
        "record", "register", "receipt", "form", "contract", "cremation_file", "on_premises",
        "crematory_disposed", "acknowledgement", "application", needed=True,
    )  # fmt: skip
    rule: str | None = word("permanent", "years", needed=True)
    years: int | None = whole(1, 100)
    starts: str | None = word("cremation", "release", key="from")
    counting: str | None = word("calendar")


@dataclass(frozen=True, kw_only=True)
class Unclaimed(Rule):
    """A step with remains that nobody claims: what may (or must) follow after how long.

    `earliest`: "on_day" is allowed on day N; "after_day" when day N has ended; "by_day" is a
    duty that ends with day N. `counting` "time": by the clock time of the event.
    """

    then: str = word(
        "deliver", "deliver_to_director", "release_to_family", "return_to_deliverer", "dispose",
        "place_recoverably", "place_for_good", "inter", "begin_contact", "give_notice", needed=True,
    )  # fmt: skip
    days: int | None = whole(1, 3650)
    years: int | None = whole(1, 10)
    starts: str | None = word(
        "cremation", "possession", "contact", "inurnment", "mailing", "notice", "earlier_step",
        key="from",
    )  # fmt: skip
    counting: str | None = word("day", "time")
    earliest: str | None = word("on_day", "after_day", "by_day")
    notice: str | None = word("certified_mail", "registered_mail", "written", "clear_prior")
    demands: tuple[str, ...] = words(
        "record", "permanent_record", "veteran_check", "form_silent", "warn_of_loss",
        "location_and_cost",
    )  # fmt: skip
    transfer_record_items: tuple[str, ...] = words(*ITEMS)


@dataclass(frozen=True, kw_only=True)
class Particle(Rule):
    """How fine processed remains must be."""

    rule: str | None = word("unidentifiable", "max", needed=True)
    max_mm: str | None = measure("0.1", "20")
    applies: str | None = word("as_necessary", "before_scattering")


@dataclass(frozen=True, kw_only=True)
class Release(Rule):
    """How remains leave the house."""

    ship_within_days: int | None = whole(1, 400)
    methods: tuple[str, ...] = words("in_person", "registered_mail", "tracked_signed")
    goes_along: tuple[str, ...] = words("certificate", *PAPERS)
    return_card_kept: bool | None = flag()
    ship_label_items: tuple[str, ...] = words(*ITEMS)


@dataclass(frozen=True, kw_only=True)
class SecondaryChamber(Rule):
    """The secondary chamber's least temperature, in the unit of the text.

    `averaging_min` None: the text names no average. `is_exclusive`: the value itself fails.
    """

    applies: str = word(
        "always", "installed_from_1993_03_13", "installed_before_1993_03_13",
        "mercury_abated", "not_mercury_abated", needed=True,
    )  # fmt: skip
    min_f: str | None = measure("1000", "2200")
    min_c: str | None = measure("500", "1200")
    is_exclusive: bool | None = flag()
    averaging_min: int | None = whole(1, 240)
    residence_s: str | None = measure("0.1", "10")
    charge_min_f: str | None = measure("1000", "2200")
    charge_min_c: str | None = measure("500", "1200")
    continuous_record: bool | None = flag()


@dataclass(frozen=True, kw_only=True)
class Dispute(Rule):
    """What a crematory does while persons disagree."""

    rule: str | None = word("may_refuse", "must_refuse", "court_decides", needed=True)
    until: tuple[str, ...] = words("court_order", "settlement")
    court: str | None = word("district", "probate")
    court_days: int | None = whole(1, 365)


@dataclass(frozen=True, kw_only=True)
class Presence(Rule):
    """Who may be present, and who runs the machines."""

    allowed: tuple[str, ...] = words(
        "employees", "form_signer", "director_invitee", "authorizing_agent", "approved_delegate",
        "immediate_family", "right_holder", "authorized_staff",
    )  # fmt: skip
    unless_form_says: bool | None = flag()
    demands: tuple[str, ...] = words(
        "certified_operator", "director_supervises", "family_apart_or_supervised",
        "ceremony_room_apart", "no_viewing_unless_mortuary",
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Notice(Rule):
    """A notice that is due to an authority."""

    of: str = word(
        "cremation", "overlong_holding", "late_disposition", "operator_change", needed=True
    )
    to: str | None = word("registrar", "board", needed=True)
    within_hours: int | None = whole(1, 2000)
    within_days: int | None = whole(1, 365)
    starts: str | None = word("cremation", "possession", "disposition", "change", key="from")


@dataclass(frozen=True, kw_only=True)
class Signatures(Rule):
    """Which signatures the authorization may carry."""

    kinds: tuple[str, ...] = words(
        "paper", "electronic", "photocopied", "facsimile", "digital_ink", "image_of_handwritten",
        needed=True,
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Revocation(Rule):
    """Who may take an authorization back, and how."""

    rule: str | None = word("before_cremation_in_writing", "by_decedent_in_writing", needed=True)


@dataclass(frozen=True, kw_only=True)
class WithoutForm(Rule):
    """What must stand together when no authorization form is signed."""

    needs: tuple[str, ...] = words(*WITHOUT_FORM_PAPERS, *WITHOUT_FORM, needed=True)


@dataclass(frozen=True, kw_only=True)
class Recovery(Rule):
    """The order of work between burner off and the cool-down area."""

    steps: tuple[str, ...] = words(
        "cooled", "clean_tray_in_position", "documents_to_tray", "swept_clean", "tag_to_tray",
        "tools_checked", "all_to_cool_down_area", needed=True,
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Packaging(Rule):
    """Residue, sharing of containers, and what does not fit."""

    residue_is_no_breach: bool | None = flag()
    sharing: str | None = word("written_permission")
    second_container: bool | None = flag()


@dataclass(frozen=True, kw_only=True)
class Belongings(Rule):
    """What may be taken from the body or kept apart; metals after the cremation."""

    rule: str | None = word(
        "written_consent", "nothing_removed_unless_form_says", "told_first", needed=True
    )
