"""An application that others can reach, and keys for it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from fastapi import FastAPI
from sqlalchemy import Engine
from starlette.testclient import TestClient

from forecaster.storage.database import migrate, open_database, transaction
from forecaster.storage.keys import add_key
from forecaster.web.access import Doors
from forecaster.web.app import create_app
from forecaster.web.keys import StoredKeys
from forecaster.web.mail_desk import StoredMailDesk
from forecaster.web.recorded import StoredRecords
from tests.web import builders

PUBLIC = "https://turf.example"
ELSEWHERE = ("192.0.2.7", 40000)  # RFC 5737, documentation


@dataclass
class Clock:
    """A clock that tests move."""

    moment: datetime = datetime(2026, 9, 10, 5, 40, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.moment


@dataclass
class Service:
    """A service behind a public address, its database and its clock."""

    engine: Engine
    clock: Clock = field(default_factory=Clock)
    store: builders.MemoryStore = field(default_factory=builders.MemoryStore)
    doors: Doors = field(default_factory=lambda: Doors(keys_needed=True, public_url=PUBLIC))

    def app(self) -> FastAPI:
        return create_app(
            self.store,
            records=StoredRecords(self.engine, lambda: builders.NOW),
            mail_desk=StoredMailDesk(self.engine),
            now=lambda: builders.NOW,
            doors=self.doors,
            keys=StoredKeys(self.engine, self.clock),
            engine=self.engine,
        )

    def client(self, key: str | None = None, *, base_url: str = PUBLIC) -> TestClient:
        headers = {} if key is None else {"Authorization": f"Bearer {key}"}
        return TestClient(
            self.app(), base_url=base_url, headers=headers, client=ELSEWHERE, raise_server_exceptions=False, follow_redirects=False
        )

    def key(
        self, name: str = "office", *, may_write: bool = False, grounds: list[str] | None = None, expires_at: datetime | None = None
    ) -> str:
        with transaction(self.engine) as session:
            return add_key(session, name, may_write=may_write, grounds=grounds, now=self.clock(), expires_at=expires_at)[1]


def make_service(folder: Path) -> tuple[Service, Callable[[], None]]:
    """A service over a new database, and what closes it."""
    engine = open_database(f"sqlite:///{folder / 'forecaster.db'}")
    migrate(engine)
    return Service(engine), engine.dispose
