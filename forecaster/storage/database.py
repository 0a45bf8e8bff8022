"""Open the database, bring it to the newest schema, and run transactions.

Promises, the same on both databases: what ``transaction`` commits survives a power cut (SQLite: WAL with ``synchronous=FULL``); a writer
takes the write lock before it reads, so nothing it read changes under it; a reader sees one moment and waits for no writer; every failure
of the database leaves as a one-line ``StorageError`` with the place and a hint. PostgreSQL has no write lock of its own: an advisory lock
that is held until the transaction ends stands for it. Write transactions are short, so writers do not wait for long.
"""

from __future__ import annotations

import logging
import sqlite3
import time
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, inspect, make_url, text
from sqlalchemy.exc import DBAPIError, SQLAlchemyError
from sqlalchemy.exc import TimeoutError as NoConnectionInTime
from sqlalchemy.orm import Session

from forecaster.errors import StorageError

MIGRATIONS = Path(__file__).parent / "migrations"
DIALECTS = ("sqlite", "postgresql")
BUSY_SECONDS = 15.0
"""How long a writer waits for another writer before it gives up. Status: assumption."""

CACHE_KB = 256
KEPT_SCHEMAS = 2
"""Copies of an SQLite file that are made before its schema is changed: the newest stay. Own choice."""
IDLE_SECONDS = 60
"""PostgreSQL ends a transaction that does nothing for so long: its process is gone or hangs, and it holds the write lock. Assumption."""

# Any number serves, as long as no other program on the same PostgreSQL database uses it.
_WRITE_LOCK = 7_203_118_455_001

