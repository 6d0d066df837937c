"""`manage.py migrate`, as an operator types it, brings back a trigger that is missing."""

import os
import sqlite3
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def manage(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    kept = {name: os.environ[name] for name in ("PATH", "SYSTEMROOT") if name in os.environ}
    secrets = {"SECRET_KEY": "only-for-this-test-" + "x" * 50, "SIGNING_PEPPER": "y" * 40}
    own = {"VAR_DIR": str(folder), "PLAIN_HTTP": "True", "ALLOWED_HOSTS": "localhost"}
    return subprocess.run(
        [sys.executable, str(ROOT / "manage.py"), *arguments],
        env=kept | secrets | own,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=120,
        check=False,
    )


def test_migrate_brings_back_a_trigger(tmp_path: Path) -> None:
    made = manage(tmp_path, "migrate", "--verbosity", "0")
    assert made.returncode == 0, made.stderr
    database = next(path for path in tmp_path.iterdir() if path.suffix in {".db", ".sqlite3"})
    find = "SELECT name FROM sqlite_master WHERE type = 'trigger' ORDER BY name"
    with sqlite3.connect(database) as raw:
        before = raw.execute(find).fetchall()
        raw.execute(f"DROP TRIGGER {before[0][0]}")
    asked = manage(tmp_path, "check", "--database", "default", "--fail-level", "WARNING")
    assert "chain_of_custody.W001" in asked.stderr
    assert asked.returncode == 1
    mended = manage(tmp_path, "migrate", "--verbosity", "0")
    assert mended.returncode == 0, mended.stderr
    with sqlite3.connect(database) as raw:
        assert raw.execute(find).fetchall() == before
