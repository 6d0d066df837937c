"""Who is signed in, read together with their facility and its trail's head: one query a request."""

from typing import Any

from django.contrib.auth.backends import ModelBackend
from django.db.models import QuerySet

from crematory.models import StaffMember


# The log is read before any row that the page shows: its root says how new those are.
def _member(pk: int) -> QuerySet[Any]:
    return StaffMember.objects.select_related("facility__log").filter(pk=pk).order_by()


class StaffBackend(ModelBackend):
    """Django's backend for a user model without groups, with the facility and its log joined."""

    def get_user(self, user_id: int) -> StaffMember | None:
        """Return the active member with this key, or None."""
        member = _member(user_id).first()
        return member if member and self.user_can_authenticate(member) else None
