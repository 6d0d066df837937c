"""The triggers made from the table of steps: a stage moves only along it, with an entry."""

from cases.corrections import CORRECTABLE
from cases.hold_guards import hold_triggers
from cases.judged import JUDGED
from cases.law_guards import law_triggers
from cases.models import (
    AgreedTime,
    AuthorityReview,
    AuthorizingAgent,
    Case,
    Delivery,
    DeviceAnswer,
    DiscReplaced,
    Document,
    DocumentSheet,
    Hold,
    HolderFacts,
    HoldNotice,
    IdDisc,
    LawAnswer,
    PersonalThing,
    RankNamed,
    Recipient,
    Release,
    RemainsContainer,
    RightHolder,
    RulesVersion,
    ThingReturned,
    ThingsLookedFor,
    ThingsReceipt,
    WaitGround,
)
from cases.steps import BEFORE_CHARGE, STEPS, Step
from chain_of_custody.models import CustodyEntry, SealedValue, Upload
from chain_of_custody.triggers import Trigger, never, register, register_append_only
from crematory.models import Facility, StaffMember
from retort_log.models import Processing, Run

CASE, HOLD, ENTRY = (m._meta.db_table for m in (Case, Hold, CustodyEntry))
RUN, PROCESSING = (m._meta.db_table for m in (Run, Processing))
DELIVERY, DISC, CONTAINER, RELEASE, SEALED = (
    m._meta.db_table for m in (Delivery, IdDisc, RemainsContainer, Release, SealedValue)
)

DEVICE, THING, RETURNED, RECEIPT = (
    m._meta.db_table for m in (DeviceAnswer, PersonalThing, ThingReturned, ThingsReceipt)
)

RULES, FACILITY = RulesVersion._meta.db_table, Facility._meta.db_table

REPLACED, UPLOAD, STAFF = (m._meta.db_table for m in (DiscReplaced, Upload, StaffMember))

MOVED = "NEW.case_id <> OLD.case_id"

# The row that must stand when a stage is reached.
ROWS: dict[str, tuple[str, str]] = {
    "in_care": (DELIVERY, ""),
    "tagged": (DISC, ""),
    "in_retort": (RUN, " AND r.burner_off_at IS NULL"),
    "cooling": (RUN, " AND r.burner_off_at IS NOT NULL AND r.ended_at IS NULL"),
    "recovered": (RUN, " AND r.ended_at IS NOT NULL"),
    "processed": (PROCESSING, ""),
    "contained": (CONTAINER, ""),
    "released": (RELEASE, ""),
    "returned": (RELEASE, ""),
}


def _any(parts: list[str]) -> str:
    return "(" + " OR ".join(f"({part})" for part in parts) + ")"


def _moves() -> str:
    return _any(
        [
            f"OLD.stage = '{a}' AND NEW.stage = '{b}'"
            for step in STEPS.values()
            for a, b in step.moves()
        ]
    )


def _entry_of(step: Step) -> list[str]:
    witness = " AND NEW.witness_id IS NOT NULL" if step.witnessed else ""
    return [
        f"NEW.act = '{step.verb}' AND NEW.stage_from = '{a}' AND NEW.stage_to = '{b}'"
        f" AND NEW.signed_by_id IS NOT NULL{witness}"
        for a, b in step.moves()
    ]


def _row_lacks(stage: str, table: str, extra: str) -> str:
    return (
        f"NEW.stage = '{stage}' AND NOT EXISTS "
        f"(SELECT 1 FROM {table} r WHERE r.case_id = NEW.id{extra})"
    )


