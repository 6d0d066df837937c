"""Who is signed in, read together with their facility: one query a request."""

from django.contrib.auth.backends import ModelBackend

from crematory.models import StaffMember


class StaffBackend(ModelBackend):
    """Django's backend for a user model without groups, with the facility joined."""

    def get_user(self, user_id: int) -> StaffMember | None:
        """Return the active member with this key, or None."""
        member = StaffMember.objects.select_related("facility").filter(pk=user_id).first()
        return member if member and self.user_can_authenticate(member) else None
