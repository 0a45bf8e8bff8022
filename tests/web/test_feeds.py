"""The feeds, read back by libraries that did not write them: feedparser for Atom, icalendar's reader for the calendar."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from typing import Literal

import feedparser
import pytest
from icalendar import Calendar
from sqlalchemy import Engine
from starlette.testclient import TestClient

from forecaster.storage.calendar import PlannedEvent, keep_events
from forecaster.storage.cap_messages import StoredCapMessage, save_cap_message
from forecaster.storage.database import migrate, open_database, transaction
from forecaster.storage.episodes import save_episode
from forecaster.storage.grounds import save_ground
from forecaster.storage.links import drop_secret, feed_purpose, make_secret, sign
from forecaster.storage.records import NewRecord, add_record
from forecaster.web.access import Doors
from forecaster.web.app import create_app
from forecaster.web.stored import StoredReads
from tests.web import builders

PUBLIC = "https://turf.example.org"
EVENT = PlannedEvent(
    "work.main-pitch.2026-09-11@x",
    builders.NOW + timedelta(hours=20),
    builders.NOW + timedelta(hours=24),
    "Main pitch, north half; dry",
    "Look first.",
)


def message(number: int, kind: Literal["Alert", "Update"], *, days_ago: int) -> StoredCapMessage:
    """What stands in a message does not matter here."""
    alert = builders.alerts()[0]
    sent = builders.NOW - timedelta(days=days_ago)
    return StoredCapMessage(
        identifier=f"{alert.id.replace('/', '.')}.{number}",
        ground_id="thistlefold",
        episode_id=alert.id,
        number=number,
        kind=kind,
        sender="forecaster@example.org",
        sent_at=sent,
        expires_at=sent + timedelta(days=1),
        severity="Severe",
        mark=str(number),
        title=f"Main pitch: {kind} {number}",
        body=f"<message number='{number}'/>".encode(),
    )


@pytest.fixture
def engine(database_url: str) -> Iterator[Engine]:
    opened = open_database(database_url)
    migrate(opened)
    with transaction(opened) as session:
        save_ground(session, builders.ground(), builders.NOW)
        for alert in builders.alerts():
            save_episode(session, alert, None)
        keep_events(session, "thistlefold", [EVENT], now=builders.NOW)
        for number, (kind, days_ago) in enumerate((("Alert", 20), ("Update", 2), ("Update", 1)), start=1):
            save_cap_message(session, message(number, kind, days_ago=days_ago))
        document = {
            "surface_id": "main-pitch",
            "kind": "wetting-agent",
            "product": "Wetting agent, second of three",
            "applied_at_utc": (builders.NOW - timedelta(hours=1)).isoformat(),
            "keep_off_until_utc": (builders.NOW + timedelta(hours=5)).isoformat(),
            "by": "Head",
        }
        entered = NewRecord("app-1", "thistlefold", "application", "main-pitch", builders.NOW, document, None)
        add_record(session, entered, by="Head", now=builders.NOW)
    yield opened
    opened.dispose()


def client_of(engine: Engine, *, keys_needed: bool = False) -> TestClient:
    doors = Doors(keys_needed=keys_needed, public_url=PUBLIC)
    app = create_app(StoredReads(engine, lambda: builders.NOW), now=lambda: builders.NOW, doors=doors, engine=engine)
    return TestClient(app, base_url=PUBLIC if keys_needed else "http://localhost")


def test_the_atom_feed_is_read_by_a_feed_reader_with_every_alert(engine: Engine) -> None:
    answer = client_of(engine).get("/feeds/thistlefold/alerts.atom")
    assert answer.headers["Content-Type"] == "application/atom+xml"
    feed = feedparser.parse(answer.content)
    assert not feed.bozo
    assert feed.version == "atom10"
    assert feed.feed.id
    assert feed.feed.title.startswith("[Sample] Alerts of")
    assert [entry.id for entry in feed.entries] == ["urn:forecaster:alert:a-2", "urn:forecaster:alert:a-1"]
    newest = feed.entries[0]
    assert "Rings showing (Severe), now" in newest.title
    assert newest.link == f"{PUBLIC}/grounds/thistlefold/surfaces/main-pitch"
    assert newest.published == "2026-09-05T04:10:00Z"
    assert feed.entries[1].updated == "2026-09-04T04:10:00Z", "when it ended"
    for entry in feed.entries:  # RFC 4287 section 4.1.2: each entry has an id, a title and a date of change
        assert entry.id
        assert entry.title
        assert entry.updated_parsed


def test_the_calendar_has_work_windows_and_keep_off_times(engine: Engine) -> None:
    client = client_of(engine)
    answer = client.get("/feeds/thistlefold/calendar.ics")
    assert answer.headers["Content-Type"] == "text/calendar; charset=utf-8"
    assert all(len(line) <= 75 for line in answer.content.split(b"\r\n")), "RFC 5545 section 3.1"
    calendar = Calendar.from_ical(answer.content)
    assert calendar["REFRESH-INTERVAL"].dt == timedelta(hours=3)
    keep_off, work = calendar.walk("VEVENT")
    assert (keep_off["SUMMARY"], keep_off["TRANSP"], keep_off["SEQUENCE"]) == ("Main pitch: keep off", "OPAQUE", 0)
    assert keep_off.decoded("DTEND") == builders.NOW + timedelta(hours=5)
    assert (work["UID"], work["SUMMARY"], work["TRANSP"]) == (EVENT.uid, EVENT.summary, "TRANSPARENT")
    assert (work.decoded("DTSTART"), work.decoded("DTEND")) == (EVENT.starts_at, EVENT.ends_at)
    with transaction(engine) as session:
        keep_events(session, "thistlefold", [replace(EVENT, ends_at=EVENT.ends_at - timedelta(hours=1))], now=builders.NOW)
    (moved,) = [
        e for e in Calendar.from_ical(client.get("/feeds/thistlefold/calendar.ics").content).walk("VEVENT") if e["UID"] == EVENT.uid
    ]
    assert moved["SEQUENCE"] == 1
    with transaction(engine) as session:
        keep_events(session, "thistlefold", [], now=builders.NOW)
    (off,) = [e for e in Calendar.from_ical(client.get("/feeds/thistlefold/calendar.ics").content).walk("VEVENT") if e["UID"] == EVENT.uid]
    assert (off["STATUS"], off["SEQUENCE"]) == ("CANCELLED", 2)


@pytest.mark.parametrize("kind", ["alerts.atom", "cap.atom", "calendar.ics"])
def test_what_has_not_changed_is_not_sent_again(engine: Engine, kind: str) -> None:
    client = client_of(engine)
    first = client.get(f"/feeds/thistlefold/{kind}")
    again = client.get(f"/feeds/thistlefold/{kind}", headers={"If-None-Match": first.headers["ETag"]})
    assert (again.status_code, again.content) == (304, b"")


def test_with_keys_a_feed_needs_one_or_its_private_address_until_that_is_revoked(engine: Engine) -> None:
    client = client_of(engine, keys_needed=True)
    assert client.get("/feeds/thistlefold/calendar.ics").status_code == 401
    with transaction(engine) as session:
        make_secret(session, feed_purpose("thistlefold"), builders.NOW)
        word = sign(session, feed_purpose("thistlefold"), ["thistlefold"])
    for kind in ("alerts.atom", "cap.atom", "calendar.ics"):
        assert client.get(f"/feeds/private/thistlefold/{word}/{kind}").status_code == 200
    assert client.get(f"/feeds/private/mossbank/{word}/calendar.ics").status_code == 404, "of one ground only"
    assert client.get(f"/feeds/private/thistlefold/{word[:-2]}/calendar.ics").status_code == 404
    assert client.post(f"/feeds/private/thistlefold/{word}/calendar.ics").status_code == 405
    with transaction(engine) as session:
        assert drop_secret(session, feed_purpose("thistlefold"))
    assert client.get(f"/feeds/private/thistlefold/{word}/calendar.ics").status_code == 404


def test_a_feed_of_no_ground_or_kind_is_not_found(engine: Engine) -> None:
    client = client_of(engine)
    assert client.get("/feeds/nowhere/alerts.atom").status_code == 404
    assert client.get("/feeds/thistlefold/other.txt").status_code in (404, 422)


def test_the_list_of_cap_messages_leads_to_each_of_them_and_leaves_out_what_is_long_past(engine: Engine) -> None:
    client = client_of(engine)
    feed = feedparser.parse(client.get("/feeds/thistlefold/cap.atom").content)
    assert (feed.bozo, feed.version) == (False, "atom10")
    assert [entry.title for entry in feed.entries] == ["Main pitch: Update 3", "Main pitch: Update 2"]
    assert [tag.term for tag in feed.entries[0].tags] == ["Update", "Severe"]
    for entry, number in zip(feed.entries, (3, 2), strict=True):
        # RFC 4287, section 4.1.2: an entry without content has an alternate link.
        (link,) = entry.links
        assert (link.rel, link.type) == ("alternate", "application/cap+xml")
        found = client.get(link.href.removeprefix(PUBLIC))
        assert (found.headers["Content-Type"], found.content) == ("application/cap+xml", f"<message number='{number}'/>".encode())
        assert client.get(link.href.removeprefix(PUBLIC), headers={"If-None-Match": found.headers["ETag"]}).status_code == 304


def test_messages_are_read_with_a_key_or_by_the_private_address_of_their_ground_alone(engine: Engine) -> None:
    client = client_of(engine, keys_needed=True)
    name = message(3, "Update", days_ago=1).identifier
    assert client.get(f"/feeds/thistlefold/cap/{name}.xml").status_code == 401
    with transaction(engine) as session:
        make_secret(session, feed_purpose("thistlefold"), builders.NOW)
        word = sign(session, feed_purpose("thistlefold"), ["thistlefold"])
    feed = feedparser.parse(client.get(f"/feeds/private/thistlefold/{word}/cap.atom").content)
    assert client.get(feed.entries[0].links[0].href.removeprefix(PUBLIC)).content == b"<message number='3'/>"
    assert client.get(f"/feeds/private/mossbank/{word}/cap/{name}.xml").status_code == 404, "of one ground only"
    assert client.get(f"/feeds/private/thistlefold/{word}/cap/nothing.xml").status_code == 404
    assert client.get(f"/feeds/private/cap/{name}.xml").status_code in (401, 404)
    with transaction(engine) as session:
        drop_secret(session, feed_purpose("thistlefold"))
    assert client.get(f"/feeds/private/thistlefold/{word}/cap/{name}.xml").status_code == 404