def _stage_triggers() -> list[Trigger]:
    entry = (
        f"EXISTS (SELECT 1 FROM {ENTRY} e WHERE e.id = NEW.stage_entry_id "
        "AND e.case_id = NEW.id AND e.outcome = 'done' "
        "AND e.stage_from = OLD.stage AND e.stage_to = NEW.stage)"
    )
    moves = "NEW.stage <> OLD.stage"
    rows = _any([_row_lacks(stage, *row) for stage, row in ROWS.items()])
    return [
        Trigger(
            "case_begins", CASE, "INSERT", "NEW.stage <> 'expected'", "a case begins as expected"
        ),
        Trigger(
            "stage_by_table",
            CASE,
            "UPDATE",
            f"{moves} AND NOT {_moves()}",
            "this stage does not follow the stage before",
        ),
        Trigger(
            "stage_by_entry",
            CASE,
            "UPDATE",
            f"{moves} AND NOT {entry}",
            "a stage moves only with its custody entry",
        ),
        Trigger(
            "stage_entry_stays",
            CASE,
            "UPDATE",
            "NEW.stage = OLD.stage AND "
            "COALESCE(NEW.stage_entry_id, 0) <> COALESCE(OLD.stage_entry_id, 0)",
            "the entry of a stage stays",
        ),
        Trigger(
            "stage_with_rows",
            CASE,
            "UPDATE",
            f"{moves} AND {rows}",
            "what this stage stands on is not recorded",
        ),
        Trigger(
            "case_identity",
            CASE,
            "UPDATE",
            "NEW.number <> OLD.number OR NEW.facility_id <> OLD.facility_id "
            "OR NEW.jurisdiction <> OLD.jurisdiction OR NEW.announced_at <> OLD.announced_at",
            "a case keeps its number, its facility and the law by which it is judged",
        ),
    ]


def _rules_triggers() -> list[Trigger]:
    """The rules of a case and of a house change only with the entry that says so."""
    judging = _any(
        [f"NEW.stage = '{STEPS[verb].stage_to}'" for verb in JUDGED],
    )
    named = (
        f"EXISTS (SELECT 1 FROM {ENTRY} e JOIN {RULES} v ON v.id = NEW.judged_under_id "
        "WHERE e.id = NEW.stage_entry_id AND v.facility_id = NEW.facility_id "
        "AND e.payload LIKE '%\"judged_under\":\"' || v.digest || '\"%')"
    )
    told = (
        f"EXISTS (SELECT 1 FROM {ENTRY} e WHERE e.facility_id = NEW.id "
        "AND e.act = 'house_rules' AND e.outcome = 'done' AND e.sequence = "
        f"(SELECT MAX(n.sequence) FROM {ENTRY} n WHERE n.facility_id = NEW.id))"
    )
    return [
        Trigger(
            "judged_at_its_step",
            CASE,
            "UPDATE",
            "COALESCE(NEW.judged_under_id, 0) <> COALESCE(OLD.judged_under_id, 0) "
            f"AND NOT (NEW.stage <> OLD.stage AND {judging} AND {named})",
            "the rules of a case are kept by the step that judges it, and by its entry",
        ),
        Trigger(
            "case_begins_unjudged",
            CASE,
            "INSERT",
            "NEW.judged_under_id IS NOT NULL",
            "a case begins as expected, and was not judged yet",
        ),
        Trigger(
            "house_rules_by_entry",
            FACILITY,
            "UPDATE",
            f"CAST(NEW.added_rules AS TEXT) <> CAST(OLD.added_rules AS TEXT) AND NOT {told}",
            "what a house asks beyond the law changes only with its entry",
        ),
    ]


def _entry_triggers() -> list[Trigger]:
    steps = _any([part for step in STEPS.values() for part in _entry_of(step)])
    verbs = ", ".join(f"'{verb}'" for verb in STEPS)
    return [
        Trigger(
            "entry_by_table",
            ENTRY,
            "INSERT",
            f"(NEW.stage_to <> '' OR NEW.stage_from <> '') AND NOT {steps}",
            "no step of the table moves this way",
        ),
        Trigger(
            "entry_moves_stage",
            ENTRY,
            "INSERT",
            f"NEW.act IN ({verbs}) AND NEW.outcome = 'done' AND NEW.stage_to = ''",
            "a step that is done moves the stage",
        ),
        Trigger(
            "entry_from_stage",
            ENTRY,
            "INSERT",
            "NEW.stage_to <> '' AND NEW.stage_from <> COALESCE("
            f"(SELECT c.stage FROM {CASE} c WHERE c.id = NEW.case_id "
            "AND c.facility_id = NEW.facility_id), '')",
            "the case is not at the stage that this step leaves",
        ),
        Trigger(
            "entry_no_hold",
            ENTRY,
            "INSERT",
            "NEW.stage_to <> '' AND EXISTS "
            f"(SELECT 1 FROM {HOLD} h WHERE h.case_id = NEW.case_id AND h.lifted_at IS NULL)",
            "the case is on hold",
        ),
    ]


