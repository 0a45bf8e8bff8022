"""Left alone: copies, disk, silent grounds, a sign of life, and a clock that cannot be right."""

from __future__ import annotations

import shutil
import socket
import sqlite3
import threading
from contextlib import closing, suppress
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest
import requests
import responses

from forecaster.errors import StorageError
from forecaster.pipeline.context import Upkeep
from forecaster.pipeline.cycle import register_grounds
from forecaster.pipeline.upkeep import BACKUP
from forecaster.scheduler import run_due
from forecaster.sources.heartbeat import beat
from forecaster.storage.clock import doubt_of_clock
from forecaster.storage.conditions import conditions
from forecaster.storage.database import reading, transaction
from forecaster.storage.messages import recent_messages
from forecaster.storage.outlooks import latest_charts
from forecaster.storage.tasks import ensure_task
from tests.pipeline.conftest import Service

OPERATOR = "operator@example.org"
ADDRESS = "https://watch.example/secret-token"


def wrong(service: Service) -> dict[str, str]:
    with reading(service.engine) as session:
        return {condition.name: condition.text for condition in conditions(session)}


def to_operator(service: Service) -> list[str]:
    return [str(mail["Subject"]) for mail in service.mails() if mail["To"] == OPERATOR]


def run(service: Service) -> tuple[str, ...]:
    register_grounds(service.context())
    return run_due(service.context())


class TestCopies:
    def test_a_copy_is_made_once_a_day_and_the_newest_are_kept(self, service: Service, tmp_path: Path) -> None:
        service.upkeep = Upkeep(backup_folder=tmp_path / "copies", backup_keep=2)
        for _ in range(4):
            run(service)
            run(service)
            service.wait(days=1)
            service.write_weather()
        copies = sorted((tmp_path / "copies").iterdir())
        assert [path.name for path in copies] == ["forecaster-20260822T050000Z.db", "forecaster-20260823T050000Z.db"]
        with closing(sqlite3.connect(copies[-1])) as copy:
            assert copy.execute("SELECT count(*) FROM cycle").fetchone() == (4,)

    def test_a_clock_that_was_ahead_does_not_put_copies_off_for_good(self, service: Service, tmp_path: Path) -> None:
        service.upkeep = Upkeep(backup_folder=tmp_path / "copies", backup_keep=2)
        with transaction(service.engine) as session:
            ensure_task(session, BACKUP, service.now + timedelta(days=1200))
        run(service)
        assert len(list((tmp_path / "copies").iterdir())) == 1

    def test_a_copy_that_fails_is_said_to_everybody_who_watches_and_no_cycle_suffers(self, service: Service, tmp_path: Path) -> None:
        (tmp_path / "file").write_text("")
        service.operator_email = OPERATOR
        service.upkeep = Upkeep(backup_folder=tmp_path / "file" / "copies")
        assert run(service) == (service.ground.id,)
        assert "daily copy" in wrong(service)["backup"]
        assert to_operator(service) == ["The forecaster needs you"]
        service.upkeep = Upkeep(backup_folder=tmp_path / "copies")
        service.wait(hours=3)
        run(service)
        assert wrong(service) == {}
        assert len(list((tmp_path / "copies").iterdir())) == 1

    def test_a_folder_that_is_no_longer_named_leaves_no_task_behind(self, service: Service, tmp_path: Path) -> None:
        service.upkeep = Upkeep(backup_folder=tmp_path / "file.txt" / "copies")
        (tmp_path / "file.txt").write_text("")
        run(service)
        service.upkeep = Upkeep()
        run(service)
        assert wrong(service) == {}


