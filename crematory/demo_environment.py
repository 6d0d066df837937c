"""The environment of the demonstration, for its own process only. Runs before Django loads.

Whatever the surroundings set is overridden, so that a demonstration never opens the database
of a house that is at work.
"""

import os
import secrets
from pathlib import Path

BASE_DIR = Path(__file__).resolve().parent.parent
prepared = False


def folder() -> Path:
    """Return the demonstration's own folder: `demo` inside VAR_DIR (default: `var`)."""
    return Path(os.environ.get("VAR_DIR") or BASE_DIR / "var") / "demo"


def lead(arguments: list[str]) -> list[str]:
    """Prepare for `demo`, or for another command with `--demo`; return the words that are left.

    Ends the process in words where a command asks for a demonstration that was never built.
    """
    if arguments[0] == "demo":
        prepare(arguments[1:])
        return arguments
    if not (folder() / "demo.db").is_file():
        raise SystemExit("There is no demonstration yet: `python manage.py demo` builds it.")
    prepare([])
    return [word for word in arguments if word != "--demo"]


def _secret(home: Path, name: str) -> str:
    """Return the secret kept in the file `name`, made at random at the first start."""
    path = home / name
    if not path.exists():
        path.write_text(secrets.token_urlsafe(50), encoding="utf-8")
        path.chmod(0o600)
    return path.read_text(encoding="utf-8").strip()


def prepare(arguments: list[str]) -> None:
    """Set the environment. A walk (`--walk`) has a database of its own, beside the other one."""
    global prepared
    home = folder()
    home.mkdir(parents=True, exist_ok=True)
    is_walk = any(word.split("=")[0] == "--walk" for word in arguments)
    database = home / ("walk.db" if is_walk else "demo.db")
    values = {
        "VAR_DIR": str(home),
        "DATABASE_URL": f"sqlite:///{database.resolve().as_posix()}",
        "SECRET_KEY": _secret(home, "secret_key"),
        "SIGNING_PEPPER": _secret(home, "signing_pepper"),
        "ALLOWED_HOSTS": "localhost,127.0.0.1",
        "CSRF_TRUSTED_ORIGINS": "",
        "DEBUG": "False",
        "PLAIN_HTTP": "True",
        "BEHIND_TLS_PROXY": "False",
        "STATIC_FROM_SOURCE": "True",
    }
    for name, value in values.items():
        os.environ.pop(f"{name}_FILE", None)
        os.environ[name] = value
    prepared = True
