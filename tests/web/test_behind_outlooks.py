"""Booking check, weather, state, rules, messages and scores over the API: what is stored, how old it is, and what is not known."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine
from starlette.testclient import TestClient

from forecaster.storage.database import transaction
from forecaster.storage.messages import claim_message, due_messages, enqueue_message, mark_rejected
from forecaster.web.answers import BookingAnswer, OutlookAnswer, RulesAnswer, ScoresAnswer, StateAnswer, WeatherAnswer
from tests.storage.builders import message
from tests.web import builders
from tests.web.full_service import filled_database, full_app
from tests.web.test_api import assert_problem
from tests.web.test_records import DRENCH, SEEN, fields

GROUND = "/api/v1/grounds/thistlefold"
SATURDAY = {"starts_at_utc": "2026-09-12T18:00:00Z", "ends_at_utc": "2026-09-12T19:00:00Z"}


@pytest.fixture
def engine(tmp_path: Path) -> Iterator[Engine]:
    with filled_database(tmp_path) as filled:
        yield filled


@pytest.fixture
def client(engine: Engine) -> Iterator[TestClient]:
    with TestClient(full_app(engine), base_url="http://localhost") as opened:
        yield opened


def booking(client: TestClient, surface: str = "bowling-green", **params: Any) -> BookingAnswer:
    answer = client.get(f"{GROUND}/surfaces/{surface}/booking-check", params=SATURDAY | params)
    assert answer.status_code == 200, answer.text
    return BookingAnswer.model_validate(answer.json())


def test_a_booking_check_says_walk_it_first_where_nothing_speaks_against_it(client: TestClient) -> None:
    found = booking(client, "bowling-green")
    # The drawn outlook of the green has no hours, so the day is judged: no rain to speak of, no frost.
    assert (found.verdict, found.text) == ("nothing-against-it", "Nothing against it in our data: walk it first.")
    assert (found.resolution, found.better_slot) == ("day", None)
    assert found.weather.state == "fresh"


def test_a_booking_check_names_what_speaks_against_it_and_a_better_slot(client: TestClient) -> None:
    # The pitch has an open Severe alert for the whole outlook, and a fixture on Saturday morning (10:30 to 12:00 there).
    found = booking(client, "main-pitch", starts_at_utc="2026-09-12T08:00:00Z", ends_at_utc="2026-09-12T09:00:00Z")
    assert found.verdict == "keep-off"
    assert found.reasons[0].code == "another-fixture"
    assert {"alert", "wet-leaf"} <= {reason.code for reason in found.reasons}
    assert found.better_slot is not None
    assert found.better_slot.verdict == "look-first"


def test_a_booking_check_knows_what_was_entered(client: TestClient) -> None:
    late = {**DRENCH, "keep_off_until_utc": "2026-09-12T20:00:00Z", "surface_id": "bowling-green", "ring_id": None}
    client.post(f"{GROUND}/applications", json=late)
    assert [reason.code for reason in booking(client).reasons] == ["keep-off-after-treatment"]
    toadstools = {**SEEN, "surface_id": "bowling-green", "kind": "fruit-bodies", "count": 3}
    client.post(f"{GROUND}/observations", json=toadstools)
    assert "fruit-bodies-seen" in {reason.code for reason in booking(client, children=True).reasons}
    assert "fruit-bodies-seen" not in {reason.code for reason in booking(client, children=False).reasons}
    taken = {"surface_id": "bowling-green", "title": "Cup", "by": "office", **SATURDAY}
    client.post(f"{GROUND}/fixtures", json=taken)
    assert "another-fixture" in {reason.code for reason in booking(client).reasons}


def test_a_surface_without_an_outlook_and_an_old_outlook_are_not_known(engine: Engine) -> None:
    clock = [builders.NOW]
    with TestClient(full_app(engine, lambda: clock[0]), base_url="http://localhost") as client:
        assert booking(client, "outfield").verdict == "not-known"
        clock[0] += timedelta(hours=27)
        assert [reason.code for reason in booking(client).reasons] == ["weather-not-fresh"]


def test_a_booking_check_of_the_past_or_turned_round_or_without_offset_is_a_mistake(client: TestClient) -> None:
    place = f"{GROUND}/surfaces/main-pitch/booking-check"
    past = {"starts_at_utc": "2026-09-09T18:00:00Z", "ends_at_utc": "2026-09-09T17:00:00Z"}
    assert fields(client.get(place, params=past)) == {"query.starts_at_utc", "query.ends_at_utc"}
    assert fields(client.get(place, params={"starts_at_utc": "2026-09-12T18:00:00"})) == {"query.starts_at_utc", "query.ends_at_utc"}
    long = SATURDAY | {"ends_at_utc": "2026-09-14T18:00:00Z"}
    assert fields(client.get(place, params=long)) == {"query.ends_at_utc"}
    assert_problem(client.get(f"{GROUND}/surfaces/moon/booking-check", params=SATURDAY), 404, "not-found")


def test_the_weather_of_the_days_comes_with_where_it_is_from(client: TestClient) -> None:
    found = WeatherAnswer.model_validate(client.get(f"{GROUND}/weather", params={"past_days": 6}).json())
    assert [day.lead_days for day in found.days] == list(range(-6, 14))
    assert {day.origin for day in found.days if day.lead_days < 0} == {"observed"}
    assert found.days[0].estimated == ("radiation from temperature range",)  # 4 September
    none = WeatherAnswer.model_validate(client.get("/api/v1/grounds/mossbank/weather").json())
    assert (none.days, none.weather.state) == ((), "missing")


def test_the_state_is_that_of_the_last_day_that_is_over(client: TestClient) -> None:
    found = StateAnswer.model_validate(client.get(f"{GROUND}/state").json())
    assert [(s.surface_id, s.turf_state) for s in found.items] == [
        ("bowling-green", "sound"), ("bowling-green", "band"), ("main-pitch", "sound"), ("main-pitch", "band"),
    ]  # fmt: skip
    assert {s.day for s in found.items} == {builders.TODAY - timedelta(days=1)}
    yesterday = builders.pitch_day(builders.TODAY - timedelta(days=1))
    assert yesterday.band is not None
    assert found.items[3].column.repellency_class == yesterday.band.repellency_class
    only = client.get(f"{GROUND}/state", params={"surface": "main-pitch"}).json()["items"]
    assert {s["surface_id"] for s in only} == {"main-pitch"}


def test_rules_come_with_their_limits_source_and_whether_they_are_on_trial(client: TestClient) -> None:
    found = RulesAnswer.model_validate(client.get("/api/v1/rules").json())
    assert found.configured_at_utc == builders.NOW
    flush = next(rule for rule in found.items if rule.id == "flush")
    assert (flush.quantity, flush.raise_at, flush.unit, flush.trial) == ("flush_chance_any_7_days", 0.3, "1", False)
    assert flush.severity_from["Minor"] == 0.3  # type: ignore[index]
    assert "Imreh" in flush.source


def test_messages_tell_what_was_not_sent_and_why_without_addresses(client: TestClient, engine: Engine) -> None:
    for number in range(3):
        with transaction(engine) as session:
            enqueue_message(
                session,
                message(
                    key=f"k{number}", ground_id="thistlefold", subject=f"s{number}", created_at=builders.NOW, not_before=builders.NOW,
                    expires_at=builders.NOW + timedelta(days=1),
                ),
            )  # fmt: skip
    with transaction(engine) as session:
        (first, *_) = due_messages(session, builders.NOW)
        claim_message(session, first.id, owner="x", now=builders.NOW)
        mark_rejected(session, first.id, owner="x", error="550 no such user head@ground.example")
    page = client.get(f"{GROUND}/messages", params={"limit": 2}).json()
    assert [m["subject"] for m in page["items"]] == ["s2", "s1"]
    rest = client.get(f"{GROUND}/messages", params={"limit": 2, "next": page["next"]}).json()
    assert ([m["subject"] for m in rest["items"]], rest["next"]) == (["s0"], None)
    (failed,) = client.get(f"{GROUND}/messages", params={"state": "failed"}).json()["items"]
    assert failed["reason"] == "550 no such user h…@ground.example"
    assert failed["recipient"] == "h…@ground.example"


def test_nothing_is_scored_and_that_is_said(client: TestClient) -> None:
    client.post(f"{GROUND}/observations", json={**SEEN, "kind": "dry-patch", "area_m2": 2})
    found = ScoresAnswer.model_validate(client.get(f"{GROUND}/scores").json())
    assert (found.state, found.observations) == ("not-scored", 1)


def test_numbers_carry_no_more_digits_than_their_unit(client: TestClient) -> None:
    found = OutlookAnswer.model_validate(client.get(f"{GROUND}/surfaces/main-pitch/outlook").json())
    stored = builders.pitch_day(builders.TODAY)
    assert stored.band is not None
    column = found.outlook.days[0].band
    assert column is not None
    assert stored.band.surface_water_m3m3 != round(stored.band.surface_water_m3m3, 3)
    assert column.surface_water_m3m3 == round(stored.band.surface_water_m3m3, 3)
    assert column.repellency_log10_s == round(stored.band.repellency_log10_s, 2)
    assert found.outlook.days[0].flush_hazard_per_day == round(stored.flush_hazard_per_day or 0.0, 4)
