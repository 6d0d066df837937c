"""Strict readers of environment variables: a misspelt value stops the start, it is not guessed."""

import os
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured


def text(name: str, default: str = "") -> str:
    """Return the variable, or the content of the file that NAME_FILE names."""
    if path := os.environ.get(f"{name}_FILE"):
        try:
            return Path(path).read_text(encoding="utf-8").strip()
        except OSError as error:
            raise ImproperlyConfigured(f"{name}_FILE cannot be read: {error}") from error
    return os.environ.get(name, default)


def flag(name: str, default: bool = False) -> bool:
    """Return True or False; any other spelling raises ImproperlyConfigured."""
    value = os.environ.get(name)
    if value is None or value == "":
        return default
    if value not in {"True", "False"}:
        raise ImproperlyConfigured(f"{name} must be True or False, not {value!r}.")
    return value == "True"


def words(name: str) -> list[str]:
    """Return the comma-separated words of the variable."""
    return [word.strip() for word in os.environ.get(name, "").split(",") if word.strip()]
