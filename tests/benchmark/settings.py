"""Settings of the benchmark: those of the site, a temporary database, and the stock admin."""

import os

os.environ.setdefault("SECRET_KEY", "only-for-the-benchmark-" + "x" * 50)
os.environ["PLAIN_HTTP"] = "True"

from crematory.settings import *  # noqa: F403

SIGNING_PEPPER = "only-for-the-benchmark-" + "y" * 32
ALLOWED_HOSTS = ["testserver"]
PASSWORD_HASHERS = ["tests.hashers.QuickArgon2"]
STORAGES["staticfiles"] = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}
WHITENOISE_AUTOREFRESH = True
# The admin is a yardstick and no part of the site.
INSTALLED_APPS = [*INSTALLED_APPS, "django.contrib.admin"]
ROOT_URLCONF = "tests.benchmark.urls"
SILENCED_SYSTEM_CHECKS = ["admin.E409"]
