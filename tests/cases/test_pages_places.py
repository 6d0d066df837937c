"""Places: who is where, and what is free."""

import pytest
from django.test import Client
from django.urls import reverse

from cases.models import Case
from tests import cast
from tests.cases.pages import text_of

pytestmark = pytest.mark.django_db


class TestPlaces:
    def test_who_is_where_and_what_is_free(self, as_clerk: Client, case: Case) -> None:
        cast.bring(case, "in_care")
        page = text_of(as_clerk, reverse("places"))
        assert "Ada Example" in page
        assert "2 of 3 free" in page
