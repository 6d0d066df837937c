"""What is written where the remains get a new disc: the disc could not be read, or not be found.

`IdDisc` is the disc that everything reads; its number changes once, here. The old number stays on
record in `DiscReplaced` and is given to nobody again.
"""

from typing import Any

from cases import scans
from cases.facts import RecoverFacts
from cases.models import Case, DiscReplaced, IdDisc
from chain_of_custody import uploads_in
from chain_of_custody.models import CustodyEntry, Paper, PaperSuperseded


def told(case: Case, facts: RecoverFacts) -> dict[str, Any]:
    """Return what the entry says beside what was stated: the old disc, and the photograph."""
    assert facts.photograph  # the gate has seen it
    return {
        "old_disc_number": case.disc.number,
        "photographs": [uploads_in.in_trail(facts.photograph.found)],
    }


def replace_disc(case: Case, facts: RecoverFacts, entry: CustodyEntry) -> None:
    """Write photograph and replacement, give the new number, and supersede the old papers."""
    assert facts.photograph  # the gates have seen these
    assert facts.acceptance
    assert entry.signed_by
    old = case.disc.number
    row = DiscReplaced(
        facility=case.facility,
        case=case,
        entry=entry,
        found=facts.disc_state,
        old_number=old,
        new_number=scans.disc(facts.disc_number),
        photograph=uploads_in.record(case, entry.signed_by, facts.photograph),
        accepted_by=facts.acceptance.member,
        reason=facts.acceptance_reason.strip(),
        replaced_at=entry.happened_at,
    )
    row.full_clean()
    row.save()
    # Discs are written once; the database lets this one change, and only to what the row says.
    IdDisc._base_manager.filter(case=case).update(
        number=row.new_number, assigned_at=row.replaced_at
    )
    printed = Paper.objects.filter(case=case, superseded__isnull=True, facts__disc_number=old)
    PaperSuperseded.objects.bulk_create(PaperSuperseded(paper=p, entry=entry) for p in printed)
