"""Measure one part on the database that DATABASE_URL names, and print its rows as JSON."""

import importlib
import json
import sys

import django


def main() -> None:
    """Make the tables, measure, print."""
    part, engine = sys.argv[1:3]
    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    rows = importlib.import_module(f"tests.benchmark.{part}").measure(engine, "--quick" in sys.argv)
    print(json.dumps([row.as_json() for row in rows]))


if __name__ == "__main__":
    main()
