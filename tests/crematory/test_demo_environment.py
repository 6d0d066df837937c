"""A command with `--demo` runs on the demonstration, with its own secrets and nothing weakened."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from crematory import demo_environment

ROOT = Path(demo_environment.BASE_DIR)
OURS = ("VAR_DIR", "DATABASE_URL", "SECRET_KEY", "SIGNING_PEPPER", "DEBUG", "PLAIN_HTTP")


def run(home: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """Run manage.py as somebody would who set nothing but the folder."""
    bare = {name: value for name, value in os.environ.items() if name not in OURS}
    bare.pop("DJANGO_SETTINGS_MODULE", None)
    command = [sys.executable, "manage.py", *words]
    return subprocess.run(
        command, cwd=ROOT, env=bare | {"VAR_DIR": str(home)}, capture_output=True, text=True
    )


def test_verification_needs_no_secret_in_the_environment(tmp_path: Path) -> None:
    assert "There is no demonstration yet" in run(tmp_path, "verify_trail", "--demo").stderr
    home = tmp_path / "demo"
    home.mkdir()
    (home / "demo.db").touch()
    assert run(tmp_path, "migrate", "--demo", "-v", "0").returncode == 0
    done = run(tmp_path, "verify_trail", "--demo")
    assert (done.returncode, done.stderr) == (0, "")
    assert (home / "secret_key").stat().st_mode & 0o077 == 0
    refused = run(tmp_path, "verify_trail")  # a house at work still needs its own secret
    assert refused.returncode != 0
    assert "SECRET_KEY" in refused.stderr


@pytest.mark.parametrize("words", [["verify_trail", "--demo", "--no-files"], ["demo", "--walk"]])
def test_only_the_word_for_the_demonstration_is_taken_off(
    words: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(demo_environment, "prepare", lambda arguments: None)
    monkeypatch.setattr(demo_environment, "folder", lambda: tmp_path)
    (tmp_path / "demo.db").touch()
    assert demo_environment.lead(words) == [word for word in words if word != "--demo"]
