"""The triggers of this floor: readings and their corrections are written once, runs go forward."""

from chain_of_custody.triggers import Trigger, never, register, register_append_only
from retort_log.models import (
    FindingSettled,
    LoggerFile,
    Processing,
    Reading,
    ReadingBlock,
    ReadingCorrection,
    Run,
    RunEvent,
    UpkeepDone,
)

RUN, READING, CORRECTION, EVENT = (
    m._meta.db_table for m in (Run, Reading, ReadingCorrection, RunEvent)
)


def register_all() -> None:
    """Register the triggers of the machines."""
    register_append_only(
        Reading,
        ReadingCorrection,
        LoggerFile,
        ReadingBlock,
        RunEvent,
        FindingSettled,
        UpkeepDone,
    )
    register(
        Trigger(
            "correction_of_same_retort",
            CORRECTION,
            "INSERT",
            f"NOT EXISTS (SELECT 1 FROM {READING} r "
            "WHERE r.id = NEW.reading_id AND r.retort_id = NEW.retort_id)",
            "a correction names a reading of the same retort",
        ),
        Trigger(
            "correction_in_order",
            CORRECTION,
            "INSERT",
            f"NEW.ordinal <> COALESCE((SELECT MAX(c.ordinal) + 1 FROM {CORRECTION} c "
            "WHERE c.reading_id = NEW.reading_id), 1)",
            "corrections of a reading are numbered without a gap",
        ),
        Trigger(
            "run_goes_forward",
            RUN,
            "UPDATE",
            "NEW.case_id <> OLD.case_id OR NEW.retort_id <> OLD.retort_id "
            "OR COALESCE(NEW.charge_reading_id, 0) <> COALESCE(OLD.charge_reading_id, 0) "
            "OR NEW.charged_at <> OLD.charged_at OR NEW.charge_mass_kg <> OLD.charge_mass_kg "
            "OR NEW.charge_temperature_c <> OLD.charge_temperature_c OR OLD.ended_at IS NOT NULL "
            "OR (OLD.burner_off_at IS NOT NULL AND "
            "(NEW.burner_off_at IS NULL OR NEW.burner_off_at <> OLD.burner_off_at)) "
            "OR NEW.permit_terms <> OLD.permit_terms "
            "OR (OLD.series_sha256 <> '' AND NEW.series_sha256 <> OLD.series_sha256) "
            "OR (OLD.ended_by_fault AND NOT NEW.ended_by_fault)",
            "a run only goes forward",
        ),
        Trigger(
            "event_of_same_retort",
            EVENT,
            "INSERT",
            f"NEW.run_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM {RUN} r "
            "WHERE r.id = NEW.run_id AND r.retort_id = NEW.retort_id)",
            "an event names a run of the same retort",
        ),
        *never(Run, "DELETE", "TRUNCATE", message="a run is never deleted"),
        *never(
            Processing,
            "UPDATE",
            "DELETE",
            "TRUNCATE",
            message="a processing stays as it was recorded",
        ),
    )
