"""Measures the site against yardsticks taken in the same run: `python -m tests.benchmark`."""
