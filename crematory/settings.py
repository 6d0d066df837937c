"""Settings. Everything that differs between houses comes from the environment; defaults are safe.

DEBUG is off, there is no default secret, and hosts must be named. `manage.py demo` sets what a
demonstration needs for its own process only.
"""

from pathlib import Path
from typing import Any

import dj_database_url
from django.core.exceptions import ImproperlyConfigured

from crematory import env

BASE_DIR = Path(__file__).resolve().parent.parent
VAR_DIR = Path(env.text("VAR_DIR", str(BASE_DIR / "var")))

DEBUG = env.flag("DEBUG")
SECRET_KEY = env.text("SECRET_KEY")
if not SECRET_KEY:
    raise ImproperlyConfigured(
        "Set SECRET_KEY (or SECRET_KEY_FILE) to 50 or more random characters; "
        "`python -c 'import secrets; print(secrets.token_urlsafe(50))'` makes one. "
        "To try the site with invented data, run `manage.py demo` instead."
    )
ALLOWED_HOSTS = env.words("ALLOWED_HOSTS")
CSRF_TRUSTED_ORIGINS = env.words("CSRF_TRUSTED_ORIGINS")
# A signing PIN is short; without this value, kept outside the database, a stolen database
# cannot be searched for PINs at all.
SIGNING_PEPPER = env.text("SIGNING_PEPPER")

INSTALLED_APPS = [
    "crematory",
    "chain_of_custody",
    "retort_log",
    "cases",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "crispy_forms",
    "crispy_bootstrap5",
    "django_htmx",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "crematory.middleware.NoStoreMiddleware",
    "crematory.middleware.Utf8Middleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "crematory.middleware.KeepTypedMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "crematory.middleware.FacilityMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "crematory.middleware.OwnPasswordMiddleware",
]

CSRF_FAILURE_VIEW = "crematory.csrf.failure"
ROOT_URLCONF = "crematory.urls"
WSGI_APPLICATION = "crematory.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "crematory.middleware.facility_context",
            ],
        },
    }
]
CRISPY_ALLOWED_TEMPLATE_PACKS = "bootstrap5"
CRISPY_TEMPLATE_PACK = "bootstrap5"


def database(url: str) -> dict[str, Any]:
    """Return the settings of the database at `url`; SQLite gets what keeps a committed step.

    IMMEDIATE takes the write lock at the start, so two steps cannot both read the old stage.
    FULL survives a power cut. recursive_triggers closes REPLACE INTO, which otherwise slips
    past the triggers that refuse deletion.
    """
    config: dict[str, Any] = dict(dj_database_url.parse(url, conn_max_age=None))
    if config["ENGINE"] == "django.db.backends.sqlite3":
        config["OPTIONS"] = {
            "transaction_mode": "IMMEDIATE",
            "timeout": 20,
            "init_command": (
                "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA foreign_keys=ON;"
                "PRAGMA busy_timeout=20000; PRAGMA recursive_triggers=ON;"
            ),
        }
    return config


DATABASES = {"default": database(env.text("DATABASE_URL", f"sqlite:///{VAR_DIR / 'crematory.db'}"))}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

# Parts of pages hold names of persons: they stay in the memory of the process that made them.
CACHES = {
    alias: {
        "BACKEND": "django.core.cache.backends.locmem.LocMemCache",
        "LOCATION": alias,
        "OPTIONS": {"MAX_ENTRIES": 300},
    }
    for alias in ("default", "parts")
}

AUTH_USER_MODEL = "crematory.StaffMember"
AUTHENTICATION_BACKENDS = ["crematory.backends.StaffBackend"]
LOGIN_URL = "login"
LOGIN_REDIRECT_URL = "today"
PASSWORD_HASHERS = ["django.contrib.auth.hashers.Argon2PasswordHasher"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 12},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]

LANGUAGE_CODE = "en"
TIME_ZONE = "UTC"
USE_I18N = True
USE_TZ = True

# True serves the files as they lie in the tree, without `collectstatic` (demonstration).
STATIC_FROM_SOURCE = env.flag("STATIC_FROM_SOURCE", DEBUG)
WHITENOISE_USE_FINDERS = STATIC_FROM_SOURCE
STATIC_URL = "static/"
STATIC_ROOT = None if STATIC_FROM_SOURCE else BASE_DIR / "staticfiles"
STATICFILES_DIRS = [BASE_DIR / "static"]
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"
        if STATIC_FROM_SOURCE
        else "whitenoise.storage.CompressedManifestStaticFilesStorage"
    },
}
PAPERS_DIR = VAR_DIR / "papers"
UPLOADS_DIR = VAR_DIR / "uploads"
# Drawn from the uploads to be looked at; it may be emptied at any time.
DRAWN_DIR = VAR_DIR / "drawn"
# Files are limited while they come in, before any page asks for them.
FILE_UPLOAD_HANDLERS = ["chain_of_custody.upload_handler.LimitedUploadHandler"]

# A shift: many acts are signed by being signed in, and tablets are shared.
# What a message says can name a person: it stays on the server.
MESSAGE_STORAGE = "django.contrib.messages.storage.session.SessionStorage"
SESSION_ENGINE = "crematory.sessions"
SESSION_COOKIE_AGE = 12 * 60 * 60
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = not env.flag("PLAIN_HTTP")
SECURE_SSL_REDIRECT = not env.flag("PLAIN_HTTP")
SECURE_HSTS_SECONDS = 0 if env.flag("PLAIN_HTTP") else 31_536_000
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = not env.flag("PLAIN_HTTP")
BEHIND_TLS_PROXY = env.flag("BEHIND_TLS_PROXY")
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if BEHIND_TLS_PROXY else None
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
FORM_RENDERER = "django.forms.renderers.DjangoTemplates"

# The messages name ids and codes only: no names of persons may reach a log.
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "handlers": {"console": {"class": "logging.StreamHandler"}},
    "root": {"handlers": ["console"], "level": "WARNING"},
}