def _uncorrected(field: str, case: str, says: str = "s.value = NEW.{0}", column: str = "") -> str:
    """SQL: the field changes, and the case's newest entry is not its correction to this value.

    `column` is one that belongs to the field and changes with it.
    """
    column = column or field
    return (
        f"COALESCE(CAST(NEW.{column} AS TEXT), '') <> COALESCE(CAST(OLD.{column} AS TEXT), '') "
        f"AND NOT EXISTS (SELECT 1 FROM {ENTRY} e "
        f"JOIN {SEALED} s ON s.entry_id = e.id AND s.key = 'new' "
        f"WHERE e.case_id = NEW.{case} AND e.act = 'correct' AND e.outcome = 'done' "
        f"AND e.sequence = (SELECT MAX(n.sequence) FROM {ENTRY} n WHERE n.case_id = NEW.{case}) "
        f'AND CASE WHEN e.payload LIKE \'%"field":"{field}"%\' '
        f"THEN {says.format(field)} ELSE 1=0 END)"
    )


# How the sealed new value reads where it is not the column's text. The two engines keep a truth
# value in different words, so that one is not compared.
SAYS = {
    "mass_kg": "CAST(s.value AS NUMERIC) = NEW.{0}",
    "born_on": "s.value = COALESCE(AS_DAY(NEW.{0}), '')",
    # A range or a day is sealed in words of its own.
    "died_at": (
        "CASE WHEN NEW.died_known_as = 'exact' THEN AS_MOMENT(s.value) = AS_MOMENT(NEW.died_at) "
        "ELSE 1=1 END"
    ),
    "discovered_at": "1=1",
    "is_embalmed": "1=1",
    "is_death_reportable": "1=1",
}
# What is settled on a page of its own until the charge, and from then on only corrected.
CHARGED = f"OLD.stage NOT IN ({', '.join(repr(stage) for stage in BEFORE_CHARGE)})"
# A time of death is a correction of all that says how it is known.
DEATH = ("died_at_latest", "died_known_as")


def _correction_triggers() -> list[Trigger]:
    """What was announced and received changes only with the entry that corrects it."""
    tables = {
        "case": (CASE, "id", "1=0", ""),
        "settled": (CASE, "id", "1=0", f" AND {CHARGED}"),
        "delivery": (DELIVERY, "case_id", MOVED, ""),
    }
    return [
        Trigger(
            f"{row}_by_correction",
            table,
            "UPDATE",
            _any(
                [
                    moved,
                    *(
                        _uncorrected(field, case, *([SAYS[field]] if field in SAYS else [])) + when
                        for field, rule in CORRECTABLE.items()
                        if rule.row == row
                    ),
                    *(
                        _uncorrected("died_at", case, SAYS["died_at"], column)
                        for column in DEATH
                        if row == "case"
                    ),
                ]
            ),
            "what was stated changes only with the entry that corrects it",
        )
        for row, (table, case, moved, when) in tables.items()
    ]