@pytest.mark.draws
def test_before_the_disk_is_full_only_what_is_needed_is_written(service: Service, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    service.upkeep = Upkeep(disk_folder=tmp_path, low_disk_mb=500, backup_folder=tmp_path / "copies")
    service.operator_email = OPERATOR
    free = 400_000_000
    monkeypatch.setattr(shutil, "disk_usage", lambda _folder: SimpleNamespace(free=free))
    run(service)
    assert "400 MB" in wrong(service)["disk"]
    service.wait(hours=3)
    run(service)

    def charts() -> dict[str, str]:
        with reading(service.engine) as session:
            return latest_charts(session, service.ground.id, "main-pitch", now=service.now)

    assert charts() == {}
    assert not (tmp_path / "copies").exists()
    assert service.outlooks(), "what people need is written"
    assert to_operator(service).count("The forecaster needs you") == 2  # the disk, and the copy that is not written
    free = 600_000_000
    service.wait(hours=3)
    run(service)
    assert wrong(service) == {}
    service.wait(hours=3)
    run(service)
    assert charts()


def test_a_ground_that_takes_more_room_than_it_may_is_said(service: Service) -> None:
    service.upkeep = Upkeep(ground_mb=0)
    run(service)
    assert "1 of 1 grounds" in wrong(service)["budget"]
    service.upkeep = Upkeep()
    service.wait(days=1)
    run(service)
    assert wrong(service) == {}


def test_the_operator_is_told_once_a_day_of_a_ground_without_a_good_run(service: Service, monkeypatch: pytest.MonkeyPatch) -> None:
    service.operator_email = OPERATOR
    run(service)
    assert to_operator(service) == []

    def broken(*_args: object, **_kwargs: object) -> None:
        raise StorageError("no such luck")

    monkeypatch.setattr("forecaster.pipeline.inputs.run_soil", broken)
    for _ in range(10):
        service.wait(hours=6)
        run(service)
    told = [subject for subject in to_operator(service) if "no good run" in subject]
    assert len(told) == 2
    assert told[0].endswith("no good run for 24 hours")


class TestHeartbeat:
    def test_every_run_of_cycles_gives_a_sign_of_life_and_a_run_of_none_does_not(self, service: Service) -> None:
        service.upkeep = Upkeep(heartbeat_url=ADDRESS)
        with responses.RequestsMock() as outside:
            outside.get(ADDRESS, status=200)
            assert run(service)
            assert run(service) == ()
            assert len(outside.calls) == 1

    @pytest.mark.parametrize("fault", [requests.ConnectionError(f"no route to {ADDRESS}"), 500])
    def test_one_that_fails_hurts_nothing_and_its_address_stays_out_of_the_log(
        self, service: Service, caplog: pytest.LogCaptureFixture, fault: Exception | int
    ) -> None:
        service.upkeep = Upkeep(heartbeat_url=ADDRESS)
        with responses.RequestsMock() as outside:
            outside.get(ADDRESS, **({"status": fault} if isinstance(fault, int) else {"body": fault}))
            assert not beat(requests.Session(), ADDRESS)
            assert run(service) == (service.ground.id,)
        assert len(service.mails()) == 2
        assert "heartbeat" in caplog.text
        assert "secret-token" not in caplog.text

    def test_one_whose_answer_drips_is_left_behind_by_the_clock_on_the_wall(self, caplog: pytest.LogCaptureFixture) -> None:
        """A byte of the header every tenth of a second: the library's limit is per read, and never met."""
        with socket.create_server(("127.0.0.1", 0)) as listening:
            gone = threading.Event()

            def drip() -> None:
                connection, _ = listening.accept()
                with connection, suppress(OSError):
                    for letter in b"HTTP/1.1 200 OK\r\nX-Slow: " + b"x" * 600:
                        if gone.wait(0.1):
                            return
                        connection.sendall(bytes([letter]))

            dripping = threading.Thread(target=drip)
            dripping.start()
            assert not beat(requests.Session(), f"http://127.0.0.1:{listening.getsockname()[1]}/secret-token", seconds=1.0)
            gone.set()
            dripping.join()
        assert "not answered within 1 s" in caplog.text
        assert "secret-token" not in caplog.text


class TestClock:
    def test_no_message_goes_out_before_the_clock_can_be_right(self, service: Service) -> None:
        service.now = datetime(2000, 1, 1, 6, tzinfo=UTC)  # a machine without a battery clock that has just been switched on
        service.write_weather()
        run(service)
        assert service.mails() == []
        assert "cannot be" in wrong(service)["clock"]
        service.now = datetime(2026, 8, 20, 5, tzinfo=UTC)
        service.write_weather()
        run(service)
        assert len(service.mails()) == 2
        assert wrong(service) == {}

    def test_a_clock_that_steps_back_sends_nothing_until_it_is_right_again(self, ran_once: Service) -> None:
        service = ran_once
        right = service.now
        service.now = right - timedelta(days=3)
        service.write_weather()
        run(service)
        assert len(service.mails()) == 2, "those of the right day"
        assert "one of the two is wrong" in wrong(service)["clock"]
        service.now = right + timedelta(days=1)
        service.write_weather()
        run(service)
        assert len(service.mails()) == 4
        assert wrong(service) == {}

    def test_a_day_that_a_clock_ahead_took_gets_its_own_message_when_it_comes(self, service: Service) -> None:
        """The clock runs three days ahead for one run; then it is right. Two mails of the wrong day went out: they looked right."""
        right = service.now
        service.now = right + timedelta(days=3)
        service.write_weather()
        run(service)
        assert len(service.mails()) == 2
        service.now = right
        for _ in range(12):
            service.write_weather()
            run(service)
            service.wait(hours=6)
        assert wrong(service) == {}
        with reading(service.engine) as session:
            sent = [message for message in recent_messages(session, service.ground.id) if message.status == "sent"]
        days = sorted({message.local_day.day for message in sent if not message.key.startswith("ahead/")})
        assert days == [21, 22], "a day of waiting, then every day"
        for _ in range(4):
            service.write_weather()
            run(service)
            service.wait(hours=6)
        with reading(service.engine) as session:
            sent = [message for message in recent_messages(session, service.ground.id) if message.status == "sent"]
        third = [message for message in sent if message.local_day.day == 23]
        assert sorted(message.key.startswith("ahead/") for message in third) == [False, False, True, True]

    def test_an_hour_to_and_fro_is_no_reason_for_doubt(self, ran_once: Service) -> None:
        for minutes in (-60, -30, 0, 30):
            with reading(ran_once.engine) as session:
                assert doubt_of_clock(session, ran_once.now + timedelta(minutes=minutes)) is None

    def test_invented_weather_stands_still_and_is_not_doubted(self, ran_once: Service) -> None:
        for _ in range(3):
            ran_once.cycle()
        with reading(ran_once.engine) as session:
            assert doubt_of_clock(session, ran_once.now) is None
        assert replace(ran_once.context()).clock() == ran_once.now
