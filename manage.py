#!/usr/bin/env python
"""Command line of the site."""

import os
import sys


def main() -> None:
    """Run a management command."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "crematory.settings")
    if sys.argv[1:2] == ["demo"] or "--demo" in sys.argv:
        from crematory import demo_environment

        sys.argv[1:] = demo_environment.lead(sys.argv[1:])
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