def _clearing_triggers() -> list[Trigger]:
    """No stage is reached past a device that is there, or past a thing to be given back."""
    newest = (
        f"SELECT 1 FROM {DEVICE} d WHERE d.case_id = NEW.id AND NOT EXISTS "
        f"(SELECT 1 FROM {DEVICE} n WHERE n.case_id = d.case_id AND n.device = d.device "
        "AND n.id > d.id)"
    )
    left = "d.answer = 'unknown' OR (d.answer = 'yes' AND d.outcome = ''"
    due = (
        f"SELECT 1 FROM {THING} t WHERE t.case_id = NEW.id AND t.wish = 'returned' "
        f"AND NOT EXISTS (SELECT 1 FROM {THING} n WHERE n.replaces_id = t.id) "
        f"AND NOT EXISTS (SELECT 1 FROM {RETURNED} r WHERE r.thing_id = t.id)"
    )
    return [
        Trigger(
            "stage_past_device",
            CASE,
            "UPDATE",
            "NEW.stage <> OLD.stage AND NEW.stage IN ('cleared', 'in_retort') "
            f"AND EXISTS ({newest} AND ({left} AND d.device <> 'radioactive')))",
            "a device is there, or it is not known",
        ),
        Trigger(
            "stage_past_thing",
            CASE,
            "UPDATE",
            f"NEW.stage <> OLD.stage AND NEW.stage IN ('released', 'returned') AND EXISTS ({due})",
            "a thing to be given back lies here",
        ),
        Trigger(
            "thing_to_be_returned",
            RETURNED,
            "INSERT",
            f"NOT EXISTS (SELECT 1 FROM {THING} t WHERE t.id = NEW.thing_id "
            "AND t.wish = 'returned') "
            f"OR EXISTS (SELECT 1 FROM {THING} n WHERE n.replaces_id = NEW.thing_id)",
            "this thing is not to be given back",
        ),
        Trigger(
            "thing_returned_on_receipt",
            RETURNED,
            "INSERT",
            f"NOT EXISTS (SELECT 1 FROM {RECEIPT} p JOIN {THING} t ON t.case_id = p.case_id "
            "WHERE p.id = NEW.receipt_id AND t.id = NEW.thing_id)",
            "a thing is given back on a receipt of its case",
        ),
        Trigger(
            "thing_of_one_case",
            THING,
            "INSERT",
            "NEW.replaces_id IS NOT NULL AND NOT EXISTS "
            f"(SELECT 1 FROM {THING} t WHERE t.id = NEW.replaces_id AND t.case_id = NEW.case_id)",
            "a thing replaces one of the same case",
        ),
    ]


