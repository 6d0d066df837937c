"""Who is signed in, read together with their facility and its trail's head: one query a request."""

from django.contrib.auth.backends import ModelBackend

from crematory.models import StaffMember


class StaffBackend(ModelBackend):
    """Django's backend for a user model without groups, with the facility and its log joined."""

    def get_user(self, user_id: int) -> StaffMember | None:
        """Return the active member with this key, or None."""
        # The log is read before any row that the page shows: its root says how new those are.
        found = StaffMember.objects.select_related("facility__log").filter(pk=user_id).order_by()
        member = found.first()
        return member if member and self.user_can_authenticate(member) else None
