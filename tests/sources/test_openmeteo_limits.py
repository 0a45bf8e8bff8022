"""What a request to Open-Meteo counts, and that no more is asked than the service allows."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
import requests
import responses
from sqlalchemy import Engine

from forecaster.errors import WeatherError, WeatherRefused, WeatherUnavailable
from forecaster.sources.http import Patience
from forecaster.sources.openmeteo import Service, fetch_forecast
from forecaster.sources.openmeteo_limits import FREE_LIMITS, call_weight, limit_hint, pause_after, span_used_up
from forecaster.storage.budget import RequestBudget, UsedUp
from forecaster.weather.frame import HourlyWeather
from tests.sources.answers import BASE_URL, NOW, PLACE, URL, an_answer
from tests.sources.openmeteo_answers import CountedBudget
from tests.storage.conftest import database  # noqa: F401  (a fixture)

WEIGHT = call_weight(7, days=108)


def fetch(budget: object, *, deadline_seconds: float = 100.0) -> HourlyWeather:
    """Fetch with a clock that moves only when somebody waits."""
    sleep = budget.sleep if isinstance(budget, CountedBudget) else lambda seconds: None
    patience = Patience(deadline_seconds=deadline_seconds, sleep=sleep, draw=lambda: 0.5, longest_pause_seconds=0.1)
    with requests.Session() as session:
        return fetch_forecast(PLACE, session=session, now=NOW, service=Service(base_url=BASE_URL, budget=budget), patience=patience)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("variables", "days", "members", "weight"),
    [
        (12, 7 + 16, 1, 2.0),  # forecast
        (6, 15, 51, 32.8),  # ECMWF ensemble
        (6, 16, 31, 21.3),  # GEFS ensemble
        (6, 7, 40, 24.0),  # ICON-EPS: below two weeks the days do not make it less
        (12, 365, 1, 31.3),  # archive, one year
        (12, 3652, 1, 313.0),  # archive, ten years
        (1, 1, 1, 1.0),  # a place never counts less
    ],
)
def test_the_published_weights(variables: int, days: float, members: int, weight: float) -> None:
    """Worked from the rule of the provider's server and its pricing page: max(1, v/10, v/10 * days/14) with v = variables x members."""
    assert call_weight(variables, days=days, members=members) == pytest.approx(weight, abs=0.05)
    assert call_weight(variables, days=days, members=members, locations=70) == pytest.approx(70 * weight, rel=0.03)


def test_every_reason_of_a_limit_says_which_window_and_how_long() -> None:
    """The reasons are the server's own texts."""
    reasons = {
        "Minutely API request limit exceeded. Please try again in one minute.": ("minute", 61.0),
        "Hourly API request limit exceeded. Please try again in the next hour.": ("hour", None),
        "Daily API request limit exceeded. Please try again tomorrow.": ("day", None),
        "Too many concurrent requests": (None, 35.0),
        "Something new": (None, None),
    }
    assert {reason: (span_used_up(reason), pause_after(reason, draw=0.5)) for reason in reasons} == reasons
    # 10 to 60 seconds with jitter: practice for a queue that keeps abandoned requests for a while.
    assert [pause_after("Too many concurrent requests", draw=draw) for draw in (0.0, 1.0)] == [10.0, 60.0]


def test_the_recorded_texts_of_limits_are_understood(shared: Path) -> None:
    folder = shared / "recordings/openmeteo/synthetic"
    told = {
        name: json.loads((folder / f"SYNTHETIC_error_429_{name}.json").read_text())["reason"]
        for name in ("minutely", "hourly", "daily", "concurrent")
    }
    assert [span_used_up(reason) for reason in told.values()] == ["minute", "hour", "day", None]
    assert "about a minute" in limit_hint(told["concurrent"])


@responses.activate
def test_a_good_answer_counts_its_weight_and_an_error_counts_one() -> None:
    budget = CountedBudget()
    responses.get(URL, json=an_answer())
    fetch(budget)
    assert budget.counted == pytest.approx(WEIGHT) == pytest.approx(5.4)
    refused = CountedBudget()
    responses.replace(responses.GET, URL, json={"error": True, "reason": "No data is available for this location"}, status=400)
    with pytest.raises(WeatherRefused):
        fetch(refused)
    assert refused.counted == pytest.approx(1.0)


@responses.activate
def test_every_attempt_is_counted() -> None:
    budget = CountedBudget()
    responses.get(URL, status=503, json={"error": True, "reason": "The service is overloaded"})
    responses.get(URL, json=an_answer())
    fetch(budget)
    assert budget.counted == pytest.approx(1.0 + WEIGHT)


