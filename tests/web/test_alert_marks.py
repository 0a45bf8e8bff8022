"""People say to an alert that they know of it, or put it off, and can take that back; who and when is kept."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from forecaster.storage.database import transaction
from forecaster.storage.keys import add_key
from forecaster.web.access import Doors
from forecaster.web.keys import StoredKeys
from tests.web import builders
from tests.web.full_service import ENDED, OPEN, filled_database, full_app
from tests.web.test_api import assert_problem
from tests.web.test_records import fields

ALERTS = "/api/v1/grounds/thistlefold/alerts"


@pytest.fixture
def clock() -> list[datetime]:
    return [builders.NOW]


@pytest.fixture
def client(tmp_path: Path, clock: list[datetime]) -> Iterator[TestClient]:
    with filled_database(tmp_path) as engine:
        app = full_app(engine, lambda: clock[0])
        with TestClient(app, base_url="http://localhost", raise_server_exceptions=False) as opened:
            yield opened


def shown(client: TestClient) -> dict[str, Any]:
    found: dict[str, Any] = client.get(f"{ALERTS}/{OPEN}").json()
    return found


def test_an_alert_is_acknowledged_by_the_first_who_says_so(client: TestClient, clock: list[datetime]) -> None:
    assert not shown(client)["quiet"]
    first = client.put(f"{ALERTS}/{OPEN}/acknowledgement", json={"by": "Ada", "note": "on my round"})
    assert first.status_code == 200
    clock[0] += timedelta(hours=1)
    client.put(f"{ALERTS}/{OPEN}/acknowledgement", json={"by": "Bo"})
    found = shown(client)
    assert found["quiet"]
    assert found["alert"]["acknowledgement"] == {
        "at_utc": "2026-09-10T05:40:00Z", "by": "Ada", "severity": "Severe", "note": "on my round", "ended_at_utc": None, "ended_by": None,
    }  # fmt: skip
    assert "Ada sees to it" in client.get("/grounds/thistlefold").text


def test_an_acknowledgement_is_taken_back_and_given_again(client: TestClient) -> None:
    client.put(f"{ALERTS}/{OPEN}/acknowledgement", json={"by": "Ada"})
    back = client.delete(f"{ALERTS}/{OPEN}/acknowledgement").json()["acknowledgement"]
    assert (back["by"], back["ended_by"], back["ended_at_utc"]) == ("Ada", "this machine", "2026-09-10T05:40:00Z")
    assert client.delete(f"{ALERTS}/{OPEN}/acknowledgement").json()["acknowledgement"] == back
    assert not shown(client)["quiet"]
    client.put(f"{ALERTS}/{OPEN}/acknowledgement", json={"by": "Bo"})
    assert shown(client)["alert"]["acknowledgement"]["by"] == "Bo"


def test_a_snooze_always_has_an_end_and_keeps_quiet_until_then(client: TestClient, clock: list[datetime]) -> None:
    place = f"{ALERTS}/{OPEN}/snooze"
    assert fields(client.put(place, json={"by": "Ada"})) == {"body.until_utc"}
    for wrong in (builders.NOW, builders.NOW + timedelta(days=14, seconds=1)):
        assert fields(client.put(place, json={"by": "Ada", "until_utc": wrong.isoformat()})) == {"body.until_utc"}
    until = builders.NOW + timedelta(days=14)
    assert client.put(place, json={"by": "Ada", "until_utc": until.isoformat()}).status_code == 200
    assert shown(client)["quiet"]
    assert "put off by Ada" in client.get("/grounds/thistlefold").text
    clock[0] = until
    assert not shown(client)["quiet"]
    assert "put off by Ada" not in client.get("/grounds/thistlefold").text


def test_a_snooze_is_taken_back(client: TestClient) -> None:
    client.put(f"{ALERTS}/{OPEN}/snooze", json={"by": "Ada", "until_utc": (builders.NOW + timedelta(days=2)).isoformat()})
    client.delete(f"{ALERTS}/{OPEN}/snooze")
    assert not shown(client)["quiet"]


def test_an_ended_alert_or_none_cannot_be_marked(client: TestClient) -> None:
    assert_problem(client.put(f"{ALERTS}/{ENDED}/acknowledgement", json={"by": "Ada"}), 409, "conflict")
    assert_problem(client.put(f"{ALERTS}/thistlefold/nothing/acknowledgement", json={"by": "Ada"}), 404, "not-found")
    assert client.get(f"{ALERTS}/{ENDED}").json()["alert"]["status"] == "ended"
    assert_problem(client.get(f"{ALERTS}/thistlefold/nothing"), 404, "not-found")


def test_alerts_come_in_pages(client: TestClient) -> None:
    first = client.get(ALERTS, params={"state": "all", "limit": 1}).json()
    assert [a["id"] for a in first["items"]] == [OPEN]
    last = client.get(ALERTS, params={"state": "all", "limit": 1, "next": first["next"]}).json()
    assert ([a["id"] for a in last["items"]], last["next"]) == ([ENDED], None)
    assert client.get(ALERTS, params={"surface": "outfield"}).json()["items"] == []


def test_a_list_of_alerts_that_did_not_change_is_not_sent_twice(client: TestClient) -> None:
    tag = client.get(ALERTS).headers["etag"]
    assert client.get(ALERTS, headers={"If-None-Match": tag}).status_code == 304
    client.put(f"{ALERTS}/{OPEN}/acknowledgement", json={"by": "Ada"})
    assert client.get(ALERTS, headers={"If-None-Match": tag}).status_code == 200


def test_with_a_key_it_is_the_key_s_holder_who_is_noted_whoever_the_client_names(tmp_path: Path) -> None:
    with filled_database(tmp_path) as engine:
        with transaction(engine) as session:
            key = add_key(session, "office", may_write=True, grounds=None, now=builders.NOW)[1]
        app = full_app(
            engine, doors=Doors(keys_needed=True, public_url="https://turf.example"), keys=StoredKeys(engine, lambda: builders.NOW)
        )
        with TestClient(app, base_url="https://turf.example", headers={"Authorization": f"Bearer {key}"}) as opened:
            done = opened.put(f"{ALERTS}/{OPEN}/acknowledgement", json={"by": "Somebody else"})
            until = (builders.NOW + timedelta(days=2)).isoformat()
            put_off = opened.put(f"{ALERTS}/{OPEN}/snooze", json={"by": "Somebody else", "until_utc": until})
    assert done.json()["acknowledgement"]["by"] == "office"
    assert put_off.json()["snooze"]["by"] == "office"
