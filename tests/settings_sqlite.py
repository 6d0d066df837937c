"""Settings of the tests, on SQLite."""

import os
import tempfile

os.environ.setdefault("SECRET_KEY", "only-for-tests-" + "x" * 50)
os.environ["VAR_DIR"] = tempfile.mkdtemp(prefix="crematory-tests-")
os.environ["PLAIN_HTTP"] = "True"

from crematory.settings import *  # noqa: F403

SIGNING_PEPPER = "only-for-tests-" + "y" * 32
ALLOWED_HOSTS = ["testserver", "localhost", "127.0.0.1"]
PASSWORD_HASHERS = ["tests.hashers.QuickArgon2"]
STORAGES["staticfiles"] = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}
WHITENOISE_AUTOREFRESH = True
EXPECTED_VENDOR = "sqlite"
