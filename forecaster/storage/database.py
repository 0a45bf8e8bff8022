"""Open the database, bring it to the newest schema, and run transactions.

Promises: what ``transaction`` commits survives a power cut (SQLite: WAL with ``synchronous=FULL``); a writer takes the write lock before it
reads, so nothing it read changes under it; every failure of the database leaves as a one-line ``StorageError`` with the place and a hint.
"""

from __future__ import annotations

import logging
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, create_engine, event, make_url, text
from sqlalchemy.exc import DBAPIError, SQLAlchemyError
from sqlalchemy.exc import TimeoutError as NoConnectionInTime
from sqlalchemy.orm import Session

from forecaster.errors import StorageError

MIGRATIONS = Path(__file__).parent / "migrations"
DIALECTS = ("sqlite", "postgresql")
BUSY_SECONDS = 15.0
"""How long a writer waits for another writer before it gives up. Status: assumption."""

# Any number serves, as long as no other program on the same PostgreSQL database uses it.
_MIGRATION_LOCK = 7_203_118_455_001

_HINTS: tuple[tuple[str, str], ...] = (
    ("locked", "Another process is writing to it. Wait for it to finish, or stop it, and try again."),
    ("readonly", "Let the user that runs the forecaster write to this file and to its folder."),
    ("permission", "Let the user that runs the forecaster write to this file and to its folder."),
    ("unable to open", "Check that the folder exists and that the user that runs the forecaster may write to it."),
    ("not a database", "This file is something else. Name another file for the database, or move this one away."),
    ("malformed", "The file is damaged. Move it away and restore the last copy, or start with an empty one."),
    ("full", "The disk is full. Make room and try again."),
    ("no such table", "The database has not been set up yet. Run the forecaster once with it."),
    ("constraint", "This is a fault of the program, not of the database. Please report the line above."),
)


def open_database(url: str, *, busy_seconds: float = BUSY_SECONDS) -> Engine:
    """Open the database at ``url``, creating an SQLite file and its folder where there is none, and prove that it can be written.

    Raises: StorageError, one line with the place and a hint, where it cannot be read and written.
    """
    try:
        parsed = make_url(url)
    except SQLAlchemyError as error:
        # The address is not repeated: it may carry a password.
        raise StorageError(
            "the address of the database is not one", hint="Write it like sqlite:////var/lib/forecaster/forecaster.db"
        ) from error
    if parsed.get_backend_name() not in DIALECTS:
        raise StorageError(f"{parsed.get_backend_name()} is not a database this program knows", hint=f"Use one of: {', '.join(DIALECTS)}.")
    if parsed.get_backend_name() == "sqlite":
        _prepare_folder(parsed.database)
        engine = create_engine(parsed, connect_args={"timeout": busy_seconds})
        event.listen(engine, "connect", _prepare_sqlite_connection(busy_seconds))
        event.listen(engine, "begin", _begin_sqlite_transaction)
    else:
        try:
            engine = create_engine(parsed, pool_pre_ping=True)
        except ImportError as error:
            raise StorageError(f"the driver for {_place(parsed)} is not installed: {error}", hint="Install psycopg.") from error
    with _clear_errors(engine), _writing(engine).connect() as connection:
        # For SQLite the begin of a writing transaction is the proof: it reads the header and takes the write lock.
        connection.execute(text("SELECT 1"))
        connection.rollback()
    return engine


def migrate(engine: Engine) -> None:
    """Bring the schema to the newest revision. Safe when two processes start at once: one migrates, the other waits and finds it done.

    Raises: StorageError, also where the database was written by a newer version of the program.
    """
    script = ScriptDirectory(str(MIGRATIONS))
    with _clear_errors(engine), engine.connect() as connection:
        if MigrationContext.configure(connection).get_current_heads() == tuple(script.get_heads()):
            return
    logging.getLogger("alembic").setLevel(logging.WARNING)
    with _clear_errors(engine), _writing(engine).begin() as connection:
        if connection.dialect.name == "postgresql":
            connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _MIGRATION_LOCK})
        known = {revision.revision for revision in script.walk_revisions()}
        found = MigrationContext.configure(connection).get_current_heads()
        if not known.issuperset(found):
            raise StorageError(
                f"the database {_place(engine.url)} was written by a newer version of this program (schema {', '.join(found)})",
                hint="Install that version again, or name another database.",
            )
        config = Config()
        config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
        config.attributes["connection"] = connection
        command.upgrade(config, "head")


@contextmanager
def transaction(engine: Engine) -> Iterator[Session]:
    """A session whose work is committed together at the end, or not at all. Takes the write lock with its first statement.

    Raises: StorageError where the database fails; any other error of the body passes through after the roll-back.
    """
    with _clear_errors(engine), Session(_writing(engine), expire_on_commit=False) as session, session.begin():
        yield session


@contextmanager
def reading(engine: Engine) -> Iterator[Session]:
    """A session that sees one moment of the database and never waits for a writer. Nothing done in it is kept.

    Raises: StorageError where the database fails.
    """
    with _clear_errors(engine), Session(engine, expire_on_commit=False) as session:
        yield session


def _writing(engine: Engine) -> Engine:
    return engine.execution_options(forecaster_writes=True)


def _prepare_folder(database: str | None) -> None:
    if not database or database == ":memory:":
        return
    path = Path(database)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StorageError(
            f"cannot create the folder of the database {path}: {error.strerror}",
            hint="Name a database in a folder that the user that runs the forecaster may write to.",
        ) from error
    if path.is_dir():
        raise StorageError(f"cannot use the database {path}: it is a folder", hint="Name a file inside it, such as forecaster.db.")


def _prepare_sqlite_connection(busy_seconds: float) -> Any:  # the type of an event listener is Any in SQLAlchemy
    def prepare(connection: sqlite3.Connection, _record: object) -> None:
        # The driver must not open transactions by itself: it would begin them late and without the write lock.
        connection.isolation_level = None
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA synchronous = FULL")
        patience = time.monotonic() + busy_seconds
        while connection.execute("PRAGMA journal_mode").fetchone()[0] not in ("wal", "memory"):
            try:
                connection.execute("PRAGMA journal_mode = WAL")
            except sqlite3.OperationalError as error:
                # SQLite does not wait by itself while two processes make the first switch to WAL at once.
                if "locked" not in str(error) or time.monotonic() > patience:
                    raise
                time.sleep(0.02)

    return prepare


def _begin_sqlite_transaction(connection: Connection) -> None:
    writes = connection.get_execution_options().get("forecaster_writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


@contextmanager
def _clear_errors(engine: Engine) -> Iterator[None]:
    try:
        yield
    except (DBAPIError, NoConnectionInTime) as error:  # any other error of SQLAlchemy is a mistake in this program and passes
        cause = str(error.orig) if isinstance(error, DBAPIError) else str(error)
        reason = " ".join(cause.split())
        hint = next((hint for mark, hint in _HINTS if mark in reason.lower()), "Check that the database is there and can be written.")
        raise StorageError(f"cannot use the database {_place(engine.url)}: {reason}", hint=hint) from error


def _place(url: Any) -> str:
    if url.get_backend_name() == "sqlite":
        return url.database or ":memory:"
    return str(url.render_as_string(hide_password=True))
