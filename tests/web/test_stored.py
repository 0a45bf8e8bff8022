"""The reads over a real database give the same documents as the ones put in."""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from datetime import timedelta

import pytest
from sqlalchemy import Engine, update
from starlette.testclient import TestClient

from forecaster.documents import AlertDocument
from forecaster.storage.cycles import CycleRecord, save_cycle
from forecaster.storage.database import migrate, open_database, transaction
from forecaster.storage.episodes import save_episode
from forecaster.storage.grounds import save_ground
from forecaster.storage.models import CycleRow, GroundRow, OutlookRow
from forecaster.storage.outlooks import save_outlook
from forecaster.web.app import create_app
from forecaster.web.reading import CycleView
from forecaster.web.stored import StoredReads
from tests.web import builders


@pytest.fixture
def engine(database_url: str) -> Iterator[Engine]:
    opened = open_database(database_url)
    migrate(opened)
    with transaction(opened) as session:
        save_ground(session, builders.ground(), builders.NOW)
        for outlook in (builders.pitch(), builders.green()):
            save_outlook(session, outlook, {"water_phone": "<svg></svg>"})
        for alert in reversed(builders.alerts()):
            save_episode(session, alert, None)
    yield opened
    opened.dispose()


def test_what_was_kept_is_read(engine: Engine) -> None:
    store = StoredReads(engine, lambda: builders.NOW)
    assert list(store.grounds()) == [builders.ground()]
    assert store.ground("thistlefold") == builders.ground()
    assert store.ground("nowhere") is None
    assert store.outlook("thistlefold", "main-pitch") == builders.pitch()
    assert store.outlook("thistlefold", "outfield") is None
    assert {o.surface_id for o in store.latest_outlooks("thistlefold")} == {"main-pitch", "bowling-green"}
    assert store.charts("thistlefold", "main-pitch") == {"water_phone": "<svg></svg>"}
    assert store.charts("thistlefold", "outfield") == {}


def test_what_is_left_of_a_surface_that_was_taken_out_does_not_keep_the_others_from_being_shown(engine: Engine) -> None:
    """After an upgrade no cycle writes it anew, so it stays in the shape of the old version for good."""
    with transaction(engine) as session:
        save_outlook(session, builders.pitch().model_copy(update={"surface_id": "dug-up"}), {})
        session.execute(update(OutlookRow).where(OutlookRow.surface_id == "dug-up").values(document=zlib.compress(b"{}")))
    assert {o.surface_id for o in StoredReads(engine, lambda: builders.NOW).latest_outlooks("thistlefold")} == {
        "main-pitch",
        "bowling-green",
    }


def test_alerts_come_newest_first_and_within_the_limit(engine: Engine) -> None:
    store = StoredReads(engine, lambda: builders.NOW)

    def ids(alerts: object) -> list[str]:
        return [a.id for a in alerts if isinstance(a, AlertDocument)]  # type: ignore[attr-defined]

    assert ids(store.alerts("thistlefold", include_ended=False, limit=9)) == ["a-2"]
    assert ids(store.alerts("thistlefold", include_ended=True, limit=9)) == ["a-2", "a-1"]
    assert ids(store.alerts("thistlefold", include_ended=True, limit=1)) == ["a-2"]


def test_a_failed_cycle_does_not_hide_the_last_good_one(engine: Engine) -> None:
    store = StoredReads(engine, lambda: builders.NOW)
    assert store.last_cycle("thistlefold") is None
    good, bad = builders.ISSUED, builders.ISSUED + timedelta(hours=1)
    with transaction(engine) as session:
        save_cycle(session, CycleRecord("thistlefold", good, good, "degraded", builders.STALE))
    with transaction(engine) as session:
        save_cycle(session, CycleRecord("thistlefold", bad, bad, "failed", None, "storage-error", "the disk is full"))
    assert store.last_cycle("thistlefold") == CycleView(good_at_utc=good, tried_at_utc=bad, problem="the disk is full")


@pytest.mark.parametrize("row", [GroundRow, CycleRow])
def test_what_another_version_wrote_is_a_page_in_plain_words_not_a_fault(engine: Engine, row: type[GroundRow | CycleRow]) -> None:
    old = {"title": "in the shape of another version"}
    with transaction(engine) as session:
        save_cycle(session, CycleRecord("thistlefold", builders.ISSUED, builders.ISSUED, "ok", builders.FRESH))
        session.execute(update(GroundRow).values(document=old) if row is GroundRow else update(CycleRow).values(weather=old))
    app = create_app(StoredReads(engine, lambda: builders.NOW), now=lambda: builders.NOW)
    with TestClient(app, base_url="http://localhost", raise_server_exceptions=False) as client:
        page, api = client.get("/grounds/thistlefold"), client.get("/api/v1/health")
    assert (page.status_code, api.status_code) == (503, 503)
    assert "What is stored cannot be read" in page.text
    assert "another version of the program" in page.text
    assert api.json()["slug"] == "storage-error"
    assert api.json()["hint"]
