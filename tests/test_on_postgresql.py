"""Runs all other tests a second time, on PostgreSQL, in a process of its own."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from django.conf import settings

ROOT = Path(__file__).resolve().parent.parent
FEWEST = 300  # a run that found nothing to do must not pass
TAIL_LINES = 60


@pytest.mark.both_engines
@pytest.mark.skipif(settings.EXPECTED_VENDOR != "sqlite", reason="this is the second run")
def test_everything_else_passes_on_postgresql() -> None:
    command = [
        *(sys.executable, "-m", "pytest", "--ds=tests.settings_pg", "-m", "not browser"),
        *("--maxfail=10", "-p", "no:cacheprovider", "tests"),
    ]
    second = {k: v for k, v in os.environ.items() if not k.startswith(("PYTEST_", "VAR_DIR"))}
    done = subprocess.run(
        command, cwd=ROOT, env=second, text=True, stdout=subprocess.PIPE, stderr=subprocess.STDOUT
    )
    tail = "\n".join(done.stdout.splitlines()[-TAIL_LINES:])
    print(tail)
    assert done.returncode == 0, tail
    passed = re.search(r"(\d+) passed", tail)
    assert passed, tail
    assert int(passed[1]) >= FEWEST, tail
