"""Sessions in the database, as the framework keeps them, read by a query that stands written."""

from typing import Any

from django.contrib.sessions.backends import db
from django.utils import timezone

from crematory.written import Written

_SESSION = Written(
    "SELECT session_data FROM django_session WHERE session_key = %s AND expire_date > %s"
)
SHORTEST = 8  # characters; as the framework has it


class SessionStore(db.SessionStore):
    """The framework's store; what is not found here is left to it."""

    def _validate_session_key(self, key: str | None) -> bool:
        """A key that no store here gave is none: PostgreSQL takes no text with a NUL."""
        return key is not None and len(key) >= SHORTEST and key.isascii() and key.isalnum()

    def load(self) -> dict[str, Any]:
        """Return what the session holds; nothing where there is none, or it has expired."""
        for (data,) in _SESSION(self.session_key, timezone.now()):
            return self.decode(data)
        return super().load()
