"""Who is signed in, read together with their facility and its trail's head: one query a request."""

from django.contrib.auth.backends import ModelBackend

from crematory.models import StaffMember
from crematory.written import Part, Written

# The log is read before any row that the page shows: its root says how new those are.
_MEMBER = Written(
    "SELECT {m}, {f}, {l} FROM crematory_staffmember m"
    " JOIN crematory_facility f ON f.id = m.facility_id"
    " LEFT JOIN chain_of_custody_log l ON l.facility_id = f.id WHERE m.id = %s",
    m=Part("crematory.StaffMember"),
    f=Part("crematory.Facility"),
    l=Part("chain_of_custody.Log"),
)


class StaffBackend(ModelBackend):
    """Django's backend for a user model without groups, with the facility and its log joined."""

    def get_user(self, user_id: int) -> StaffMember | None:
        """Return the active member with this key, or None."""
        for member, facility, log in _MEMBER(user_id):
            member.facility = facility
            if log:
                log.facility = facility  # known from both sides, as a join makes it
            return member if self.user_can_authenticate(member) else None
        return None
