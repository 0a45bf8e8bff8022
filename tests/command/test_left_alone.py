"""What machines read of the service: its log, what systemd is told, and when there is work."""

from __future__ import annotations

import json
import logging
import os
import socket
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from forecaster import watchdog
from forecaster.logs import RUN_ID, JsonLines
from forecaster.storage.conditions import conditions
from forecaster.storage.database import migrate, open_database, reading, transaction
from forecaster.storage.tasks import Task, drop_other_tasks, ensure_task
from forecaster.worker import Worker, something_is_due
from tests.command.conftest import clean_environment, invoke

NOON = datetime(2026, 9, 14, 12, tzinfo=UTC)


def test_a_line_of_the_log_is_one_json_object_with_the_id_of_its_run() -> None:
    try:
        raise ValueError("first line\nsecond line")
    except ValueError:
        record = logging.LogRecord("forecaster.x", logging.ERROR, __file__, 1, "a %s failed", ("pull",), sys.exc_info())
    line = JsonLines().format(record)
    assert "\n" not in line
    found = json.loads(line)
    assert (found["level"], found["run"], found["message"]) == ("error", RUN_ID, "a pull failed")
    assert "second line" in found["error"]
    assert datetime.fromisoformat(found["time"]).tzinfo is not None


def test_systemd_is_told_by_a_datagram_and_nothing_happens_where_nobody_listens(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, socket_enabled: None
) -> None:
    monkeypatch.delenv("NOTIFY_SOCKET", raising=False)
    assert not watchdog.tell_systemd("READY=1")
    monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "nobody"))
    assert not watchdog.tell_systemd("READY=1")
    address = f"@forecaster-test-{os.getpid()}"
    monkeypatch.setenv("NOTIFY_SOCKET", address)
    monkeypatch.setenv("WATCHDOG_USEC", "600000000")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as systemd:
        systemd.bind("\0" + address[1:])
        systemd.settimeout(5.0)
        assert watchdog.tell_systemd("READY=1")
        monkeypatch.setattr(watchdog, "_last_alive", float("-inf"))
        watchdog.tell_alive()
        watchdog.tell_alive()
        assert [systemd.recv(100), systemd.recv(100)] == [b"READY=1", b"WATCHDOG=1"]
        systemd.settimeout(0.1)
        with pytest.raises(TimeoutError):
            systemd.recv(100)  # no oftener than it takes


def test_the_worker_starts_a_process_only_where_something_is_due_or_the_configuration_changed(tmp_path: Path) -> None:
    engine = open_database(f"sqlite:///{tmp_path / 'forecaster.db'}")
    migrate(engine)
    config = tmp_path / "config"
    config.mkdir()
    started = tmp_path / "started"
    command = [sys.executable, "-c", f"open({str(started)!r}, 'a').write('x')"]
    worker = Worker(engine, lambda: NOON, command, watched=config)
    assert not worker.tick()
    assert not started.exists()
    with transaction(engine) as session:
        ensure_task(session, Task("cycle", "hollow"), NOON)
    assert something_is_due(engine, NOON)
    assert worker.tick()
    with transaction(engine) as session:
        drop_other_tasks(session, "cycle", ())
    assert not worker.tick()
    (config / "rules.toml").write_text("")
    assert worker.tick()
    assert not worker.tick()
    assert started.read_text() == "xx"
    engine.dispose()


def test_a_run_of_the_service_goes_on_with_the_last_valid_configuration_and_says_so(run_once: Path, tmp_path: Path) -> None:
    config = tmp_path / "config"
    assert invoke("init", str(config)).exit_code == 0
    first = run_service(run_once, config)
    assert first.returncode == 0, first.stderr
    (config / "rules.toml").write_text("not = [toml", encoding="utf-8")
    second = run_service(run_once, config)
    assert second.returncode == 0, second.stderr
    assert "rules.toml" in second.stderr
    engine = open_database(f"sqlite:///{run_once / 'forecaster.db'}")
    with reading(engine) as session:
        (told,) = conditions(session)
    engine.dispose()
    assert told.name == "configuration"
    assert "the last valid one is in use" in told.text


def run_service(data: Path, config: Path) -> subprocess.CompletedProcess[str]:
    environment = clean_environment(FORECASTER_DATA=str(data), FORECASTER_CONFIG=str(config))
    process = subprocess.Popen(
        [sys.executable, "-m", "forecaster", "work"], env=environment, stdin=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert process.stdin is not None
    assert process.stderr is not None
    code = process.wait(timeout=60)
    said = process.stderr.read()
    process.stdin.close()
    process.stderr.close()
    return subprocess.CompletedProcess([], code, "", said)
