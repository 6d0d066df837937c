"""The triggers of holds: opened whole, never changed, lifted once and by what the kind demands."""

from cases.models import AuthorizingAgent, Document, Hold, HoldNotice, RightHolder
from chain_of_custody.triggers import Trigger

HOLD, NOTICE, DOCUMENT, HOLDER, WORD = (
    m._meta.db_table for m in (Hold, HoldNotice, Document, RightHolder, AuthorizingAgent)
)
KEPT = ("case_id", "kind", "raised_by", "ground", "opened_at", "opened_by_id")
KEPT_IF_ANY = ("holder_id", "document_id")
ON_PAPER = "('order', 'agreement', 'withdrawal')"
LIFTED_ON = ", ".join(f"'{way}'" for way in Hold.LiftedBy.values)


def _changed() -> str:
    """SQL: something of the hold changes that is written once."""
    kept = [f"NEW.{column} <> OLD.{column}" for column in KEPT]
    kept += [f"COALESCE(NEW.{c}, 0) <> COALESCE(OLD.{c}, 0)" for c in KEPT_IF_ANY]
    return " OR ".join(kept)


def _elsewhere(table: str, column: str) -> str:
    """SQL: the row that the hold names belongs to another case."""
    return (
        f"NEW.{column} IS NOT NULL AND NOT EXISTS "
        f"(SELECT 1 FROM {table} r WHERE r.id = NEW.{column} AND r.case_id = NEW.case_id)"
    )


def _unsettled() -> str:
    """SQL: the objector's word against the cremation, in whichever class, is not settled."""
    own = (
        f"SELECT h.id FROM {HOLDER} h JOIN {HOLDER} o ON o.id = NEW.holder_id "
        "AND h.case_id = o.case_id AND h.person = o.person"
    )
    # A withdrawal takes back what was signed before it was stated, even if signed at a later date.
    taken_back = (
        f"SELECT 1 FROM {WORD} e WHERE e.holder_id IN ({own}) AND e.position = 'signed' "
        "AND e.id < w.id AND e.said_at >= s.said_at"
    )
    over = (
        f"SELECT 1 FROM {WORD} s WHERE s.holder_id IN ({own}) AND ("
        "(s.position = 'settled' AND s.id > w.id) OR (s.position = 'signed' "
        "AND w.position = 'withdrawn' AND s.said_at > w.said_at "
        f"AND NOT EXISTS ({taken_back})))"
    )
    return (
        f"EXISTS (SELECT 1 FROM {WORD} w WHERE w.holder_id IN ({own}) "
        f"AND w.position IN ('objects', 'withdrawn') AND NOT EXISTS ({over}))"
    )


def hold_triggers() -> list[Trigger]:
    """Return what the database refuses of holds."""
    dispute = "OLD.lifted_at IS NULL AND NEW.lifted_at IS NOT NULL AND NEW.kind = 'dispute'"
    return [
        Trigger(
            "hold_begins",
            HOLD,
            "INSERT",
            "NEW.lifted_at IS NOT NULL OR NEW.lifted_on <> '' OR NEW.lift_document_id IS NOT NULL "
            "OR TRIM(NEW.ground) = '' OR (NEW.kind = 'dispute' AND TRIM(NEW.raised_by) = '') "
            f"OR ({_elsewhere(DOCUMENT, 'document_id')}) OR ({_elsewhere(HOLDER, 'holder_id')})",
            "a hold begins open, with its ground, and a dispute with who objects",
        ),
        Trigger(
            "hold_lifted_once",
            HOLD,
            "UPDATE",
            f"OLD.lifted_at IS NOT NULL OR {_changed()}",
            "a hold is only lifted, once",
        ),
        Trigger(
            "hold_lifted_by_a_way",
            HOLD,
            "UPDATE",
            "OLD.lifted_at IS NULL AND ((NEW.lifted_at IS NULL AND (NEW.lifted_on <> '' "
            "OR NEW.lift_document_id IS NOT NULL)) OR (NEW.lifted_at IS NOT NULL "
            f"AND (NEW.lifted_on NOT IN ({LIFTED_ON}) OR TRIM(NEW.lift_reason) = '')))",
            "a hold is lifted by one of the ways, with a reason",
        ),
        Trigger(
            "hold_lifted_on_paper",
            HOLD,
            "UPDATE",
            "OLD.lifted_at IS NULL AND "
            f"((NEW.lifted_on IN {ON_PAPER} AND NEW.lift_document_id IS NULL)"
            f" OR ({_elsewhere(DOCUMENT, 'lift_document_id')})"
            " OR NEW.lift_document_id = NEW.document_id)",
            "an order, an agreement or a withdrawal lifts a hold only with its own paper",
        ),
        Trigger(
            "hold_dispute_settled",
            HOLD,
            "UPDATE",
            f"{dispute} AND ((NEW.lifted_on = 'cleared' AND NEW.holder_id IS NULL)"
            f" OR (NEW.lifted_on <> 'cleared' AND {_unsettled()}))",
            "a dispute is lifted only when it is settled",
        ),
    ]
