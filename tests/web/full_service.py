"""An application over a real database with the invented ground in it, and everything that people can enter."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from fastapi import FastAPI
from sqlalchemy import Engine

from forecaster.pipeline.summaries import rules_document
from forecaster.settings.configuration import load_configuration
from forecaster.settings.shipped import shipped_folder
from forecaster.storage.cycles import CycleRecord, save_cycle
from forecaster.storage.database import migrate, open_database, transaction
from forecaster.storage.episodes import save_episode
from forecaster.storage.grounds import save_ground
from forecaster.storage.outlooks import save_outlook
from forecaster.storage.service_documents import BOOKING, RULES, save_service_document
from forecaster.web.access import Doors
from forecaster.web.app import create_app
from forecaster.web.keys import StoredKeys
from forecaster.web.recorded import StoredRecords
from forecaster.web.stored import StoredReads
from tests.web import builders

OPEN, ENDED = "thistlefold/main-pitch/rings-showing/2026-09-08", "thistlefold/main-pitch/drought/2026-07-16"


@contextmanager
def filled_database(folder: Path) -> Iterator[Engine]:
    """A database as a cycle leaves it: two grounds, outlooks of two surfaces, an open and an ended alert, rules and limits."""
    engine = open_database(f"sqlite:///{folder / 'x.db'}")
    migrate(engine)
    configuration = load_configuration(shipped_folder("config"))
    with transaction(engine) as session:
        save_service_document(session, RULES, rules_document(configuration.rules), builders.NOW)
        save_service_document(session, BOOKING, configuration.booking, builders.NOW)
        save_ground(session, builders.ground(), builders.NOW)
        save_ground(session, builders.other_ground(), builders.NOW)
        for outlook in (builders.pitch(), builders.green()):
            save_outlook(session, outlook, {"water_phone": "<svg></svg>"})
        for ground_id in ("thistlefold", "mossbank"):
            save_cycle(session, CycleRecord(ground_id, builders.ISSUED, builders.ISSUED, "ok", builders.FRESH))
        for alert, identity in zip(builders.alerts(), (OPEN, ENDED), strict=True):
            save_episode(session, alert.model_copy(update={"id": identity}), None)
    yield engine
    engine.dispose()


def full_app(
    engine: Engine,
    now: Callable[[], datetime] = lambda: builders.NOW,
    *,
    doors: Doors | None = None,
    keys: StoredKeys | None = None,
) -> FastAPI:
    """The whole application over a database."""
    return create_app(StoredReads(engine, now), records=StoredRecords(engine, now), now=now, doors=doors, keys=keys)
