"""``demo`` and ``serve``: two processes that start, answer and stop together."""

from __future__ import annotations

import asyncio
import json
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path

import psutil
import pytest
from aiosmtpd.smtp import SMTP, Envelope, Session

from forecaster.settings.shipped import copy_shipped_config
from forecaster.stopping import STOP_SECONDS
from forecaster.storage.database import open_database, reading
from forecaster.storage.messages import count_messages, recent_messages
from forecaster.storage.tasks import Task, due_tasks, task_standing
from forecaster.worker import only_worker
from tests.command.conftest import clean_environment
from tests.delivery.servers import Postbox, smtp_server

STARTS_WITHIN_S = 60.0


def free_port() -> int:
    with closing(socket.socket()) as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Running:
    """A service started by the command, with what it says on its standard output."""

    def __init__(self, *words: str, port: int) -> None:
        self.base = f"http://127.0.0.1:{port}"
        command = [sys.executable, "-m", "forecaster", *words, "--port", str(port)]
        self.process = subprocess.Popen(command, env=clean_environment(), stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)

    def get(self, path: str) -> str:
        with urllib.request.urlopen(self.base + path, timeout=5) as answer:
            return str(answer.read().decode())

    def wait_until_healthy(self) -> None:
        until = time.monotonic() + STARTS_WITHIN_S
        while time.monotonic() < until:
            assert self.process.poll() is None, self.process.stdout.read()
            try:
                self.get("/api/v1/health")
            except (urllib.error.URLError, OSError):
                time.sleep(0.1)
            else:
                return
        raise AssertionError("the service did not become healthy")

    def children(self) -> dict[str, psutil.Process]:
        found = psutil.Process(self.process.pid).children()
        return {child.cmdline()[-1]: child for child in found if child.cmdline()[-1] in ("worker", "web")}


@contextmanager
def running(folder: Path) -> Iterator[Running]:
    service = Running("demo", "--data", str(folder), port=free_port())
    try:
        service.wait_until_healthy()
        yield service
    finally:
        if service.process.poll() is None:
            service.process.terminate()
        service.process.communicate(timeout=30)


@pytest.fixture
def demo(tmp_path: Path) -> Iterator[Running]:
    """The demonstration from its very beginning."""
    with running(tmp_path) as service:
        yield service


@pytest.fixture
def demo_again(run_once: Path) -> Iterator[Running]:
    """The demonstration on a folder where a cycle has run before: what these tests look at comes after that."""
    with running(run_once) as service:
        yield service


def test_the_demo_serves_pages_api_and_mails_marked_as_sample_and_stops_in_order(demo: Running, tmp_path: Path) -> None:
    grounds = json.loads(demo.get("/api/v1/grounds"))
    assert "brackenholt" in json.dumps(grounds)
    for path in ("/", "/grounds/brackenholt", "/grounds/brackenholt/surfaces/main-pitch"):
        assert "Sample weather" in demo.get(path), path
    until = time.monotonic() + 10.0
    while not (mails := list((tmp_path / "mail").glob("*.eml"))) and time.monotonic() < until:
        time.sleep(0.1)
    assert len(mails) >= 1
    children = list(demo.children().values())
    assert len(children) == 2
    # The service looks at its own health now and then, and says its address after that: maybe later than this test can read pages.
    assert demo.process.stdout is not None
    said = ""
    while demo.base not in said and (line := demo.process.stdout.readline()):
        said += line
    assert demo.base in said
    assert "invented" in said
    demo.process.send_signal(signal.SIGINT)
    demo.process.communicate(timeout=30)
    assert demo.process.returncode == 0
    assert not any(child.is_running() and child.status() != psutil.STATUS_ZOMBIE for child in children)


def test_when_the_cycle_process_dies_the_service_ends_and_says_so(demo_again: Running) -> None:
    demo_again.children()["worker"].kill()
    said, _ = demo_again.process.communicate(timeout=30)
    assert demo_again.process.returncode == 1
    assert "the cycle process ended" in said


