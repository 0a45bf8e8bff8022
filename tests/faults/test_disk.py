"""The disk fills up, the file cannot be written, is locked or damaged: clear words, a sound database, no message lost or doubled."""

from __future__ import annotations

import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import Engine, event

from forecaster.errors import StorageError
from forecaster.pipeline.claims import run_cycles
from forecaster.pipeline.cycle import register_grounds
from forecaster.scheduler import run_due
from forecaster.storage.database import open_database
from tests.faults.conftest import Workers, folder_with_weather, set_up
from tests.faults.due_work import REFUSED
from tests.faults.sound import assert_sound, contents
from tests.pipeline.conftest import Service, made_in

NOBODY = 65534


@pytest.fixture
def begun(tmp_path: Path, weather_file: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Service]:
    """A service on an SQLite file before its first run."""
    monkeypatch.setattr("forecaster.pipeline.cycle.chart_set", lambda _outlook: {})
    folder = folder_with_weather(tmp_path, "begun", weather_file)
    with made_in(folder, f"sqlite:///{folder / 'forecaster.db'}", write=False) as service:
        register_grounds(service.context())
        yield service


def limit_pages(engine: Engine, more: int) -> None:
    """Let the file grow by so many pages and no further, as a full disk would. Holds for connections opened from now on."""
    with engine.connect() as connection:
        pages = int(connection.exec_driver_sql("PRAGMA page_count").scalar_one())
    engine.dispose()

    def limit(connection: sqlite3.Connection, _record: object) -> None:
        connection.execute(f"PRAGMA max_page_count = {pages + more}")

    event.listen(engine, "connect", limit)


def test_a_disk_that_is_full_at_any_page_costs_a_run_and_nothing_else(
    begun: Service, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    expected, full, trials = None, 0, 0
    for more in (100_000, 0, 1, 2, 3, 5, 8, 12, 16, 20, 24, 28, 32, 40, 48, 64):
        folder = tmp_path / f"pages-{more}"
        shutil.copytree(begun.folder, folder)
        url = f"sqlite:///{folder / 'forecaster.db'}"
        with made_in(folder, url, write=False) as service:
            limit_pages(service.engine, more)
            problem = None
            try:
                run_due(service.context())
            except StorageError as error:
                problem = error
            assert problem is None or ("full" in problem.message and problem.hint), more
            full += problem is not None or len(service.outlooks()) == 0
            assert_sound(service.engine)
        with made_in(folder, url, write=False) as service:  # there is room again
            service.wait(minutes=30)
            run_due(service.context())
            assert_sound(service.engine)
            found = contents(service.engine)
            found.pop("cycles")  # a run that failed may be on record beside the one that went well
            expected = expected or found
            assert {key: status for key, status in found["messages"] if "failure" not in key} == dict(expected["messages"]), more
            assert found["outlooks"] == expected["outlooks"]
            assert found["episodes"] == expected["episodes"]
            copies = [str(mail["Message-ID"]) for mail in service.mails()]
            assert len(copies) == len(set(copies))
        trials += 1
    assert full >= 5, "the disk must have been full in the middle of runs"
    with capsys.disabled():
        print(f"\n{trials} trials of a disk with room for 0 to 64 pages more; {full} times it was full")


def test_a_database_that_another_user_owns_is_one_clear_line_for_a_process_without_rights(
    workers: Workers, weather_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    if os.geteuid() != 0:
        pytest.fail("this test needs a second user, so it runs as root: as the checks do")
    with tempfile.TemporaryDirectory() as name:
        parent = Path(name)
        parent.chmod(0o755)
        trials = 0
        for fault in ("file", "folder", "below a file"):
            folder = folder_with_weather(parent, fault.replace(" ", "-"), weather_file)
            database = folder / "forecaster.db"
            if fault == "below a file":
                database.write_text("")
                database = database / "forecaster.db"
            else:
                set_up(f"sqlite:///{database}")
                database.chmod(0o444 if fault == "file" else 0o666)
                folder.chmod(0o755 if fault == "folder" else 0o777)
            said = parent / f"said-{trials}"
            said.write_text("")
            said.chmod(0o666)
            code = workers.do(url=f"sqlite:///{database}", folder=folder, uid=NOBODY, said=str(said))
            assert code == REFUSED, fault
            message, hint = said.read_text().splitlines()
            assert str(database) in message
            assert hint
            trials += 1
    assert workers.postbox.received == []
    with capsys.disabled():
        print(f"\n{trials} trials of a database that may not be written")


def test_a_database_that_stays_locked_costs_a_run_and_nothing_else(begun: Service) -> None:
    hurried = open_database(str(begun.engine.url), busy_seconds=0.1)
    service = Service(begun.folder, hurried, begun.configuration)
    with closing(sqlite3.connect(begun.folder / "forecaster.db", isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StorageError, match="locked") as caught:
            run_due(service.context())
        assert caught.value.hint
    assert run_due(service.context()) == (service.ground.id,)
    assert_sound(hurried)
    assert len(service.mails()) == 2
    hurried.dispose()


def test_damage_anywhere_in_the_file_is_said_and_never_a_reason_to_send_twice(
    begun: Service, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run_cycles(begun.context())
    run_due(begun.context())
    before = {str(mail["Message-ID"]) for mail in begun.mails()}
    assert len(before) == 2
    begun.engine.dispose()
    raw = (begun.folder / "forecaster.db").read_bytes()
    page = 4096
    trials, said = 0, 0
    for number in range(0, len(raw) // page, max(1, len(raw) // page // 24)):
        folder = tmp_path / f"page-{number}"
        shutil.copytree(begun.folder, folder, ignore=shutil.ignore_patterns("*-wal", "*-shm"))
        damaged = bytearray(raw)
        damaged[number * page : (number + 1) * page] = b"\xa5" * page
        (folder / "forecaster.db").write_bytes(damaged)
        problem = None
        try:
            with made_in(folder, f"sqlite:///{folder / 'forecaster.db'}", write=False) as service:
                service.wait(hours=3)
                run_due(service.context())
                service.alerts()
        except StorageError as error:
            problem = error
        assert problem is None or (str(folder / "forecaster.db") in problem.message and problem.hint), number
        said += problem is not None
        mails = [path.name for path in (folder / "mail").glob("*.eml")]
        assert len(mails) == len(set(mails))
        trials += 1
    assert said >= 1
    with capsys.disabled():
        print(f"\n{trials} trials of one damaged page; {said} times it was in the way and said")