_HINTS: tuple[tuple[str, str], ...] = (
    ("lock timeout", "Another process is writing to it. Wait for it to finish, or stop it, and try again."),
    ("locked", "Another process is writing to it. Wait for it to finish, or stop it, and try again."),
    ("readonly", "Let the user that runs the forecaster write to this file and to its folder."),
    ("permission", "Let the user that runs the forecaster write to this file and to its folder."),
    ("unable to open", "Check that the folder exists and that the user that runs the forecaster may write to it."),
    ("not a database", "This file is something else. Name another file for the database, or move this one away."),
    ("malformed", "The file is damaged. Move it away and restore the last copy, or start with an empty one."),
    ("full", "The disk is full. Make room and try again."),
    ("connection failed", "Check that the database server runs, and that the address, the user and the password are right."),
    ("connection timeout", "Check that the database server runs, and that the address is right."),
    ("terminating connection", "The database server ended the connection. If it was restarted, try again."),
    ('relation "', "The database has not been set up yet. Run the forecaster once with it."),
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
        engine = _postgresql_engine(parsed, busy_seconds)
    try:
        prove_writable(engine)
    except StorageError:
        engine.dispose()
        raise
    return engine


def prove_writable(engine: Engine) -> None:
    """Take the write lock for a moment. Raises: StorageError where that fails; in that a database is full shows only when it is written."""
    with _clear_errors(engine), _writing(engine).connect() as connection:
        # The begin of a writing transaction is the proof: it takes the write lock, and SQLite reads the header of the file.
        connection.execute(text("SELECT 1"))
        if engine.dialect.name == "postgresql" and connection.scalar(text("SHOW transaction_read_only")) == "on":
            raise StorageError(f"the database {_place(engine.url)} can only be read", hint="Name the main server, not one that follows it.")
        connection.rollback()


def migrate(engine: Engine) -> None:
    """Bring the schema to the newest revision. Safe when two processes start at once: one migrates, the other waits and finds it done.

    Raises: StorageError, also where the database was written by a newer version of the program.
    """
    with _clear_errors(engine), engine.connect() as connection:
        if _schemas(connection) == [newest_schema()]:
            return
    # Loaded only where there is something to migrate: it takes a sixth of what the web process may.
    from alembic import command
    from alembic.config import Config

    logging.getLogger("alembic").setLevel(logging.WARNING)
    with _clear_errors(engine), _writing(engine).begin() as connection:
        found = _schemas(connection)
        refuse_newer_schema(found, f"the database {_place(engine.url)}")
        if found and engine.dialect.name == "sqlite":
            _copy_before_migrating(Path(str(engine.url.database)), "-".join(found))
        config = Config()
        config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
        config.attributes["connection"] = connection
        command.upgrade(config, "head")


def newest_schema() -> str:
    """The newest revision that this version of the program knows, told by the names of the migrations' files."""
    return max(path.name[1:5] for path in (MIGRATIONS / "versions").glob("v[0-9]*.py"))


def _schemas(connection: Connection) -> list[str]:
    if not inspect(connection).has_table("alembic_version"):
        return []
    return list(connection.scalars(text("SELECT version_num FROM alembic_version")))


def refuse_newer_schema(found: Sequence[str], what: str) -> None:
    """Raise StorageError where ``what`` has a schema that this version of the program does not know."""
    from alembic.script import ScriptDirectory

    known = {revision.revision for revision in ScriptDirectory(str(MIGRATIONS)).walk_revisions()}
    if not known.issuperset(found):
        raise StorageError(
            f"{what} was written by a newer version of this program (schema {', '.join(found)})",
            hint="Install that version again, or name another one.",
        )


def _copy_before_migrating(database: Path, schema: str) -> None:
    """Keep the database as it was. The write lock is held, so nothing changes meanwhile; reading beside it is free."""
    copy = database.with_name(f"{database.name}.schema-{schema}")
    partial = copy.with_name(f"{copy.name}.partial")
    try:
        with closing(sqlite3.connect(database)) as source, closing(sqlite3.connect(partial)) as target:
            source.backup(target)
            target.execute("PRAGMA journal_mode = DELETE")
        partial.replace(copy)
    except (OSError, sqlite3.Error) as error:
        partial.unlink(missing_ok=True)
        raise StorageError(
            f"the database {database} cannot be copied before it is changed for this version of the program: {error}",
            hint="Make room beside it, and start again; nothing was changed.",
        ) from error
    for old in sorted(database.parent.glob(f"{database.name}.schema-*[0-9]"))[:-KEPT_SCHEMAS]:
        old.unlink()


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
    with _clear_errors(engine), Session(_of_one_moment(engine), expire_on_commit=False) as session:
        yield session


def _writing(engine: Engine) -> Engine:
    return engine.execution_options(forecaster_writes=True)


def _of_one_moment(engine: Engine) -> Engine:
    # SQLite gives this by itself; PostgreSQL would show every statement what others committed before it.
    return engine.execution_options(isolation_level="REPEATABLE READ") if engine.dialect.name == "postgresql" else engine


def _postgresql_engine(url: URL, busy_seconds: float) -> Engine:
    named = url.set(drivername="postgresql+psycopg") if url.drivername == "postgresql" else url
    limits = {"lock_timeout": f"{busy_seconds * 1000:.0f}", "idle_in_transaction_session_timeout": f"{IDLE_SECONDS * 1000}"}
    arguments: dict[str, Any] = {"options": " ".join(f"-c {name}={value}" for name, value in limits.items())}
    if "connect_timeout" not in named.query:
        arguments["connect_timeout"] = max(2, round(busy_seconds))
    try:
        engine = create_engine(named, pool_pre_ping=True, connect_args=arguments)
    except ImportError as error:
        raise StorageError(
            f"the driver for {_place(named)} is not installed: {error}", hint="Write the address as postgresql://… for the one that is."
        ) from error
    event.listen(engine, "begin", _begin_postgresql_transaction)
    return engine


def _begin_postgresql_transaction(connection: Connection) -> None:
    if connection.get_execution_options().get("forecaster_writes", False):
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_WRITE_LOCK})")


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
        # Each connection has a cache of its own, and the web process several connections: the system's cache of the file serves them all.
        connection.execute(f"PRAGMA cache_size = -{CACHE_KB}")
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
