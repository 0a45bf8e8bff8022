"""Copies of the whole database: one SQLite file each, whatever the database is. A copy is checked before it gets its name.

SQLite is copied page by page by its own online backup, beside readers and writers; PostgreSQL row by row, in one moment of it. A copy of
either can be restored into either. Whoever wants PostgreSQL's own tools (pg_dump, streaming) can use them beside this.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path

from sqlalchemy import Connection, Engine, func, insert, make_url, select, text

from forecaster.errors import StorageError
from forecaster.storage.database import migrate, open_database, reading, refuse_newer_schema, transaction
from forecaster.storage.models import Table

Counts = dict[str, int]
ROWS_AT_ONCE = 200


def back_up(engine: Engine, file: Path) -> Counts:
    """Copy the database into a new file; gives the number of rows by table, counted in the checked copy.

    Raises: StorageError where the file exists, cannot be written, or the copy is not sound: then there is no file of that name.
    """
    if file.exists():
        raise StorageError(f"there is a file {file} already", hint="Name another one; copies are never written over.")
    with _new_file(file) as partial:
        if engine.dialect.name == "sqlite":
            _copy_pages(Path(str(engine.url.database)), partial)
        else:
            copy = open_database(f"sqlite:///{partial}")
            try:
                migrate(copy)
                with reading(engine) as source, transaction(copy) as target:
                    _copy_rows(source.connection(), target.connection())
            finally:
                copy.dispose()
        counts = checked_counts(partial)
    return counts


def restore(file: Path, url: str, *, set_aside: str) -> tuple[Counts, Path | None]:
    """Put a copy in place of the database at ``url``, at the newest schema; gives its rows by table and where the old database is now.

    An SQLite database is moved to its name plus ``set_aside``, nothing of it is lost (None where there was none); a PostgreSQL database
    must be empty. Nobody may be using it: the caller holds the worker's lock.

    Raises: StorageError where the copy is not sound or of a newer version of the program, or the database cannot be replaced; it is left
    as it was then.
    """
    counts = checked_counts(file)
    with closing(sqlite3.connect(f"file:{file}?mode=ro", uri=True)) as copy:
        refuse_newer_schema([str(row[0]) for row in copy.execute("SELECT version_num FROM alembic_version")], f"the copy {file}")
    if url.startswith("sqlite"):
        return counts, _put_file(file, url, set_aside)
    _put_rows(file, url)
    return counts, None


def checked_counts(file: Path) -> Counts:
    """The rows by table of a copy that is sound. Raises: StorageError where it is not one, or not sound."""
    if not file.is_file():
        raise StorageError(f"there is no file {file}", hint="Name a file that `forecaster backup` wrote.")
    hint = "Use another copy; this one is damaged or something else."
    try:
        with closing(sqlite3.connect(f"file:{file}?mode=ro", uri=True)) as copy:
            problems = [str(row[0]) for row in copy.execute("PRAGMA integrity_check(3)")]
            if problems != ["ok"]:
                raise StorageError(f"the copy {file} is damaged: {'; '.join(problems)}", hint=hint)
            if copy.execute("PRAGMA foreign_key_check").fetchone() is not None:
                raise StorageError(f"the copy {file} is damaged: rows in it refer to others that are not there", hint=hint)
            names = [str(row[0]) for row in copy.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")]
            if "alembic_version" not in names:
                raise StorageError(f"the file {file} is no copy of the forecaster's database", hint=hint)
            return {name: int(copy.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0]) for name in names if name != "alembic_version"}
    except sqlite3.Error as error:
        raise StorageError(f"the copy {file} cannot be read: {error}", hint=hint) from error


def prune_copies(folder: Path, pattern: str, keep: int, *, newest: Path) -> None:
    """Delete all but the newest copies, by name: their names carry the time. ``newest``: the one just made.

    Copies with later names are of a clock that was ahead: they neither count nor go.
    """
    for old in sorted(copy for copy in folder.glob(pattern) if copy.name <= newest.name)[:-keep]:
        old.unlink()


@contextmanager
def _new_file(file: Path) -> Iterator[Path]:
    """A file that gets its name when all went well; what is left of one that did not is removed."""
    partial = file.with_name(f"{file.name}.partial")
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        partial.unlink(missing_ok=True)
        yield partial
        with partial.open("rb") as written:
            os.fsync(written.fileno())
        partial.rename(file)
    except (OSError, sqlite3.Error) as error:
        raise StorageError(f"the copy {file} cannot be written: {error}", hint="Name a place with room that may be written.") from error
    finally:
        for left in (partial, *(partial.with_name(partial.name + end) for end in ("-wal", "-shm"))):
            with suppress(OSError):
                left.unlink(missing_ok=True)


def _copy_pages(database: Path, target: Path) -> None:
    # Read-only would do, but a database in WAL mode may need its side files made.
    with closing(sqlite3.connect(database)) as source, closing(sqlite3.connect(target)) as copy:
        source.backup(copy)
        copy.execute("PRAGMA journal_mode = DELETE")  # one file, without others beside it


def _copy_rows(source: Connection, target: Connection) -> None:
    for table in Table.metadata.sorted_tables:
        rows = source.execution_options(yield_per=ROWS_AT_ONCE).execute(select(table))
        for part in rows.mappings().partitions():
            target.execute(insert(table), [dict(row) for row in part])


def _put_file(file: Path, url: str, set_aside: str) -> Path | None:
    """Bring a copy of the copy to the newest schema beside the database, then let it take its place. Returns where the old one is now.

    At every moment there is a database under the name: a crash leaves the old or the new one.
    """
    database = Path(str(make_url(url).database)).absolute()
    existed = database.is_file()
    if existed:
        _close_for_all(database)
    fresh = database.with_name(f"{database.name}.restored")
    fresh.unlink(missing_ok=True)
    with _new_file(fresh) as partial:
        _copy_pages(file, partial)
        made = open_database(f"sqlite:///{partial}")
        try:
            migrate(made)
        finally:
            made.dispose()
    old = database.with_name(database.name + set_aside) if existed else None
    try:
        if old is not None:
            os.link(database, old)
            for end in ("-wal", "-shm"):  # only a damaged database still has them: they go with it
                with suppress(FileNotFoundError):
                    database.with_name(database.name + end).rename(old.with_name(old.name + end))
        fresh.replace(database)
        _make_lasting(database.parent)
    except OSError as error:
        raise StorageError(f"the database {database} cannot be replaced: {error}", hint="The copy stands beside it.") from error
    return old


def _close_for_all(database: Path) -> None:
    """Bring everything into the one file of an SQLite database, which nobody else may have open; a damaged one is left as it is.

    Raises: StorageError where another process uses it: what that one wrote later would be lost.
    """
    try:
        with closing(sqlite3.connect(database, timeout=2.0)) as alone:
            alone.execute("PRAGMA journal_mode = DELETE")
    except sqlite3.OperationalError as error:
        hint = "Stop the service and every other program that uses it, and try again; nothing was changed."
        raise StorageError(f"the database {database} is in use: {error}", hint=hint) from error
    except sqlite3.DatabaseError:
        return


def _make_lasting(folder: Path) -> None:
    """A renamed file survives a power cut only when its folder has been written."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _put_rows(file: Path, url: str) -> None:
    engine = open_database(url)
    try:
        migrate(engine)
        with transaction(engine) as session:
            target = session.connection()
            for table in Table.metadata.sorted_tables:
                if target.scalar(select(func.count()).select_from(table)):
                    raise StorageError(
                        "there is something in the database already", hint="Name an empty database; nothing is written over."
                    )
            with _newest_copy(file) as source:
                _copy_rows(source, target)
            for table in Table.metadata.sorted_tables:
                number = table.autoincrement_column
                if number is not None:
                    target.execute(
                        text(
                            f"SELECT setval(pg_get_serial_sequence('{table.name}', '{number.name}'), "
                            f"greatest(1, (SELECT coalesce(max({number.name}), 1) FROM {table.name})))"
                        )
                    )
    finally:
        engine.dispose()


@contextmanager
def _newest_copy(file: Path) -> Iterator[Connection]:
    """A connection to a copy brought to the newest schema in a file beside it, which is removed."""
    beside = file.with_name(f"{file.name}.newest")
    beside.unlink(missing_ok=True)
    try:
        _copy_pages(file, beside)
        engine = open_database(f"sqlite:///{beside}")
        try:
            migrate(engine)
            with engine.connect() as connection:
                yield connection
        finally:
            engine.dispose()
    finally:
        beside.unlink(missing_ok=True)