def test_when_its_terminal_is_closed_the_service_ends_and_leaves_no_process_behind(demo_again: Running) -> None:
    children = list(demo_again.children().values())
    demo_again.process.send_signal(signal.SIGHUP)
    demo_again.process.communicate(timeout=30)
    assert demo_again.process.returncode == 0
    assert not any(child.is_running() and child.status() != psutil.STATUS_ZOMBIE for child in children)


class SlowPostbox(Postbox):
    """Takes its time over the first message."""

    def __init__(self) -> None:
        super().__init__()
        self.asked = threading.Event()

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        self.asked.set()
        await asyncio.sleep(2.0)
        return await super().handle_DATA(server, session, envelope)


def test_a_cycle_process_that_is_stopped_while_sending_finishes_that_message_and_leaves_no_claim(run_once: Path) -> None:
    """An orderly stop is no crash: the message arrives once, and the next start does not send it again."""
    postbox = SlowPostbox()
    with smtp_server(postbox) as port:
        settings = {"DATA": str(run_once), "FIXED_NOW": "2026-09-12T05:00:00Z", "SMTP_HOST": "127.0.0.1", "SMTP_PORT": str(port)}
        settings |= {"SMTP_TLS": "none", "MAIL_FROM": "outlook@ground.example"}
        environment = clean_environment(**{f"FORECASTER_{name}": value for name, value in settings.items()})
        worker = subprocess.Popen([sys.executable, "-m", "forecaster", "worker"], env=environment)
        try:
            assert postbox.asked.wait(STARTS_WITHIN_S)
            worker.terminate()
            assert worker.wait(timeout=30) == 0
        finally:
            worker.kill()
            worker.wait()
        assert len(postbox.received) == 1
        engine = open_database(f"sqlite:///{run_once / 'forecaster.db'}")
        with reading(engine) as session:
            counts = count_messages(session)
            assert due_tasks(session, datetime(2026, 9, 12, 5, 0, tzinfo=UTC), kind="cycle") == ()
        engine.dispose()
    assert (counts["sent"], counts["claimed"], counts["waiting"]) == (1, 0, 1)


class SilentPostbox(Postbox):
    """Takes the first message and never says so."""

    def __init__(self) -> None:
        super().__init__()
        self.asked = threading.Event()

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        self.asked.set()
        await asyncio.sleep(60.0)
        return await super().handle_DATA(server, session, envelope)


def test_a_stop_does_not_wait_for_a_mail_server_that_is_silent_and_the_message_counts_as_perhaps_arrived(run_once: Path) -> None:
    postbox = SilentPostbox()
    with smtp_server(postbox) as port:
        settings = {"DATA": str(run_once), "FIXED_NOW": "2026-09-12T05:00:00Z", "SMTP_HOST": "127.0.0.1", "SMTP_PORT": str(port)}
        settings |= {"SMTP_TLS": "none", "MAIL_FROM": "outlook@ground.example"}
        stop_when(postbox.asked, "worker", settings)
    engine = open_database(f"sqlite:///{run_once / 'forecaster.db'}")
    with reading(engine) as session:
        counts = count_messages(session)
        tried = [message for message in recent_messages(session, "brackenholt") if message.interruptions]
    engine.dispose()
    assert (counts["sent"], counts["claimed"], counts["waiting"]) == (0, 0, 2)
    assert ["may have arrived" in (message.last_error or "") for message in tried] == [True]


