"""A copy holds everything, is checked, and goes back into either database; what must not be replaced is not."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine, text

from forecaster.errors import StorageError
from forecaster.storage.backup import back_up, checked_counts, prune_copies, restore
from forecaster.storage.cycles import CycleRecord, save_cycle
from forecaster.storage.database import migrate, open_database, reading, transaction
from forecaster.storage.episodes import save_episode
from forecaster.storage.grounds import save_ground
from forecaster.storage.messages import enqueue_message
from forecaster.storage.models import Table
from forecaster.storage.outlooks import save_outlook
from forecaster.storage.weather import StoredIssue, save_issue
from tests.databases import KINDS, database_of
from tests.storage.builders import DAY, NOON, alert, ground, message, outlook, weather


@pytest.fixture
def filled(database: Engine) -> Engine:
    with transaction(database) as session:
        save_outlook(session, outlook(), {"water": "<svg></svg>"})
        save_episode(session, alert(), DAY)
        for number in range(450):  # more than are copied at once
            enqueue_message(session, message(key=f"number {number}"))
        save_issue(session, StoredIssue("hollow", "sample", NOON, NOON, NOON, NOON + timedelta(hours=48), b"\x00\xff" * 500))
        save_cycle(session, CycleRecord("hollow", NOON, NOON, "ok", weather()))
    return database


def everything(engine: Engine) -> dict[str, list[tuple[Any, ...]]]:
    with reading(engine) as session:
        return {
            table.name: sorted((tuple(map(repr, row)) for row in session.execute(table.select())), key=repr)
            for table in Table.metadata.sorted_tables
        }


@pytest.fixture(params=KINDS)
def empty_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """An empty database to restore into, of either kind."""
    folder = tmp_path / "elsewhere"
    folder.mkdir()
    server = request.getfixturevalue("postgresql") if request.param == "postgresql" else None
    with database_of(request.param, folder, server) as url:
        yield url


def test_a_copy_goes_back_into_either_database_with_equal_counts_and_content(filled: Engine, empty_url: str, tmp_path: Path) -> None:
    before = everything(filled)
    counts = back_up(filled, tmp_path / "copies" / "one.db")
    assert counts == {name: len(rows) for name, rows in before.items()}
    assert counts["message"] == 450
    back, _ = restore(tmp_path / "copies" / "one.db", empty_url, set_aside=".old")
    assert back == counts
    restored = open_database(empty_url)
    assert everything(restored) == before
    with transaction(restored) as session:
        assert enqueue_message(session, message(key="after the restore")), "numbers of new rows go on after those restored"
    restored.dispose()
    assert [path.name for path in (tmp_path / "copies").iterdir()] == ["one.db"], "one file, and nothing beside it"


def test_a_copy_is_taken_while_others_write(filled: Engine, tmp_path: Path) -> None:
    with transaction(filled) as session:
        save_ground(session, ground(name="Not yet"), NOON)
        session.flush()
        back_up(filled, tmp_path / "copy.db")
    with closing(sqlite3.connect(tmp_path / "copy.db")) as copy:
        assert "Hollow Lane" in copy.execute("SELECT document FROM ground").fetchone()[0]


def test_a_copy_is_never_written_over_another(filled: Engine, tmp_path: Path) -> None:
    (tmp_path / "copy.db").write_text("mine")
    with pytest.raises(StorageError, match="already"):
        back_up(filled, tmp_path / "copy.db")
    assert (tmp_path / "copy.db").read_text() == "mine"


def test_a_copy_that_cannot_be_written_leaves_nothing(filled: Engine, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(StorageError, match="cannot be written"):
        back_up(filled, tmp_path / "file" / "copy.db")


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    engine = open_database(f"sqlite:///{tmp_path / 'source.db'}")
    migrate(engine)
    with transaction(engine) as session:
        save_ground(session, ground(), NOON)
        enqueue_message(session, message())
    back_up(engine, tmp_path / "copy.db")
    engine.dispose()
    return tmp_path / "copy.db"


def test_the_old_sqlite_database_is_kept_whole(copy: Path, tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'forecaster.db'}"
    engine = open_database(url)
    migrate(engine)
    with transaction(engine) as session:
        save_ground(session, ground(name="The one before"), NOON)
    engine.dispose()
    _, old = restore(copy, url, set_aside=".before")
    assert old == tmp_path / "forecaster.db.before"
    with closing(sqlite3.connect(old)) as kept:
        assert "The one before" in kept.execute("SELECT document FROM ground").fetchone()[0]


def test_a_copy_of_a_newer_version_is_refused_and_the_database_stays(copy: Path, tmp_path: Path) -> None:
    with closing(sqlite3.connect(copy)) as newer, newer:
        newer.execute("UPDATE alembic_version SET version_num = '9999'")
    url = f"sqlite:///{tmp_path / 'source.db'}"
    with pytest.raises(StorageError, match="newer version"):
        restore(copy, url, set_aside=".before")
    assert not (tmp_path / "source.db.before").exists()


@pytest.mark.parametrize("fault", ["cut short", "a page of noise", "something else", "not there"])
def test_a_damaged_copy_is_refused_and_the_database_stays(copy: Path, tmp_path: Path, fault: str) -> None:
    raw = bytearray(copy.read_bytes())
    if fault == "cut short":
        copy.write_bytes(raw[: len(raw) // 2])
    elif fault == "a page of noise":
        raw[4096:8192] = b"\xa5" * 4096
        copy.write_bytes(raw)
    elif fault == "something else":
        copy.write_text("Dear groundsperson,\n" * 400)
    else:
        copy.unlink()
    with pytest.raises(StorageError) as caught:
        restore(copy, f"sqlite:///{tmp_path / 'source.db'}", set_aside=".before")
    assert str(copy) in caught.value.message
    assert not (tmp_path / "source.db.before").exists()
    assert checked_counts(tmp_path / "source.db")["message"] == 1


def test_nothing_is_written_over_what_a_postgresql_database_holds(filled: Engine, copy: Path, database_kind: str) -> None:
    if database_kind == "postgresql":
        before = everything(filled)
        with pytest.raises(StorageError, match="something in the database already"):
            restore(copy, str(filled.url), set_aside=".before")
        assert everything(filled) == before


def test_an_older_schema_is_copied_before_it_is_changed(tmp_path: Path) -> None:
    path = tmp_path / "forecaster.db"
    engine = open_database(f"sqlite:///{path}")
    migrate(engine)
    assert list(tmp_path.glob("*.schema-*")) == [], "a new database has nothing to keep"
    with transaction(engine) as session:
        session.execute(text("DROP TABLE task"))
        session.execute(text("CREATE TABLE task (name VARCHAR NOT NULL PRIMARY KEY)"))
        session.execute(text("UPDATE alembic_version SET version_num = (SELECT '0010')"))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("alembic.command.upgrade", lambda *_args: None)  # the change itself is tested elsewhere
        migrate(engine)
    engine.dispose()
    with closing(sqlite3.connect(tmp_path / "forecaster.db.schema-0010")) as kept:
        assert kept.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert kept.execute("SELECT version_num FROM alembic_version").fetchone() == ("0010",)


def test_only_the_newest_copies_are_kept(tmp_path: Path) -> None:
    for day in range(1, 8):
        (tmp_path / f"forecaster-2026-09-0{day}.db").write_text("")
    (tmp_path / "mine.db").write_text("")
    prune_copies(tmp_path, "forecaster-*.db", 3, newest=tmp_path / "forecaster-2026-09-07.db")
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        *(f"forecaster-2026-09-0{day}.db" for day in (5, 6, 7)), "mine.db",
    ]  # fmt: skip


def test_copies_of_a_clock_that_was_ahead_neither_count_nor_push_out_the_one_just_made(tmp_path: Path) -> None:
    for name in ("2026-09-06", "2026-09-07", "2030-01-01"):
        (tmp_path / f"forecaster-{name}.db").write_text("")
    prune_copies(tmp_path, "forecaster-*.db", 1, newest=tmp_path / "forecaster-2026-09-07.db")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["forecaster-2026-09-07.db", "forecaster-2030-01-01.db"]


def test_a_database_that_somebody_has_open_is_not_replaced(copy: Path, tmp_path: Path) -> None:
    """Another process that reads: what it has open would be taken away from under it, and a commit in its side file be lost."""
    path = tmp_path / "source.db"
    held = (
        "import sqlite3, sys; c = sqlite3.connect(sys.argv[1]); c.execute('BEGIN'); "
        "c.execute('SELECT count(*) FROM ground').fetchone(); print('held', flush=True); sys.stdin.read()"
    )
    with subprocess.Popen([sys.executable, "-c", held, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as reader:
        assert reader.stdout is not None
        assert reader.stdout.readline() == "held\n"
        with pytest.raises(StorageError, match="is in use"):
            restore(copy, f"sqlite:///{path}", set_aside=".before")
        assert not (tmp_path / "source.db.before").exists()
        reader.communicate("")
    assert checked_counts(path)["message"] == 1


def test_a_damaged_database_is_set_aside_as_it_is(copy: Path, tmp_path: Path) -> None:
    path = tmp_path / "broken.db"
    path.write_bytes(b"not a database any more " * 400)
    counts, old = restore(copy, f"sqlite:///{path}", set_aside=".before")
    assert old is not None
    assert old.read_bytes().startswith(b"not a database any more")
    assert checked_counts(path)["message"] == counts["message"] == 1


def test_where_there_was_no_database_nothing_is_set_aside(copy: Path, tmp_path: Path) -> None:
    _, old = restore(copy, f"sqlite:///{tmp_path / 'new' / 'forecaster.db'}", set_aside=".before")
    assert old is None
    assert [path.name for path in (tmp_path / "new").iterdir()] == ["forecaster.db"]
