"""Settings of the tests, on SQLite."""

import atexit
import os
import shutil
import tempfile

os.environ.setdefault("SECRET_KEY", "only-for-tests-" + "x" * 50)
os.environ["VAR_DIR"] = tempfile.mkdtemp(prefix="crematory-tests-")
os.environ["PLAIN_HTTP"] = "True"

from crematory.settings import *  # noqa: F403

atexit.register(shutil.rmtree, VAR_DIR, ignore_errors=True)
# A file, as in a house: threads then meet the locks that they would meet there.
DATABASES["default"]["TEST"] = {"NAME": VAR_DIR / "test.db"}

SIGNING_PEPPER = "only-for-tests-" + "y" * 32
ALLOWED_HOSTS = ["testserver", "localhost", "127.0.0.1"]
PASSWORD_HASHERS = ["tests.hashers.QuickArgon2"]
STORAGES["staticfiles"] = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}
WHITENOISE_AUTOREFRESH = True
EXPECTED_VENDOR = "sqlite"
