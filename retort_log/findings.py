"""What a run's record shows beside the permit. Pure: plain values in, plain values out.

`findings` looks back and judges; `retort_log.early_warnings` looks ahead while the run goes on.
What the permit does not state is not judged and not invented. What it states and nobody recorded
is itself a finding, with a code that begins with "not_recorded".
"""

from retort_log import judged_gas, judged_heat, judged_run
from retort_log.finding import CHECK, Finding
from retort_log.permit_rules import PermitRules
from retort_log.run_record import RunRecord

__all__ = ["CHECK", "Finding", "RunRecord", "findings"]


def findings(record: RunRecord, rules: PermitRules) -> tuple[Finding, ...]:
    """Return all findings: breaches first, then what needs settling, then what is only told.

    Raises ReadingsError or a conversion error for a channel in a unit that measures something
    else.
    """
    found = [
        finding
        for part in (judged_heat, judged_gas, judged_run)
        for finding in part.judged(record, rules)
    ]
    return tuple(sorted(found, key=lambda one: (not one.is_breach, not one.needs_settling)))