@responses.activate
def test_what_never_arrived_counts_nothing_and_what_broke_off_counts_all() -> None:
    budget = CountedBudget()
    responses.get(URL, body=requests.exceptions.ConnectionError("no route"))
    with pytest.raises(WeatherUnavailable, match="no connection"):
        fetch(budget)
    assert (len(responses.calls), budget.counted) == (3, pytest.approx(0.0))
    responses.replace(responses.GET, URL, body="Unexpected error while streaming data")
    with pytest.raises(WeatherUnavailable, match="not JSON"):
        fetch(budget)
    assert budget.counted == pytest.approx(3 * WEIGHT)


@responses.activate
def test_a_used_up_day_is_said_before_the_service_says_it() -> None:
    responses.get(URL, json=an_answer())
    budget = CountedBudget(used_up=UsedUp("day", datetime(2026, 9, 3, tzinfo=UTC)))
    with pytest.raises(WeatherUnavailable) as caught:
        fetch(budget)
    assert caught.value.message == "the day's budget of Open-Meteo is used up until 00:00 UTC"
    assert (caught.value.source, bool(caught.value.hint)) == ("Open-Meteo", True)
    assert len(responses.calls) == 0


@responses.activate
def test_a_used_up_minute_is_waited_for_if_the_deadline_leaves_the_time() -> None:
    responses.get(URL, json=an_answer())
    budget = CountedBudget(used_up=UsedUp("minute", datetime(2026, 9, 2, 6, 21, tzinfo=UTC)))
    fetch(budget)
    assert budget.now == datetime(2026, 9, 2, 6, 21, 1, tzinfo=UTC)
    assert len(responses.calls) == 1
    hasty = CountedBudget(used_up=UsedUp("minute", datetime(2026, 9, 2, 6, 21, tzinfo=UTC)))
    with pytest.raises(WeatherUnavailable, match="minute's budget of Open-Meteo is used up until 06:21 UTC"):
        fetch(hasty, deadline_seconds=20)
    assert len(responses.calls) == 1


@responses.activate
@pytest.mark.parametrize(
    ("reason", "waited", "filled"),
    [("Minutely API request limit exceeded.", 61, ["minute"]), ("Too many concurrent requests", 35, [])],
)
def test_a_limit_of_a_minute_is_waited_for_once(reason: str, waited: float, filled: list[str]) -> None:
    budget = CountedBudget()
    before = budget.now
    responses.get(URL, status=429, json={"error": True, "reason": reason})
    responses.get(URL, json=an_answer())
    fetch(budget)
    assert (budget.now - before).total_seconds() == waited
    assert budget.filled == filled
    responses.replace(responses.GET, URL, status=429, json={"error": True, "reason": reason})
    with pytest.raises(WeatherUnavailable, match="too many requests"):
        fetch(budget)
    assert len(responses.calls) == 2 + 2


@responses.activate
@pytest.mark.parametrize(("reason", "span"), [("Hourly API request limit exceeded.", "hour"), ("Daily API request limit exceeded.", "day")])
def test_a_limit_of_an_hour_or_a_day_is_remembered_and_not_waited_for(reason: str, span: str) -> None:
    budget = CountedBudget()
    responses.get(URL, status=429, json={"error": True, "reason": reason})
    with pytest.raises(WeatherUnavailable):
        fetch(budget)
    assert (budget.filled, len(responses.calls)) == ([span], 1)


@responses.activate
def test_the_stored_budget_stops_asking_when_the_free_limits_are_reached(database: Engine) -> None:  # noqa: F811
    responses.get(URL, json=an_answer())
    budget = RequestBudget(database, "Open-Meteo", FREE_LIMITS, clock=lambda: NOW)
    assert budget.take(600 - WEIGHT, now=NOW) is None
    fetch(budget)
    assert budget.used(now=NOW)["minute"] == pytest.approx(600)
    with pytest.raises(WeatherError, match="minute's budget of Open-Meteo is used up until 06:21 UTC"):
        fetch(budget, deadline_seconds=5)
    responses.replace(responses.GET, URL, status=429, json={"error": True, "reason": "Daily API request limit exceeded."})
    later = NOW.replace(minute=30)
    with pytest.raises(WeatherUnavailable, match="too many requests"):
        fetch(RequestBudget(database, "Open-Meteo", FREE_LIMITS, clock=lambda: later))
    asked = len(responses.calls)
    with pytest.raises(WeatherUnavailable, match="day's budget of Open-Meteo is used up until 00:00 UTC"):
        fetch(RequestBudget(database, "Open-Meteo", FREE_LIMITS, clock=lambda: later))
    assert len(responses.calls) == asked == 2
