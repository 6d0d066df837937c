"""Signing in and out."""

import pytest
from django.test import Client
from django.urls import reverse

from crematory.models import StaffMember
from retort_log.models import Retort
from tests import cast

pytestmark = pytest.mark.django_db


class TestSigningIn:
    def test_code_is_taken_in_any_case(self, client: Client, clerk: StaffMember) -> None:
        sent = {"username": " qvc1 ", "password": cast.PASSWORD}
        response = client.post(reverse("login"), sent)
        assert response.headers["Location"] == reverse("today")

    def test_inactive_member_is_refused(self, client: Client, clerk: StaffMember) -> None:
        StaffMember.objects.filter(pk=clerk.pk).update(is_active=False)
        sent = {"username": "QVC1", "password": cast.PASSWORD}
        assert "do not match" in client.post(reverse("login"), sent).content.decode()

    def test_sign_out_needs_post_and_ends_the_session(self, as_clerk: Client) -> None:
        assert as_clerk.get(reverse("logout")).status_code == 405
        assert as_clerk.post(reverse("logout")).status_code == 302
        assert as_clerk.get(reverse("today")).status_code == 302

    def test_never_leads_back_to_signing_out(self, client: Client, clerk: StaffMember) -> None:
        sent = {"username": "QVC1", "password": cast.PASSWORD, "next": reverse("logout")}
        assert client.post(reverse("login"), sent).headers["Location"] == reverse("today")

    def test_news_asked_after_the_session_ended_reload_the_page(
        self, client: Client, retort: Retort
    ) -> None:
        address = reverse("machine", args=[retort.place.code])
        response = client.get(address, headers={"HX-Request": "true"}, follow=True)
        assert response.headers["HX-Refresh"] == "true"
