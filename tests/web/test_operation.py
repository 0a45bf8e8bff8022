"""Alive, ready and metrics: every number is there, what is not well is said, and nobody learns of a ground that is not theirs."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

import pytest
from prometheus_client.parser import text_string_to_metric_families
from sqlalchemy import Engine
from starlette.testclient import TestClient

from forecaster.credits import ServiceNote
from forecaster.storage.conditions import clear_condition, conditions, set_condition
from forecaster.storage.cycles import CycleRecord, save_cycle
from forecaster.storage.database import migrate, open_database, reading, transaction
from forecaster.storage.grounds import save_ground
from forecaster.storage.messages import enqueue_message
from forecaster.storage.outlooks import save_outlook
from forecaster.web.app import create_app
from forecaster.web.operation import UNSENT_LIMIT
from forecaster.web.stored import StoredReads
from tests.storage.builders import message
from tests.web import builders
from tests.web.keyed import Service

NOW = builders.ISSUED + timedelta(hours=3)


@pytest.fixture
def engine(database_url: str) -> Iterator[Engine]:
    opened = open_database(database_url, busy_seconds=0.2)
    migrate(opened)
    with transaction(opened) as session:
        save_ground(session, builders.ground(), NOW)
        save_cycle(session, CycleRecord("thistlefold", builders.ISSUED, builders.ISSUED, "ok", builders.FRESH))
        for outlook in (builders.pitch(), builders.green(), builders.outfield()):
            save_outlook(session, outlook.model_copy(update={"weather": builders.FRESH, "issued_at_utc": builders.ISSUED}), {})
    yield opened
    opened.dispose()


@pytest.fixture
def client(engine: Engine) -> Iterator[TestClient]:
    app = create_app(StoredReads(engine, lambda: NOW), now=lambda: NOW, engine=engine)
    with TestClient(app, base_url="http://localhost") as opened:
        yield opened


def test_alive_needs_nothing_but_the_process(client: TestClient) -> None:
    assert client.get("/api/v1/live").json()["alive"] is True


def test_ready_names_the_weather_services_that_are_not_well_once(client: TestClient, engine: Engine) -> None:
    assert client.get("/api/v1/ready").json()["services"] == []
    note = ServiceNote(service="open-meteo", name="Open-Meteo", state="open", text="Open-Meteo failed 4 times in a row.")
    weather = builders.FRESH.model_copy(update={"services": (note,)})
    with transaction(engine) as session:
        for outlook in (builders.pitch(), builders.green(), builders.outfield()):
            save_outlook(session, outlook.model_copy(update={"weather": weather, "issued_at_utc": builders.ISSUED}), {})
    assert client.get("/api/v1/ready").json()["services"] == [note.text]


def test_ready_gives_every_number(client: TestClient) -> None:
    answer = client.get("/api/v1/ready")
    found = answer.json()
    assert answer.status_code == 200, found["problems"]
    assert (found["ready"], found["database_writable"], found["problems"]) == (True, True, [])
    assert (found["grounds"], found["grounds_without_good_cycle"]) == (1, 0)
    assert found["oldest_last_good_cycle_age_hours"] == pytest.approx((NOW - builders.ISSUED) / timedelta(hours=1), abs=0.051)
    assert found["oldest_unsent_message_age_hours"] is None
    assert found["oldest_weather_age_hours"] > 0
    assert "Thistlefold" not in answer.text


def test_a_message_that_waits_too_long_makes_it_not_ready(client: TestClient, engine: Engine) -> None:
    for late, status in ((UNSENT_LIMIT - timedelta(minutes=1), 200), (UNSENT_LIMIT + timedelta(minutes=30), 503)):
        since = NOW - late
        waiting = message(ground_id="thistlefold", key=str(late), not_before=since, expires_at=NOW + timedelta(hours=1))
        with transaction(engine) as session:
            enqueue_message(session, waiting)
        answer = client.get("/api/v1/ready")
        assert answer.status_code == status
        assert answer.json()["oldest_unsent_message_age_hours"] == pytest.approx(late / timedelta(hours=1), abs=0.051)
    assert answer.json()["problems"] == ["A message has been waiting for 6.5 hours."]


def test_a_database_that_cannot_be_written_makes_it_not_ready(engine: Engine) -> None:
    app = create_app(StoredReads(engine, lambda: NOW), now=lambda: NOW, engine=engine)
    other = open_database(str(engine.url))
    with TestClient(app, base_url="http://localhost") as client, transaction(other) as session:
        save_ground(session, builders.ground(), NOW)
        answer = client.get("/api/v1/ready")
    other.dispose()
    assert answer.status_code == 503
    assert answer.json()["database_writable"] is False
    assert any("cannot be written" in problem for problem in answer.json()["problems"])
    assert answer.json()["grounds"] == 1, "what can be read is still told"


def test_what_is_wrong_with_the_machine_is_said_on_pages_and_checks_until_it_is_well(client: TestClient, engine: Engine) -> None:
    with transaction(engine) as session:
        assert set_condition(session, "disk", "The disk is nearly full.", NOW)
        assert not set_condition(session, "disk", "The disk is nearly full: 10 MB.", NOW + timedelta(hours=1))
    with reading(engine) as session:
        (found,) = conditions(session)
    assert found.since == NOW
    for path in ("/", "/grounds/thistlefold", "/nowhere", "/api/v1/ready"):
        assert "The disk is nearly full: 10 MB." in client.get(path).text, path
    with transaction(engine) as session:
        clear_condition(session, "disk")
    assert "nearly full" not in client.get("/").text


def test_metrics_are_what_prometheus_reads(client: TestClient, engine: Engine) -> None:
    with transaction(engine) as session:
        enqueue_message(session, message(ground_id="thistlefold"))
    families = {family.name: family for family in text_string_to_metric_families(client.get("/metrics").text)}
    assert families["forecaster_ready"].samples[0].value == 1.0
    assert {sample.labels["status"]: sample.value for sample in families["forecaster_messages"].samples}["waiting"] == 1.0
    (good,) = families["forecaster_last_good_cycle_age_seconds"].samples
    assert good.labels == {"ground": "thistlefold"}
    assert good.value == (NOW - builders.ISSUED).total_seconds()


def test_without_a_key_a_stranger_learns_only_whether_it_is_ready(service: Service) -> None:
    with service.client() as stranger:
        assert stranger.get("/api/v1/live").status_code == 200
        ready = stranger.get("/api/v1/ready")
        assert ready.status_code in (200, 503)
        assert "thistlefold" not in ready.text.lower()
        assert stranger.get("/metrics").status_code == 401