@pytest.mark.parametrize("command", ["run", "worker"])
def test_a_stop_does_not_wait_for_a_weather_service_that_is_silent_and_the_ground_stays_due(tmp_path: Path, command: str) -> None:
    config = tmp_path / "config"
    copy_shipped_config(config)
    ground = config / "grounds" / "brackenholt.toml"
    ground.write_text(ground.read_text(encoding="utf-8").replace('source = "sample"', 'source = "open-meteo"'), encoding="utf-8")
    asked = threading.Event()
    with closing(socket.create_server(("127.0.0.1", 0))) as service:
        kept: list[socket.socket] = []

        def listen() -> None:
            kept.append(service.accept()[0])
            asked.set()

        thread = threading.Thread(target=listen)
        thread.start()
        settings = {"CONFIG": str(config), "DATA": str(tmp_path / "data")}
        settings["OPENMETEO_URL"] = settings["OPENMETEO_ARCHIVE_URL"] = f"http://127.0.0.1:{service.getsockname()[1]}"
        stop_when(asked, command, settings, code=143 if command == "run" else 0)
        thread.join()
        kept[0].close()
    engine = open_database(f"sqlite:///{tmp_path / 'data' / 'forecaster.db'}")
    with reading(engine) as session:
        standing = task_standing(session, Task("cycle", "brackenholt"))
        assert due_tasks(session, datetime.now(UTC), kind="cycle") == (Task("cycle", "brackenholt"),)
    engine.dispose()
    assert standing is not None
    assert (standing.lease_owner, standing.attempts) == (None, 1)


def stop_when(asked: threading.Event, command: str, settings: dict[str, str], *, code: int = 0) -> None:
    """Start a command, stop it once something has happened, and see that it ends in order within the ten seconds it has."""
    environment = clean_environment(**{f"FORECASTER_{name}": value for name, value in settings.items()})
    process = subprocess.Popen([sys.executable, "-m", "forecaster", command], env=environment, stderr=subprocess.PIPE, text=True)
    try:
        assert asked.wait(STARTS_WITHIN_S)
        process.terminate()
        _, said = process.communicate(timeout=STOP_SECONDS + 0.5)
        assert process.returncode == code, said
        assert "Traceback" not in said
    finally:
        process.kill()
        process.communicate()


def test_a_second_service_on_the_same_sqlite_database_is_refused_in_one_clear_line(run_once: Path) -> None:
    url = f"sqlite:///{run_once / 'forecaster.db'}"
    with only_worker(url):
        second = subprocess.run(
            [sys.executable, "-m", "forecaster", "worker"],
            env=clean_environment(FORECASTER_DATA=str(run_once)),
            capture_output=True,
            text=True,
            timeout=STARTS_WITHIN_S,
            check=False,
        )
    assert second.returncode == 1
    assert second.stderr.count("\n") == 1
    assert "another service works with the database" in second.stderr
    with only_worker(url):
        pass


def test_a_process_that_works_ends_when_the_one_that_started_it_is_gone(run_once: Path) -> None:
    """Its standard input closes then, however the other ended."""
    postbox = SlowPostbox()
    with smtp_server(postbox) as port:
        settings = {"DATA": str(run_once), "FIXED_NOW": "2026-09-12T05:00:00Z", "SMTP_HOST": "127.0.0.1", "SMTP_PORT": str(port)}
        settings |= {"SMTP_TLS": "none", "MAIL_FROM": "outlook@ground.example"}
        environment = clean_environment(**{f"FORECASTER_{name}": value for name, value in settings.items()})
        working = subprocess.Popen([sys.executable, "-m", "forecaster", "work"], env=environment, stdin=subprocess.PIPE)
        try:
            assert postbox.asked.wait(STARTS_WITHIN_S)
            assert working.stdin is not None
            working.stdin.close()
            assert working.wait(timeout=30) == 0
        finally:
            working.kill()
            working.wait()
    assert len(postbox.received) == 1, "there were two to send; the second was not begun"


def test_a_port_in_use_is_said_at_once(tmp_path: Path) -> None:
    with closing(socket.socket()) as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        service = Running("demo", "--data", str(tmp_path), port=int(taken.getsockname()[1]))
        said, _ = service.process.communicate(timeout=60)
    assert service.process.returncode == 1
    assert "FORECASTER_PORT" in said
    assert "--port" in said
    assert "Traceback" not in said
