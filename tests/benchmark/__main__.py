"""Run the benchmark: `python -m tests.benchmark [pages] [readings] [steps] [verify] [--quick]`.

Each part runs in a process of its own, on a database of its own. The run judges nothing: its
exit code says only whether it could measure.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time

from tests.benchmark.databases import ENGINES
from tests.benchmark.table import Row, render

# What runs, and on which engines.
PARTS: dict[str, tuple[str, ...]] = {
    "steps": ("SQLite", "PostgreSQL"),
    "verify": ("SQLite",),
    "pages": ("SQLite",),
    "readings": ("SQLite",),
}
# The whole run ends within this time, measured or not.
LONGEST_S = 360


def main() -> int:
    """Measure the parts that were asked for, and print the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmark", description=__doc__)
    parser.add_argument("parts", nargs="*", metavar="part", help=f"of: {', '.join(PARTS)}")
    parser.add_argument("--quick", action="store_true", help="smaller, for a first impression")
    options = parser.parse_args()
    if unknown := set(options.parts) - set(PARTS):
        parser.error(f"no such part: {', '.join(sorted(unknown))}; there are {', '.join(PARTS)}")
    began, rows, failed = time.monotonic(), [], False
    for part in options.parts or PARTS:
        for engine in PARTS[part]:
            print(f"measuring {part} on {engine} …", file=sys.stderr, flush=True)
            measured = run(part, engine, options.quick, began + LONGEST_S)
            failed |= not measured
            rows += measured
    print(render(rows))
    print(f"\n{os.cpu_count()} cores, {time.monotonic() - began:.0f} s")
    return int(failed)


def run(part: str, engine: str, quick: bool, deadline: float) -> list[Row]:
    """Measure one part on one engine; an empty list when it could not be measured."""
    command = [sys.executable, "-m", "tests.benchmark.child", part, engine]
    with ENGINES[engine]() as url, tempfile.TemporaryDirectory(prefix="benchmark-var-") as var:
        environment = os.environ | {
            "DATABASE_URL": url,
            "VAR_DIR": var,
            "DJANGO_SETTINGS_MODULE": "tests.benchmark.settings",
        }
        try:
            done = subprocess.run(
                [*command, *(["--quick"] if quick else [])],
                env=environment,
                stdout=subprocess.PIPE,
                timeout=max(1.0, deadline - time.monotonic()),
                check=True,
            )
        except (subprocess.CalledProcessError, subprocess.TimeoutExpired) as error:
            print(f"{part} on {engine} was not measured: {error}", file=sys.stderr)
            return []
    return [Row(**row) for row in json.loads(done.stdout)]


if __name__ == "__main__":
    sys.exit(main())
