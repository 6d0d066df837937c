"""A charge that is dated back is covered by certificate and permit on both days."""

from datetime import timedelta

import pytest

from cases.errors import StepRefused
from cases.models import Case
from cases.taking import take
from chain_of_custody.models import CustodyEntry
from crematory import clock
from crematory.models import StaffMember
from retort_log.models import PermitToOperate
from tests import cast

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(("days", "is_refused"), [(-1, True), (0, True), (1, True), (2, False)])
@pytest.mark.parametrize("what", ["operator_certified", "retort_fit"])
def test_what_expires_between_the_days(case: Case, what: str, days: int, is_refused: bool) -> None:
    """The charge is recorded two days after it happened; what counts expires in between."""
    cast.bring(case, "tagged")
    happened = case.stage_since + timedelta(minutes=30)
    with clock.pinned(happened):
        cast.prepare("charge", case)
    expires = happened.date() + timedelta(days=days)
    if what == "operator_certified":
        operator = cast.member(case.facility, cast.OPERATOR)
        StaffMember.objects.filter(pk=operator.pk).update(certificate_expires_on=expires)
    else:
        PermitToOperate.objects.update(expires_on=expires)
    with clock.pinned(happened + timedelta(days=2)):
        facts = cast.facts_for("charge", case, happened_at=happened)
        signed = cast.signers("charge", case)
        if not is_refused:
            take("charge", case, facts, **signed, token=cast.token())
            return
        with pytest.raises(StepRefused) as caught:
            take("charge", case, facts, **signed, token=cast.token())
    assert caught.value.codes == [what]
    assert not CustodyEntry.objects.filter(case=case, act="charge", outcome="done").exists()
