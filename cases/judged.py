"""The rules under which a case was judged: kept once a digest, and named by its entries."""

from datetime import datetime
from typing import Any

from cases.models import Case, RulesVersion

# Steps whose entries name the rules, and after which the case keeps them.
JUDGED = ("authorize", "charge", "return_uncremated")


def keep(case: Case, now: datetime) -> RulesVersion:
    """Return the kept version of the rules by which the case is judged now; kept once a digest."""
    rules = case.law
    version, _ = RulesVersion.objects.get_or_create(
        facility=case.facility,
        digest=rules.digest,
        defaults={"code": rules.code, "text": rules.canonical(), "kept_at": now},
    )
    return version


def judged_facts(case: Case) -> dict[str, Any]:
    """Return what the entry of a judging step says of the rules: their digest and text date."""
    return {
        "jurisdiction": case.law.code,
        "judged_under": case.law.digest,
        "text_of": case.law.text_date.isoformat(),
    }
