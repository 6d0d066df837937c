"""The triggers of this floor: the trail is append-only, a stay in a place ends once."""

from chain_of_custody.models import (
    CustodyEntry,
    Log,
    Paper,
    PaperSuperseded,
    Placement,
    SealedValue,
    Upload,
    UploadSetAside,
)
from chain_of_custody.triggers import Trigger, never, register, register_append_only

ENTRY, LOG, PLACEMENT = (m._meta.db_table for m in (CustodyEntry, Log, Placement))


def register_all() -> None:
    """Register the triggers of the trail."""
    register_append_only(CustodyEntry, SealedValue, Paper, PaperSuperseded, Upload, UploadSetAside)
    register(
        Trigger(
            "entry_sequence",
            ENTRY,
            "INSERT",
            f"NEW.sequence <> COALESCE((SELECT MAX(e.sequence) + 1 FROM {ENTRY} e "
            "WHERE e.facility_id = NEW.facility_id), 0)",
            "entries are numbered without a gap",
        ),
        Trigger(
            "log_grows",
            LOG,
            "UPDATE",
            "NEW.size <> OLD.size + 1 OR NEW.facility_id <> OLD.facility_id",
            "a log grows by one entry at a time",
        ),
        Trigger(
            "placement_ends_once",
            PLACEMENT,
            "UPDATE",
            "OLD.until IS NOT NULL OR NEW.place_id <> OLD.place_id "
            "OR NEW.case_id <> OLD.case_id OR NEW.since <> OLD.since",
            "a stay in a place is only ended, once",
        ),
        *never(Log, "DELETE", "TRUNCATE", message="a log is never deleted"),
        *never(Placement, "DELETE", "TRUNCATE", message="a stay in a place is never deleted"),
    )
