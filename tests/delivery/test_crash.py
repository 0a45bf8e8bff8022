"""Processes that die while sending: a message arrives at most twice, and exactly once when none dies."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from datetime import datetime, timedelta
from email.message import EmailMessage
from pathlib import Path

import pytest
from sqlalchemy import Engine

from forecaster.delivery.smtp import SmtpMailer, SmtpServer
from forecaster.storage.database import migrate, open_database, reading, transaction
from forecaster.storage.grounds import save_ground
from forecaster.storage.messages import enqueue_message, recent_messages
from tests.delivery.send_due import send_due
from tests.delivery.servers import Postbox, silent_after_data, smtp_server
from tests.storage.builders import NOON, ground, message

MINUTE = timedelta(minutes=1)


@pytest.fixture
def database(database_url: str) -> Iterator[Engine]:
    engine = open_database(database_url)
    migrate(engine)
    with transaction(engine) as session:
        save_ground(session, ground(), NOON)
        enqueue_message(session, message())
    yield engine
    engine.dispose()


def start(engine: Engine, target: object, now: datetime, *, death: str = "never", owner: str = "one") -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "tests.delivery.send_due", str(engine.url), str(target), now.isoformat(), death, owner],
        cwd=Path(__file__).parents[2],
        stderr=subprocess.PIPE,
        text=True,
    )


def run(engine: Engine, target: object, now: datetime, *, death: str = "never", owner: str = "one") -> None:
    process = start(engine, target, now, death=death, owner=owner)
    _, complaint = process.communicate(timeout=60)
    assert process.returncode == (0 if death == "never" else 9), complaint


def status(engine: Engine) -> str:
    with reading(engine) as session:
        (found,) = recent_messages(session, "hollow")
    return found.status


def test_without_a_crash_a_message_arrives_once_however_often_and_by_how_many_it_is_tried(database: Engine) -> None:
    postbox = Postbox()
    with smtp_server(postbox) as port:
        together = [start(database, port, NOON, owner=owner) for owner in ("one", "two", "three")]
        for process in together:
            assert process.wait(timeout=60) == 0
            assert process.stderr is not None
            process.stderr.close()
        run(database, port, NOON + 60 * MINUTE)
    assert len(postbox.received) == 1
    assert status(database) == "sent"


def test_a_process_that_dies_before_sending_loses_nothing(database: Engine) -> None:
    postbox = Postbox()
    with smtp_server(postbox) as port:
        run(database, port, NOON, death="before-send")
        assert status(database) == "claimed"
        run(database, port, NOON + 14 * MINUTE)
        assert postbox.received == []
        run(database, port, NOON + 16 * MINUTE)
    assert len(postbox.received) == 1
    assert status(database) == "sent"


def test_a_process_that_dies_between_sending_and_marking_costs_one_more_copy_that_mailboxes_recognise(database: Engine) -> None:
    postbox = Postbox()
    with smtp_server(postbox) as port:
        run(database, port, NOON, death="after-send")
        for minutes in (5, 16, 40, 90):
            run(database, port, NOON + minutes * MINUTE)
    assert len(postbox.received) == 2
    assert len({copy["Message-ID"] for copy in postbox.messages}) == 1
    assert status(database) == "sent"


def test_two_deaths_in_a_row_never_make_a_third_copy(database: Engine) -> None:
    postbox = Postbox()
    with smtp_server(postbox) as port:
        run(database, port, NOON, death="after-send")
        run(database, port, NOON + 16 * MINUTE, death="after-send")
        run(database, port, NOON + 32 * MINUTE)
        run(database, port, NOON + 90 * MINUTE)
    assert len(postbox.received) == 2
    assert status(database) == "failed"


def test_in_a_folder_a_second_copy_is_the_same_file(database: Engine, tmp_path: Path) -> None:
    folder = tmp_path / "mail"
    run(database, folder, NOON, death="after-send")
    (first,) = folder.iterdir()
    before = first.read_bytes()
    run(database, folder, NOON + 16 * MINUTE)
    assert [path.name for path in folder.iterdir()] == [first.name]
    assert first.read_bytes() == before
    assert status(database) == "sent"


def test_a_server_that_never_answers_at_the_end_gets_the_message_twice_at_most(database: Engine) -> None:
    with silent_after_data() as (port, taken):
        mailer = SmtpMailer(SmtpServer(host="127.0.0.1", port=port, security="none", timeout_s=5.0))
        for minutes in range(0, 60, 5):
            send_due(database, mailer, owner="one", now=NOON + minutes * MINUTE)
    assert len(taken) == 2
    assert status(database) == "failed"


def test_a_message_that_another_process_took_meanwhile_is_left_to_it(database: Engine) -> None:
    """Two messages are due; while one process sends the first, another sends the other."""
    with transaction(database) as session:
        enqueue_message(session, message(key="second"))
    handed_over: list[tuple[str, str]] = []

    class Other:
        def send(self, mail: EmailMessage) -> None:
            handed_over.append(("other", mail["Message-ID"]))

    class Slow:
        def send(self, mail: EmailMessage) -> None:
            handed_over.append(("slow", mail["Message-ID"]))
            send_due(database, Other(), owner="other", now=NOON)

    send_due(database, Slow(), owner="slow", now=NOON)
    assert [who for who, _ in handed_over] == ["slow", "other"]
    assert len({name for _, name in handed_over}) == 2


def test_a_message_that_waited_past_its_use_is_not_sent(database: Engine) -> None:
    postbox = Postbox(to_messages=["451 busy"])
    with smtp_server(postbox) as port:
        mailer = SmtpMailer(SmtpServer(host="127.0.0.1", port=port, security="none"))
        send_due(database, mailer, owner="one", now=NOON)
        send_due(database, mailer, owner="one", now=message().expires_at)
    assert postbox.received == []
    assert status(database) == "expired"
