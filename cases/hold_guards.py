"""The triggers of holds: opened whole, never changed, lifted once and by what the kind demands."""

from cases import settling
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


OWN = (
    f"SELECT h.id FROM {HOLDER} h JOIN {HOLDER} o ON o.id = NEW.holder_id "
    "AND h.case_id = o.case_id AND h.person = o.person"
)
AGAINST = f"w.holder_id IN ({OWN}) AND w.position IN ('objects', 'withdrawn')"


def _unsettled(but: str = "1=0") -> str:
    """SQL: the objector's word against the cremation, in whichever class, is not settled.

    `but` says which settling `s` is left out.
    """
    # A withdrawal takes back what was signed before it was stated, even if signed at a later date.
    taken_back = (
        f"SELECT 1 FROM {WORD} e WHERE e.holder_id IN ({OWN}) AND e.position = 'signed' "
        "AND e.id < w.id AND e.said_at >= s.said_at"
    )
    over = (
        f"SELECT 1 FROM {WORD} s WHERE s.holder_id IN ({OWN}) AND ("
        f"(s.position = 'settled' AND s.id > w.id AND NOT ({but})) OR (s.position = 'signed' "
        "AND w.position = 'withdrawn' AND s.said_at > w.said_at "
        f"AND NOT EXISTS ({taken_back})))"
    )
    return f"EXISTS (SELECT 1 FROM {WORD} w WHERE {AGAINST} AND NOT EXISTS ({over}))"


def _paper_unfit() -> str:
    """SQL: the paper of the lifting would be refused by `settling`, or by its way."""
    versions = (
        "WITH RECURSIVE v(id, replaces_id, filed_at) AS ("
        f"SELECT d.id, d.replaces_id, d.filed_at FROM {DOCUMENT} d "
        "WHERE d.id = NEW.lift_document_id UNION ALL "
        f"SELECT d.id, d.replaces_id, d.filed_at FROM {DOCUMENT} d JOIN v ON d.id = v.replaces_id)"
    )
    against = (
        f"SELECT w.document_id FROM {WORD} w WHERE w.case_id = NEW.case_id "
        "AND w.position IN ('objects', 'withdrawn') UNION "
        f"SELECT g.document_id FROM {HOLD} g WHERE g.case_id = NEW.case_id AND g.kind = 'dispute'"
    )
    kinds = ", ".join(f"'{kind}'" for kind in sorted(settling.KINDS))
    kind = f"(SELECT d.kind FROM {DOCUMENT} d WHERE d.id = NEW.lift_document_id)"
    # What this very paper settled, in the act that lifts the hold or before, was said before it.
    stood = _unsettled(but="s.document_id = NEW.lift_document_id")
    last = f"(SELECT MAX(w.stated_at) FROM {WORD} w WHERE {AGAINST})"
    early = (
        f"EXISTS ({versions} SELECT 1 FROM v WHERE v.replaces_id IS NULL AND "
        f"(v.filed_at < NEW.opened_at OR ({stood} AND v.filed_at < {last})))"
    )
    is_of_them = f"EXISTS ({versions} SELECT 1 FROM v WHERE v.id IN ({against}))"
    return (
        f"EXISTS (SELECT 1 FROM {DOCUMENT} d WHERE d.replaces_id = NEW.lift_document_id) "
        f"OR (NEW.lifted_on = 'order' AND {kind} <> 'court_order') "
        f"OR (NEW.kind = 'dispute' AND ({kind} NOT IN ({kinds}) OR {is_of_them} OR {early}))"
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
            "hold_lifted_on_fit_paper",
            HOLD,
            "UPDATE",
            "OLD.lifted_at IS NULL AND NEW.lifted_at IS NOT NULL "
            f"AND NEW.lift_document_id IS NOT NULL AND ({_paper_unfit()})",
            "the paper does not lift this hold",
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
