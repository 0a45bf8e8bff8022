"""Planted secrets are looked for in everything that comes out: log, errors, lists, answers, and what the database holds."""

from __future__ import annotations

import json
import logging
import os
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import closing
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from unittest.mock import patch

import pytest
from starlette.testclient import TestClient

from forecaster.settings.shipped import copy_shipped_config
from forecaster.storage.database import open_database, transaction
from forecaster.storage.models import ServiceSecretRow
from forecaster.web.app import from_environment
from tests.command.conftest import clean_environment, invoke

PLANTED = ("s3cret-mail", "s3cret-service", "s3cret-database", "s3cret-heartbeat", "s3cret-calendar")
CLOSED = "127.0.0.1:9"  # the discard port, RFC 863: nobody listens there


class _Repeats(BaseHTTPRequestHandler):
    """A service that refuses everything and repeats what it was asked."""

    def do_GET(self) -> None:
        body = json.dumps({"error": True, "reason": f"wrong key {self.headers.get('X-Api-Key')}: {self.path}"}).encode()
        self.send_response(400)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)
        ASKED.append(f"{self.path} {self.headers}")

    def log_message(self, *_words: object) -> None:
        """In place of the standard error."""


ASKED: list[str] = []


@pytest.fixture
def refusing() -> Iterator[str]:
    """The address of such a service."""
    ASKED.clear()
    with ThreadingHTTPServer(("127.0.0.1", 0), _Repeats) as server:
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05})
        thread.start()
        yield f"http://127.0.0.1:{server.server_port}"
        server.shutdown()
        thread.join(5)


def settings_of(folder: Path, service: str = f"http://{CLOSED}") -> dict[str, str]:
    """A ground with real weather and a calendar, where everything that is asked outside fails."""
    config = folder / "config"
    copy_shipped_config(config)
    ground = next((config / "grounds").glob("*.toml"))
    text = ground.read_text(encoding="utf-8").replace('source = "sample"', 'source = "open-meteo"')
    ground.write_text(f'calendar = "https://127.0.0.1/{PLANTED[4]}.ics"\n{text}', encoding="utf-8")
    return {
        "FORECASTER_CONFIG": str(config),
        "FORECASTER_DATA": str(folder / "data"),
        "FORECASTER_SMTP_HOST": "127.0.0.1",
        "FORECASTER_SMTP_PORT": "9",
        "FORECASTER_SMTP_TLS": "none",
        "FORECASTER_SMTP_USER": "robot",
        "FORECASTER_SMTP_PASSWORD": PLANTED[0],
        "FORECASTER_MAIL_FROM": "robot@example.org",
        "FORECASTER_OPENMETEO_KEY": PLANTED[1],
        "FORECASTER_OPENMETEO_URL": service,
        "FORECASTER_OPENMETEO_ARCHIVE_URL": service,
        "FORECASTER_OPENMETEO_ENSEMBLE_URL": f"http://{CLOSED}",
        "FORECASTER_NASA_POWER_URL": f"http://{CLOSED}",
        "FORECASTER_HEARTBEAT_URL": f"{service}/{PLANTED[3]}",
        "FORECASTER_PUBLIC_URL": "https://turf.example",
    }


def found_in(text: str | bytes, secrets: tuple[str, ...]) -> list[str]:
    raw = text.encode() if isinstance(text, str) else text
    return [secret for secret in secrets if secret.encode() in raw]


def test_no_secret_comes_out_anywhere(tmp_path: Path, caplog: pytest.LogCaptureFixture, refusing: str) -> None:
    caplog.set_level(logging.DEBUG)
    settings = settings_of(tmp_path, refusing)
    key = invoke("keys", "add", "Office", "--read-write", **settings).stdout.strip()
    assert len(key) > 20
    said = {
        " ".join(words): (lambda done: done.stdout + done.stderr)(invoke(*words, **settings))
        for words in (("check",), ("run",), ("keys", "list"), ("mail", "list"), ("send-test", "me@example.org"))
    }
    assert any(PLANTED[1] in path for path in ASKED)  # the key was sent, and sent back
    assert "Office" in said["keys list"]
    assert "127.0.0.1" in said["send-test me@example.org"]

    with patch.dict(os.environ, clean_environment(**settings), clear=True):
        app = from_environment()
    client = TestClient(app, base_url="https://turf.example", raise_server_exceptions=False)
    paths = [path for path, item in client.app.openapi()["paths"].items() if "get" in item]  # type: ignore[attr-defined]
    paths = [p.replace("{ground}", "brackenholt").replace("{surface}", "main-pitch") for p in paths]
    assert "/api/v1/grounds/brackenholt" in paths
    with_key = {"Authorization": f"Bearer {key}"}
    for path in (*paths, "/metrics", "/", "/grounds/brackenholt", "/api/v1/openapi.json"):
        answer = client.get(path, headers=with_key)
        assert answer.status_code != 401, path
        said[path] = answer.text + str(answer.headers)
    assert "not public" in said["/grounds/brackenholt"]  # the calendar was asked for, and its failure is told
    # A wrong key is not repeated either.
    said["refused"] = client.get("/api/v1/grounds", headers={"Authorization": f"Bearer {key}x"}).text

    engine = open_database(f"sqlite:///{tmp_path / 'data' / 'forecaster.db'}")
    with transaction(engine) as session:
        shared = [row.value for row in session.query(ServiceSecretRow)]
    engine.dispose()
    assert shared
    hidden = (*PLANTED, key, *(value.hex() for value in shared))
    for where, text in said.items():
        assert found_in(text, hidden) == [], where
    assert len(caplog.records) > 5
    assert found_in("\n".join(record.getMessage() + (record.exc_text or "") for record in caplog.records), hidden) == []

    # What the database holds, with all its pages and whatever is not yet moved into them; the shared secrets live there by design.
    with closing(sqlite3.connect(tmp_path / "data" / "forecaster.db")) as database:
        dump = "\n".join(database.iterdump())
    assert "Office" in dump
    files = b"".join(path.read_bytes() for path in (tmp_path / "data").iterdir() if path.is_file())
    assert found_in(dump, (*PLANTED, key)) == []
    assert found_in(files, (*PLANTED, key)) == []


def test_a_database_that_cannot_be_reached_is_told_without_its_password(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.DEBUG)
    settings = settings_of(tmp_path) | {"FORECASTER_DATABASE_URL": f"postgresql://forecaster:{PLANTED[2]}@{CLOSED}/forecaster"}
    for words in (("keys", "list"), ("run",)):
        result = invoke(*words, **settings)
        assert result.exit_code != 0
        assert "database" in (result.stdout + result.stderr).lower()
        assert found_in(result.stdout + result.stderr, PLANTED) == []
    assert found_in("\n".join(record.getMessage() + (record.exc_text or "") for record in caplog.records), PLANTED) == []
