"""The triggers of this floor: readings are written once, a run only goes forward."""

from chain_of_custody.triggers import Trigger, never, register, register_append_only
from retort_log.models import Processing, Reading, Run

RUN = Run._meta.db_table


def register_all() -> None:
    """Register the triggers of the machines."""
    register_append_only(Reading)
    register(
        Trigger(
            "run_goes_forward",
            RUN,
            "UPDATE",
            "NEW.case_id <> OLD.case_id OR NEW.retort_id <> OLD.retort_id "
            "OR NEW.charged_at <> OLD.charged_at OR NEW.charge_mass_kg <> OLD.charge_mass_kg "
            "OR NEW.charge_temperature_c <> OLD.charge_temperature_c OR OLD.ended_at IS NOT NULL "
            "OR (OLD.burner_off_at IS NOT NULL AND "
            "(NEW.burner_off_at IS NULL OR NEW.burner_off_at <> OLD.burner_off_at))",
            "a run only goes forward",
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