def _disc_triggers() -> list[Trigger]:
    """A disc changes once: at the recovery, by three persons, to a number never given before."""
    recovered = (
        f"EXISTS (SELECT 1 FROM {ENTRY} e WHERE e.id = NEW.entry_id AND e.case_id = NEW.case_id "
        "AND e.act = 'recover' AND e.outcome = 'done' AND e.stage_to = 'recovered' "
        "AND e.signed_by_id <> NEW.accepted_by_id AND e.witness_id IS NOT NULL "
        "AND e.witness_id <> NEW.accepted_by_id)"
    )
    accepted = (
        f"EXISTS (SELECT 1 FROM {STAFF} m WHERE m.id = NEW.accepted_by_id "
        "AND m.is_manager AND m.facility_id = NEW.facility_id)"
    )
    own = (
        f"EXISTS (SELECT 1 FROM {DISC} d WHERE d.case_id = NEW.case_id "
        "AND d.facility_id = NEW.facility_id AND d.number = NEW.old_number)"
    )
    cooling = f"EXISTS (SELECT 1 FROM {CASE} c WHERE c.id = NEW.case_id AND c.stage = 'cooling')"
    seen = (
        f"EXISTS (SELECT 1 FROM {UPLOAD} u WHERE u.id = NEW.photograph_id "
        "AND u.case_id = NEW.case_id)"
    )
    given = (
        f"EXISTS (SELECT 1 FROM {DISC} d WHERE d.facility_id = NEW.facility_id "
        "AND d.number = NEW.new_number) "
        f"OR EXISTS (SELECT 1 FROM {REPLACED} r WHERE r.facility_id = NEW.facility_id "
        "AND r.old_number = NEW.new_number)"
    )
    by_row = (
        "NEW.id = OLD.id AND NEW.case_id = OLD.case_id AND NEW.facility_id = OLD.facility_id "
        "AND NEW.number <> OLD.number "
        f"AND EXISTS (SELECT 1 FROM {REPLACED} r WHERE r.case_id = OLD.case_id "
        "AND r.old_number = OLD.number AND r.new_number = NEW.number "
        "AND r.replaced_at = NEW.assigned_at)"
    )
    return [
        Trigger(
            "disc_replaced_at_recovery",
            REPLACED,
            "INSERT",
            f"NOT ({cooling} AND {recovered})",
            "a disc is replaced by the entry of its recovery, which two persons sign beside the "
            "manager",
        ),
        Trigger(
            "disc_replaced_accepted",
            REPLACED,
            "INSERT",
            f"NOT {accepted}",
            "a manager of the house accepts that a disc is replaced",
        ),
        Trigger(
            "disc_replaced_of_case",
            REPLACED,
            "INSERT",
            f"NOT ({own} AND {seen})",
            "a replaced disc and its photograph are of this case",
        ),
        Trigger(
            "disc_replaced_by_unused",
            REPLACED,
            "INSERT",
            given,
            "a disc number is given once",
        ),
        Trigger(
            "disc_never_given_again",
            DISC,
            "INSERT",
            f"EXISTS (SELECT 1 FROM {REPLACED} r WHERE r.facility_id = NEW.facility_id "
            "AND r.old_number = NEW.number)",
            "a disc number is given once",
        ),
        Trigger(
            "disc_changes_by_replacement",
            DISC,
            "UPDATE",
            f"NOT ({by_row})",
            "id disc rows are written once, but for a disc replaced at the recovery",
        ),
        Trigger(
            "recovered_with_new_disc",
            CASE,
            "UPDATE",
            "NEW.stage <> OLD.stage AND NEW.stage = 'recovered' AND EXISTS "
            f"(SELECT 1 FROM {REPLACED} r WHERE r.case_id = NEW.id AND NOT EXISTS "
            f"(SELECT 1 FROM {DISC} d WHERE d.case_id = NEW.id AND d.number = r.new_number))",
            "the remains do not have the new disc",
        ),
    ]


def register_all() -> None:
    """Register the triggers of the path."""
    register_append_only(
        DiscReplaced,
        RulesVersion,
        RightHolder,
        HolderFacts,
        RankNamed,
        AuthorizingAgent,
        AuthorityReview,
        HoldNotice,
        PersonalThing,
        ThingReturned,
        ThingsLookedFor,
        ThingsReceipt,
        DocumentSheet,
        WaitGround,
        LawAnswer,
        AgreedTime,
    )
    register(
        *_stage_triggers(),
        *_rules_triggers(),
        *_entry_triggers(),
        *hold_triggers(),
        *law_triggers(),
        *never(Case, "DELETE", "TRUNCATE", message="a case is never deleted"),
        *never(Hold, "DELETE", "TRUNCATE", message="a hold is never deleted"),
        # What a gate was shown stays as it was stated: a change of mind is a new row.
        *[
            trigger
            for model in (Document, Recipient, DeviceAnswer)
            for trigger in never(
                model, "UPDATE", "DELETE", "TRUNCATE", message="a statement stays as it was made"
            )
        ],
        *_correction_triggers(),
        *_clearing_triggers(),
        *_disc_triggers(),
        *never(IdDisc, "DELETE", "TRUNCATE", message="a disc is never deleted"),
        *never(Delivery, "DELETE", "TRUNCATE", message="a delivery is never deleted"),
        *never(
            RemainsContainer,
            "UPDATE",
            "DELETE",
            "TRUNCATE",
            message="a container stays as it was recorded",
        ),
        *never(
            Release,
            "UPDATE",
            "DELETE",
            "TRUNCATE",
            message="a release stays as it was signed",
        ),
    )
