"""The recipient is the one whom the authorization names, however the identification writes it."""

import pytest

from cases.models import Case
from tests import cast


@pytest.mark.django_db
@pytest.mark.parametrize("typed", ["RECIPIENT, Rita", "rita recipient"])
def test_the_receipt_names_them_as_the_authorization_does(case: Case, typed: str) -> None:
    cast.bring(case, "contained")
    cast.do("release", case, recipient_name=typed)
    assert case.release.recipient_name == "Rita Recipient"
