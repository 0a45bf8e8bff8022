"""Many grounds are asked for at once, and only for the days that are missing. Weights: the provider's published rule."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pandas as pd
import pytest
import responses

from forecaster.ground.ground import WeatherChoice
from forecaster.pipeline.claims import run_cycles
from forecaster.pipeline.gather import OnSite, joined_weather
from forecaster.pipeline.pull import Pull
from forecaster.pipeline.together import RECENT_DAYS, days_to_ask
from forecaster.sources.openmeteo import VARIABLE_MAP
from forecaster.sources.openmeteo import Service as OpenMeteo
from forecaster.storage.budget import RequestBudget
from forecaster.storage.cycles import CycleRecord
from forecaster.storage.database import reading
from forecaster.storage.outlooks import latest_outlooks
from forecaster.weather.frame import PRECIPITATION
from tests.pipeline.conftest import Service
from tests.sources.answers import UNITS
from tests.sources.openmeteo_answers import asked, unix_hours

BASE = "https://weather.example"


@dataclass
class StandIn:
    """Open-Meteo as its documentation describes it: a list for a list of places, and a refusal of all for one without data."""

    service: Service
    nowhere: set[str] = field(default_factory=set)
    questions: list[dict[str, str]] = field(default_factory=list)
    mock: responses.RequestsMock = field(default_factory=lambda: responses.RequestsMock(assert_all_requests_are_fired=False))

    def reply(self, request: Any) -> tuple[int, dict[str, str], str]:
        params = asked(request)
        self.questions.append(params)
        latitudes = params["latitude"].split(",")
        if self.nowhere.intersection(latitudes):
            return 400, {}, json.dumps({"error": True, "reason": "No data is available for this location"})
        answers = [self.answer(*place, params) for place in zip(latitudes, params["longitude"].split(","), strict=True)]
        return 200, {}, json.dumps(answers[0] if len(answers) == 1 else answers)

    def answer(self, latitude: str, longitude: str, params: dict[str, str]) -> dict[str, Any]:
        past, ahead = int(params["past_days"]), int(params["forecast_days"])
        midnight = self.service.now.replace(hour=0, minute=0, second=0, microsecond=0)
        times = unix_hours(midnight - timedelta(days=past), 24 * (past + ahead))
        hours = pd.to_datetime(times, unit="s", utc=True)
        known = self.service.weather.reindex(hours)
        names = {name: variable.ours for name, variable in VARIABLE_MAP.items() if variable.ours in known}
        # Rain tells the day that it belongs to, so that a day from a wrong answer would show.
        columns = {name: known[ours].ffill().bfill().tolist() for name, ours in names.items()}
        columns["precipitation"] = [(hour - pd.Timedelta(hours=1)).day / 10 if hour.hour == 6 else 0.0 for hour in hours]
        columns["soil_temperature_6cm"] = [15.0] * len(times)
        place = {"latitude": float(latitude), "longitude": float(longitude), "elevation": 60.0}
        return {**place, "hourly_units": UNITS, "hourly": {"time": times, **columns}}


@pytest.fixture
def stand_in(service: Service) -> Iterator[StandIn]:
    first = replace(service.ground, weather=WeatherChoice("open-meteo"), recipients=(), surfaces=service.ground.surfaces[:1], fixtures=())
    grounds = tuple(replace(first, id=f"ground-{number}", latitude=52.0 + number / 10) for number in range(3))
    options = replace(service.configuration.service, members_every_hours=0)
    service.configuration = replace(service.configuration, grounds=grounds, service=options)
    made = StandIn(service)
    with made.mock as mock:
        mock.add_callback(responses.GET, f"{BASE}/v1/forecast", callback=made.reply)
        mock.get(f"{BASE}/v1/archive", status=400, json={"error": True, "reason": "No data is available for this location"})
        mock.get(f"{BASE}/api/temporal/daily/point", status=422, json={})
        yield made


def cycles(stand_in: StandIn) -> dict[str, CycleRecord]:
    service = stand_in.service
    budget = RequestBudget(service.engine, "open-meteo", {"day": 10_000.0}, lambda: service.now)
    settings = OpenMeteo(base_url=BASE, archive_url=BASE, budget=budget)
    context = replace(service.context(), open_meteo=settings, nasa_power_url=BASE)
    return {record.ground_id: record for record in run_cycles(context)}


def test_grounds_share_a_request_and_each_keeps_its_own_weather_and_outlook(stand_in: StandIn) -> None:
    records = cycles(stand_in)
    assert [record.status for record in records.values()] == ["ok"] * 3
    (question,) = stand_in.questions
    assert question["latitude"] == "52.0000,52.1000,52.2000"
    assert question["past_days"] == "92"
    with reading(stand_in.service.engine) as session:
        for ground_id in records:
            assert latest_outlooks(session, ground_id, now=stand_in.service.now)


def test_a_ground_that_the_service_refuses_fails_alone(stand_in: StandIn) -> None:
    stand_in.nowhere = {"52.1000"}
    records = cycles(stand_in)
    assert {ground: record.status for ground, record in records.items()} == {"ground-0": "ok", "ground-1": "degraded", "ground-2": "ok"}
    assert "No data is available" in (records["ground-1"].error_message or "")


def test_after_the_first_answer_only_recent_days_are_asked_for_at_the_least_weight_and_nothing_of_the_window_is_lost(
    stand_in: StandIn,
) -> None:
    service = stand_in.service
    cycles(stand_in)
    budget = RequestBudget(service.engine, "open-meteo", {"day": 10_000.0}, lambda: service.now)
    # 7 variables over 92 + 16 days at each of 3 places, and 1 for each refusal of the archive.
    assert budget.used(now=service.now)["day"] == pytest.approx(3 * 0.7 * 108 / 14 + 3)
    for _ in range(6):
        service.wait(days=1)
        before = budget.used(now=service.now)["day"]
        records = cycles(stand_in)
        assert [record.status for record in records.values()] == ["ok"] * 3
        # A ground's weight is 1; each also asks once more for the archive, which it does not have.
        assert budget.used(now=service.now)["day"] - before <= 3 * (0.7 * 108 / 14) + 3
    recent = [question for question in stand_in.questions if question["past_days"] == str(RECENT_DAYS)]
    assert len(recent) >= 4
    assert 0.7 * (RECENT_DAYS + int(recent[0]["forecast_days"])) / 14 <= 1.0
    ground = service.configuration.grounds[0]
    with reading(service.engine) as session:
        since = service.now - timedelta(days=91)
        found = joined_weather(session, ground, Pull(), OnSite(), now=service.now, since=since, stale_after_hours=36.0)
    assert found.frame is not None
    rain = found.frame.values[PRECIPITATION][pd.Timestamp(since).ceil("h") : pd.Timestamp(service.now)]
    assert rain.notna().all()
    days = rain[rain > 0]
    np.testing.assert_allclose(days.to_numpy(), [hour.day / 10 for hour in days.index])
    assert len(days) >= 90


def test_all_days_are_asked_for_again_within_a_week_and_after_a_pause(stand_in: StandIn) -> None:
    service = stand_in.service
    cycles(stand_in)
    ground = service.configuration.grounds[0]

    def days_at(now: datetime) -> int:
        with reading(service.engine) as session:
            return days_to_ask(session, ground, history_days=92, now=now)

    assert days_at(service.now + timedelta(hours=3)) == RECENT_DAYS
    assert days_at(service.now + timedelta(days=3)) == RECENT_DAYS
    assert days_at(service.now + timedelta(days=5, hours=23)) == 92, "the few days would not reach back to what is stored"
    for _ in range(3):
        service.wait(days=1)
        cycles(stand_in)
    assert days_at(service.now + timedelta(days=4)) == 92, "a week has passed since the last whole answer"


def test_a_ground_that_never_had_weather_asks_for_all_days(service: Service) -> None:
    with reading(service.engine) as session:
        assert days_to_ask(session, service.ground, history_days=92, now=datetime(2026, 9, 1, tzinfo=UTC)) == 92
        assert days_to_ask(session, service.ground, history_days=2, now=datetime(2026, 9, 1, tzinfo=UTC)) == 2


def test_a_fault_while_asking_together_stops_nobody(
    stand_in: StandIn, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def broken(*_args: object, **_kwargs: object) -> dict[str, object]:
        raise KeyError("a shape that nobody foresaw")

    monkeypatch.setattr("forecaster.pipeline.together.fetch_forecasts", broken)
    records = cycles(stand_in)
    assert [record.status for record in records.values()] == ["ok"] * 3
    assert len(stand_in.questions) == 3  # each asked for itself
    assert "asking for 3 grounds together failed" in caplog.text
