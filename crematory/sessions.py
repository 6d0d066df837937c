"""Sessions in the database, as Django keeps them, read with a query whose SQL is written once."""

from typing import Any

from django.contrib.sessions.backends import db
from django.contrib.sessions.models import Session
from django.utils import timezone

from crematory.ready import Ready, first

_SESSION = Ready(
    lambda key, now: Session.objects.filter(session_key=key, expire_date__gt=now).order_by()
)


class SessionStore(db.SessionStore):
    """The framework's store; a session that is not there or has expired is no session."""

    def _get_session_from_db(self) -> Any:
        found = first(_SESSION(self.session_key or "", timezone.now()))
        if found is None:
            self._session_key = None
        return found
